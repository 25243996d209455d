"""The service holds its own contract: cases made from it, every check on.

A 422 is an answer that a request fitting the schema may meet, because a schema cannot say that an end comes after a
start or that an id exists. So that this takes nothing from the checks, a request that fits the schema is never
answered with the problem that says it does not.
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
from tests.conftest import ROOT
from tests.service.coast import PEER, URL, make_coast
from tests.service.conftest import settings_for

CASES = 14
CONFIG = """
[checks]
positive_data_acceptance.expected-statuses = ["2xx", "400", "401", "403", "404", "409", "413", "415", "422", "429"]
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
contract = schemathesis.openapi.from_path(ROOT / "openapi" / "v1.json", config=SchemathesisConfig.from_str(CONFIG))


@contract.hook
def map_path_parameters(_context: Any, path_parameters: dict[str, Any] | None) -> dict[str, Any] | None:
    """Name a thing that there is in half of the cases, so that more than 404 is seen."""
    if path_parameters is None:
        return None
    return {
        name: KNOWN[name] if name in KNOWN and len(str(value)) % 2 else value for name, value in path_parameters.items()
    }


@pytest.fixture(scope="module")
def application(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FromHere]:
    """The application with the invented coast."""
    house = House(settings_for(tmp_path_factory.mktemp("contract")))
    house.open()
    app = create_app(house.settings, house)
    with TestClient(app, base_url=URL, client=PEER) as client:
        coast = make_coast(client)
        KNOWN.update(station_id=coast.station, mark_id=coast.mark, rule_id=coast.rule)
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
    case.call_and_validate(base_url=URL, app=application, additional_checks=[a_request_that_fits_is_not_said_to_misfit])
