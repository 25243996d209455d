"""The service holds its own contract: cases made from it, every check on.

A 422 is an answer that a request fitting the schema may meet, because a schema cannot say that an end comes after a
start or that an id exists. So that this takes nothing from the checks, a request that fits the schema is never
answered with the problem that says it does not. The service asks for keys, and a check of its own makes each request
that was answered once more without one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from starlette.testclient import TestClient

from service.app import create_app
from service.bootstrap import House
from service.security import LOCAL_ACCOUNT
from tests.conftest import ROOT
from tests.service.coast import PEER, SPAN, URL, make_coast
from tests.service.conftest import settings_for
from tests.service.holders import make_holder

CASES = 10
CONFIG = """
[checks]
positive_data_acceptance.expected-statuses = [
    "2xx", "400", "401", "403", "404", "409", "410", "412", "413", "415", "422", "428", "429"
]
missing_required_header.expected-statuses = ["400", "401", "403", "406", "415", "422", "428"]
"""


@schemathesis.check
def a_request_that_fits_is_not_said_to_misfit(_context: Any, response: Any, case: Any) -> None:
    """Fail if a request made to fit the contract is answered with the problem that says it does not."""
    meta = case.meta
    fits = meta is not None and meta.generation.mode is GenerationMode.POSITIVE
    if fits and response.status_code == 422 and response.json()["type"] == "/problems/invalid-request":
        raise AssertionError(f"{case.method} {case.path}: {response.json()['detail']}")


@schemathesis.serializer("application/x-netcdf", "application/netcdf")
def as_bytes(_context: Any, value: Any) -> bytes:
    """Send a record that is no text as the bytes it is."""
    return value if isinstance(value, bytes) else str(value).encode()


class FromHere:
    """The application as a caller on this machine meets it, whatever the client says of itself."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            headers = [(name, value) for name, value in scope["headers"] if name != b"host"]
            scope = {**scope, "client": PEER, "headers": [*headers, (b"host", b"localhost:8321")]}
        await self.app(scope, receive, send)


KNOWN: dict[str, str] = {}
HEADERS: dict[str, str] = {}
contract = schemathesis.openapi.from_path(ROOT / "openapi" / "v1.json", config=SchemathesisConfig.from_str(CONFIG))


def ask_for_what_can_be(case: schemathesis.Case) -> None:
    """In two of three cases that fit, name what there is, ask for a day, and leave out hints that exclude others.

    Otherwise nearly every answer would be 404 or say that a span of centuries is too long.
    """
    fits = case.meta is not None and case.meta.generation.mode is GenerationMode.POSITIVE
    if not fits or len(str(case.query) + str(case.body)) % 3 == 0:
        return
    if case.method == "DELETE":
        # The coast is wanted for the operations that come after.
        return
    case.path_parameters.update({name: KNOWN[name] for name in case.path_parameters if name in KNOWN})
    if "station_id" in case.query:
        case.query["station_id"] = [KNOWN["station_id"]]
    if "start" in case.query and "end" in case.query:
        case.query.update(SPAN)
    for name in ("valid_min", "valid_max", "time_fields"):
        case.query.pop(name, None)
    if case.operation.label == "POST /v1/windows/search" and isinstance(case.body, dict):
        case.body.update(SPAN)
        case.body.update(mark_ids=[KNOWN["mark_id"]], rule_ids=[KNOWN["rule_id"]])


@pytest.fixture(scope="module")
def application(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FromHere]:
    """The application with the invented coast."""
    house = House(settings_for(tmp_path_factory.mktemp("contract"), auth="keys", rate_limit=0))
    house.open()
    app = create_app(house.settings, house)
    holder = make_holder(house.context, "read", "write", account_id=LOCAL_ACCOUNT)
    with TestClient(app, base_url=URL, client=PEER, headers=holder.headers) as client:
        coast = make_coast(client)
        KNOWN.update(station_id=coast.station, mark_id=coast.mark, rule_id=coast.rule)
        HEADERS["Authorization"] = holder.headers["authorization"]  # spelled as checks look for it
        yield FromHere(app)
    house.close()


@contract.parametrize()
@settings(
    max_examples=CASES,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
def test_the_contract_is_kept(application: FromHere, case: schemathesis.Case) -> None:
    ask_for_what_can_be(case)
    case.operation.schema.app = application  # where checks send requests of their own
    case.call_and_validate(
        base_url=URL,
        app=application,
        headers=HEADERS,
        additional_checks=[a_request_that_fits_is_not_said_to_misfit],
    )
