"""Cases made from the contract, the application that answers them, and the checks beyond those of the tool.

A 422 is an answer that a request fitting the schema may meet, because a schema cannot say that an end comes after a
start or that an id exists. So that this takes nothing from the checks, a request that fits the schema is never
answered with the problem that says it does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import schemathesis
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from starlette.testclient import TestClient

from service.api.v1.schemas.conditions import EXAMPLE
from service.api.v1.schemas.official_warnings import CAP_EXAMPLE
from service.app import create_app
from service.bootstrap import House
from service.security import LOCAL_ACCOUNT
from tests.conftest import ROOT
from tests.service.coast import PEER, SPAN, URL, example, gauge_csv, make_coast
from tests.service.conftest import settings_for
from tests.service.holders import make_holder
from tests.service.processes import HINTS

_CONFIG = """
[checks]
positive_data_acceptance.expected-statuses = [
    "2xx", "304", "400", "401", "403", "404", "409", "410", "412", "413", "415", "422", "428", "429"
]
negative_data_rejection.expected-statuses = [
    "400", "401", "403", "404", "405", "406", "409", "413", "415", "422", "428", "429"
]
missing_required_header.expected-statuses = ["400", "401", "403", "406", "415", "422", "428"]
"""
#: Kind of thing -> the example of a body that makes one.
_NEW = {
    "stations": "create_station",
    "marks": "create_mark",
    "species-rules": "create_species_rule",
    "methods": "create_method",
    "trips": "create_trip",
    "diary-rows": "create_diary_row",
    "regulations": "create_regulation",
}
#: Kind of thing -> a change of one; that of others is of their name.
_CHANGED: dict[str, Any] = {
    "trips": {"trip": {"notes": "Invented."}},
    "trips/deployments": {"snags": 2},
    "trips/bites": {"kind": "rattle"},
    "trips/catches": {"condition": "dead"},
    "diary-rows": {"notes": "Invented."},
}


def read_contract(*modes: GenerationMode) -> Any:
    """Return the committed contract, ready to make cases from; of these ``modes``, or both."""
    contract = schemathesis.openapi.from_path(ROOT / "openapi" / "v1.json", config=SchemathesisConfig.from_str(_CONFIG))
    if modes:
        contract.config.generation.modes = list(modes)
    return contract


@schemathesis.check
def a_request_that_fits_is_not_said_to_misfit(_context: Any, response: Any, case: Any) -> None:
    """Fail if a request made to fit the contract is answered with the problem that says it does not."""
    if fits(case) and response.status_code == 422 and response.json()["type"] == "/problems/invalid-request":
        raise AssertionError(f"{case.method} {case.path}: {response.json()['detail']}")


@schemathesis.serializer(
    "application/x-netcdf",
    "application/netcdf",
    "application/x-ndjson",
    "application/geo+json",
    "application/cap+xml",
    "application/zip",
    "application/xml",
)
def as_bytes(_context: Any, value: Any) -> bytes:
    """Send what is no JSON to the tool as the bytes it is."""
    return value if isinstance(value, bytes) else str(value).encode()


def fits(case: schemathesis.Case) -> bool:
    """Return whether a case was made to fit the contract."""
    return case.meta is not None and case.meta.generation.mode is GenerationMode.POSITIVE


class FromHere:
    """The application as a caller on this machine meets it, whatever the client says of itself.

    It knows what there is (``known``), the headers of a key, and counts the cases it was given.
    """

    def __init__(self, app: Any, known: dict[str, str], headers: dict[str, str]) -> None:
        self.app = app
        self.known = known
        self.headers = headers
        self.cases = 0

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            headers = [(name, value) for name, value in scope["headers"] if name != b"host"]
            scope = {**scope, "client": PEER, "headers": [*headers, (b"host", b"localhost:8321")]}
        await self.app(scope, receive, send)

    def takes(self, case: schemathesis.Case) -> bool:
        """Return whether a case can be made."""
        # What is wrong with it may be a value that has no form in an address, and then it is not sent.
        return fits(case) or not any(value is None or value in ([], {}) for value in case.query.values())

    def arguments(self, case: schemathesis.Case) -> dict[str, Any]:
        """Return how a case is sent; counts it."""
        self.cases += 1
        case.operation.schema.app = self  # where checks send requests of their own
        return {"base_url": URL, "app": self, "headers": self.headers}

    def ask_for_what_can_be(self, case: schemathesis.Case) -> None:
        """In two of three cases that fit, name what there is, ask for a day, and leave out hints that exclude others.

        Otherwise nearly every answer would be 404 or say that a span of centuries is too long.
        """
        if not wanted_to_succeed(case) or case.method == "DELETE":
            # The coast is wanted for the operations that come after.
            return
        known = self.known
        case.path_parameters.update({name: known[name] for name in case.path_parameters if name in known})
        for name in ("station_id", "mark_id"):
            if name in case.query:
                case.query[name] = [known[name]]
        ask_for_a_day(case)
        if case.operation.label == "POST /v1/windows/search" and isinstance(case.body, dict):
            case.body.update(SPAN)
            case.body.update(mark_ids=[known["mark_id"]], rule_ids=[known["rule_id"]])
        if case.operation.label == "POST /v1/methods/picks" and isinstance(case.body, dict):
            case.body.update(SPAN, mark_id=known["mark_id"], method_ids=None, rule_ids=None)

    def make_what_can_be(self, case: schemathesis.Case, *, first: bool) -> None:
        """In two of three cases of a story that fit, make or edit a thing as there can be one.

        The ``first`` of a story, which follows no link, is about the coast.
        """
        # What is told of an area has no mark: a link of the tool's own that leads to its mark leads nowhere.
        for given in (case.query, case.path_parameters) if case.method == "GET" else ():
            for name in [name for name, value in given.items() if value in (None, [None]) and name in self.known]:
                given[name] = [self.known[name]] if given is case.query else self.known[name]
        if not wanted_to_succeed(case):
            return
        ask_for_a_day(case)
        if first:
            case.path_parameters.update({name: self.known[name] for name in case.path_parameters if name in self.known})
        if "If-Match" in case.headers and not case.headers["If-Match"].startswith('"'):
            # Followed along a link without an ETag, which the tool finds besides those of the contract.
            case.headers["If-Match"] = "*"
        noun = _noun(case.operation.path)
        if case.operation.label == "POST /v1/stations/{station_id}/fits":
            case.query.clear()
            case.query.update(HINTS)
            case.media_type, case.body = "text/csv", gauge_csv(30).decode()
        elif case.method == "PATCH":
            case.body = _CHANGED.get(noun, {"name": f"Invented {self.cases}"})
        elif noun in _NEW and case.method in ("POST", "PUT"):
            case.body = {**example(_NEW[noun]), "external_ref": None}
            if noun == "marks":
                case.body["station"] = self.known["station_id"]
            elif noun == "trips":
                case.body["trip"] = example("create_trip")["trip"] | {"mark": self.known["mark_id"]}
            elif noun == "diary-rows":
                case.body["mark"] = self.known["mark_id"]
        elif case.operation.label == "POST /v1/conditions":
            case.query.clear()
            case.media_type, case.body = "application/json", {**EXAMPLE, "source": f"Invented {self.cases}"}
        elif case.operation.label == "POST /v1/warnings":
            case.query.clear()
            alert = CAP_EXAMPLE.replace("invented-gale-1", f"invented-{self.cases}")
            case.media_type, case.body = "application/cap+xml", alert
        elif noun == "marks/slack-notes" and case.method == "POST":
            case.body = {"time": SPAN["start"], "turned_to": "ebb"}


def _noun(path: str) -> str:
    """Return the kind of thing that a path makes or edits; what belongs to one is a kind of its own."""
    steps = [step for step in path.removeprefix("/v1/").split("/") if not step.startswith("{")]
    return "/".join(steps)


def wanted_to_succeed(case: schemathesis.Case) -> bool:
    """Return whether a case is one of the two in three of those that fit."""
    return fits(case) and len(str(case.query) + str(case.body)) % 3 != 0


def ask_for_a_day(case: schemathesis.Case) -> None:
    """Ask for a day where a span is asked for, and leave out hints that exclude others."""
    if "start" in case.query and "end" in case.query:
        case.query.update(SPAN)
    for name in ("valid_min", "valid_max", "time_fields"):
        case.query.pop(name, None)


@contextmanager
def contract_application(folder: Path) -> Iterator[FromHere]:
    """Serve the invented coast with keys; the key is of the account that has the coast."""
    house = House(settings_for(folder, auth="keys", rate_limit=0))
    house.open()
    app = create_app(house.settings, house)
    holder = make_holder(house.context, "read", "write", account_id=LOCAL_ACCOUNT)
    try:
        with TestClient(app, base_url=URL, client=PEER, headers=holder.headers) as client:
            coast = make_coast(client)
            fit = client.post(f"/v1/stations/{coast.bare_station}/fits", params=HINTS, content=gauge_csv()).json()
            known = {"station_id": coast.station, "mark_id": coast.mark, "rule_id": coast.rule}
            note = {"time": SPAN["start"], "turned_to": "ebb"}
            known["note_id"] = client.post(f"/v1/marks/{coast.mark}/slack-notes", json=note).json()["id"]
            told = client.post("/v1/conditions", json=EXAMPLE).json()["items"]
            warned = client.post("/v1/warnings", content=CAP_EXAMPLE, headers={"content-type": "application/cap+xml"})
            known.update(condition_id=told[0]["id"], warning_id=warned.json()["items"][0]["id"])
            known["method_id"] = client.post("/v1/methods", json=example("create_method")).json()["id"]
            known["trip_id"] = client.post("/v1/trips", json=example("create_trip")).json()["id"]
            known.update(deployment_ref="near", bite_ref="b1", catch_ref="c1")
            known["diary_row_id"] = client.post("/v1/diary-rows", json=example("create_diary_row")).json()["id"]
            known.update(fit_id=fit["id"], job_id=fit["job_id"])
            # The name of the header is spelled as checks look for it.
            yield FromHere(app, known, {"Authorization": holder.headers["authorization"]})
    finally:
        house.close()
