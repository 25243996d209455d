"""Every place of the contract where an id may stand, and requests with somebody's id there."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.testclient import TestClient

from service.api.v1.schemas.official_warnings import CAP_EXAMPLE
from service.storage.identifiers import new_id
from tests.service.coast import SPAN, example, make_coast
from tests.service.holders import Holder

#: Name of a parameter or of a field of a body -> the kind of thing whose id it takes. A new one is entered here, and
#: what an account has of its kind in `make_things`; the walk fails until it is.
KINDS = {
    "station_id": "station",
    "station": "station",
    "neighbour": "station",
    "mark": "mark",
    "mark_id": "mark",
    "mark_ids": "mark",
    "first_mark_id": "mark",
    "second_mark_id": "mark",
    "note_id": "slack note",
    "condition_id": "condition",
    "warning_id": "warning",
    "rule_id": "rule",
    "rule_ids": "rule",
    "method_id": "method",
    "regulation_id": "regulation",
    "method_ids": "method",
    "trip_id": "trip",
    "diary_row_id": "diary row",
    "fit_id": "fit",
    "job_id": "job",
    "import_id": "import",
    "plan_id": "plan",
    "feed_id": "feed",
    "supersedes": "plan",
}
#: Field of a body -> the one that an example has in its place.
INSTEAD: Mapping[str, str] = {"mark_id": "area"}
#: Parameters of paths that are no ids, and what is asked for.
PLAIN: Mapping[str, str] = {
    "deployment_ref": "near",
    "bite_ref": "b1",
    "catch_ref": "c1",
    "year": "2026",
    "token": "ebf_x",
}
#: Examples of required parameters of queries whose schema gives none.
EXAMPLES: Mapping[str, str] = {**SPAN, "date": "2026-06-01"}
_ID_LIKE = re.compile(r"(^|_)ids?$")
#: Operation -> a body that is no JSON: its content type, what is asked in the query beside it, and the body.
_BODIES: Mapping[str, tuple[str, Mapping[str, str], bytes]] = {
    "create_condition": (
        "text/csv",
        {"kind": "forecast", "source": "Invented", "issued_at": "2026-06-01T00:00:00Z", "waves_at": "offshore"},
        b"time,wave_height_m\n2026-06-01T00:00:00Z,0.8\n2026-06-01T03:00:00Z,1.1\n",
    ),
    "create_warning": ("application/cap+xml", {}, CAP_EXAMPLE.encode()),
}
_RECORD = b"time,level\n2025-01-01T00:00Z,1.0\n"

Things = Mapping[str, str]


@dataclass(frozen=True)
class Probe:
    """One place of one operation where an id may stand."""

    method: str
    path: str
    operation: Mapping[str, Any]
    where: str
    name: str

    @property
    def kind(self) -> str:
        return KINDS[self.name]

    def __str__(self) -> str:
        return f"{self.operation['operationId']} {self.where} {self.name}"


def parameters(operation: Mapping[str, Any], where: str) -> Iterator[Mapping[str, Any]]:
    """The parameters of an operation that stand in one place: path, query or header."""
    return (one for one in operation.get("parameters", ()) if one["in"] == where)


def operations(contract: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Every operation: method, path, and what the contract says of it."""
    for path, item in contract["paths"].items():
        for method, operation in item.items():
            yield method, path, operation


def probes(contract: Mapping[str, Any]) -> Iterator[Probe]:
    """Every place where an id may stand; LookupError for one whose kind nobody has said."""
    for method, path, operation in operations(contract):
        names = {"path": [one["name"] for one in parameters(operation, "path")]}
        names["query"] = [one["name"] for one in parameters(operation, "query")]
        names["body"] = list(body_schema(contract, operation).get("properties", ()))
        for where, found in names.items():
            for name in found:
                if name in KINDS:
                    yield Probe(method, path, operation, where, name)
                elif name not in PLAIN and (where == "path" or _ID_LIKE.search(name)):
                    raise LookupError(
                        f"{method} {path}: no maker for {name} in the {where}; enter it in KINDS or PLAIN"
                    )


def body_schema(contract: Mapping[str, Any], operation: Mapping[str, Any]) -> Mapping[str, Any]:
    """The schema of a JSON body; empty where there is none."""
    for media_type, content in operation.get("requestBody", {}).get("content", {}).items():
        if media_type.endswith("json"):
            schema: Mapping[str, Any] = content["schema"]
            if "$ref" in schema:
                schema = contract["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
            return schema
    return {}


def send(
    client: TestClient,
    contract: Mapping[str, Any],
    probe: Probe,
    caller: Holder,
    own: Things,
    probed: str,
    if_match: str = "*",
) -> Any:
    """Make the request of a probe for a caller: ``probed`` at its place, the caller's ``own`` ids at others."""

    def value(name: str) -> str:
        return probed if name == probe.name else PLAIN[name] if name in PLAIN else own[KINDS[name]]

    path = re.sub(r"\{(\w+)\}", lambda found: value(found[1]), probe.path)
    query: dict[str, Any] = {}
    for one in parameters(probe.operation, "query"):
        if one["name"] == probe.name and probe.where == "query":
            query[one["name"]] = probed
        elif one.get("required"):
            query[one["name"]] = own[KINDS[one["name"]]] if one["name"] in KINDS else example_of(one)
    headers = dict(caller.headers)
    for one in parameters(probe.operation, "header"):
        if one["name"] == "If-Match":
            headers["If-Match"] = if_match
    content: dict[str, Any] = {}
    media_types = list(probe.operation.get("requestBody", {}).get("content", ()))
    json_types = [one for one in media_types if one.endswith("json")]
    if probe.where == "query" and probe.operation["operationId"] in _BODIES:
        # What JSON says in the body, other forms say in the query.
        headers["content-type"], about, content["content"] = _BODIES[probe.operation["operationId"]]
        query = {**about, **query}
    elif json_types:
        schema = body_schema(contract, probe.operation)
        document = {name: v for name, v in schema.get("examples", [{}])[0].items() if name != "external_ref"}
        document.pop(INSTEAD.get(probe.name, ""), None)
        for name in schema.get("properties", ()):
            if name == probe.name:
                document[name] = [probed] if name.endswith("_ids") else probed
            elif name in document and name in KINDS:
                document[name] = [own[KINDS[name]]] if name.endswith("_ids") else own[KINDS[name]]
        if probe.method == "put" and "rod" in document:
            # The rod of the example has been added to the same trip by then.
            document["rod"] = "fourth"
        if "trip" in document:
            document["trip"] = {**document["trip"], "mark": own["mark"]}
        headers["content-type"], content["json"] = json_types[0], document
    elif media_types:
        headers["content-type"], content["content"] = media_types[0], _RECORD
    return client.request(probe.method, path, params=query, headers=headers, **content)


def example_of(parameter: Mapping[str, Any]) -> Any:
    """An example of a required parameter of a query: the one known here, or else that of the contract."""
    if parameter["name"] in EXAMPLES:
        return EXAMPLES[parameter["name"]]
    if not parameter["schema"].get("examples"):
        raise LookupError(f"no example of {parameter['name']} in the contract; enter one in EXAMPLES")
    return parameter["schema"]["examples"][0]


def make_things(client: TestClient, holder: Holder) -> Things:
    """Make one thing of every kind for an account, and return their ids."""
    client.headers.update(holder.headers)
    try:
        coast = make_coast(client)
        sent = client.post(
            f"/v1/stations/{coast.bare_station}/fits", content=_RECORD, headers={"content-type": "text/csv"}
        )
        place, ends = sent.headers["location"], time.monotonic() + 60.0
        while client.get(place).json()["state"] in ("queued", "running"):
            assert time.monotonic() < ends, "the fit is stuck"
            time.sleep(0.02)
        imported = client.post(
            "/v1/imports", params={"kind": "mark"}, content=b"{}\n", headers={"content-type": "application/x-ndjson"}
        )
        while client.get(imported.headers["location"]).json()["state"] in ("queued", "running"):
            assert time.monotonic() < ends, "the import is stuck"
            time.sleep(0.02)
        note = {"time": "2026-05-31T14:25:00Z", "turned_to": "ebb"}
        noted = client.post(f"/v1/marks/{coast.mark}/slack-notes", json=note)
        method = client.post("/v1/methods", json=example("create_method"))
        outing = example("create_trip")
        # Both rods have casts, so that they can be held against each other.
        outing["deployments"][1]["casts"] = [{"out": "2026-05-02T17:55:00Z", "in": "2026-05-02T18:40:00Z"}]
        trip = client.post("/v1/trips", json=outing)
        row = client.post("/v1/diary-rows", json=example("create_diary_row"))
        regulation = client.post("/v1/regulations", json=example("create_regulation"))
        planned = client.post("/v1/plans", json={"month": "2026-06", "mark_ids": [coast.mark], "series": "december"})
        while client.get(planned.headers["location"]).json()["state"] in ("queued", "running"):
            assert time.monotonic() < ends, "the plan is stuck"
            time.sleep(0.02)
        feed = client.post("/v1/feeds", json={"name": "December", "series": "december"})
        given = {}
        for name, path in (("create_condition", "/v1/conditions"), ("create_warning", "/v1/warnings")):
            media_type, about, body = _BODIES[name]
            query, headers = {**about, "mark_id": coast.mark}, {"content-type": media_type}
            given[name] = client.post(path, params=query, content=body, headers=headers).json()["items"][0]["id"]
        # The trip is joined to its tide meanwhile; whoever looks at the store wants that behind him.
        while any(one["state"] in ("queued", "running") for one in client.get("/v1/jobs").json()["items"]):
            assert time.monotonic() < ends, "the join is stuck"
            time.sleep(0.02)
    finally:
        del client.headers["authorization"]
    return {
        "station": coast.station,
        "mark": coast.mark,
        "slack note": noted.json()["id"],
        "condition": given["create_condition"],
        "warning": given["create_warning"],
        "rule": coast.rule,
        "method": method.json()["id"],
        "trip": trip.json()["id"],
        "diary row": row.json()["id"],
        "regulation": regulation.json()["id"],
        "fit": sent.json()["id"],
        "job": sent.json()["job_id"],
        "import": imported.json()["id"],
        "plan": planned.json()["id"],
        "feed": feed.json()["id"],
    }


def absent_id(like: str) -> str:
    """An id of the same kind that nothing has."""
    return new_id(like.partition("_")[0])
