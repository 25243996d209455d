"""Links of the contract: from every answer that shows a thing to the operations on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

#: Schema of an answer -> the parameter that takes an id shown there, and where in the body it stands.
SHOWN: Mapping[str, Mapping[str, str]] = {
    "Station": {"station_id": "/id"},
    "Mark": {"mark_id": "/id"},
    "SlackNote": {"note_id": "/id", "mark_id": "/mark_id"},
    "ConditionsKept": {"condition_id": "/items/0/id"},
    "Condition": {"condition_id": "/id"},
    "WarningsKept": {"warning_id": "/items/0/id"},
    "OfficialWarning": {"warning_id": "/id"},
    "SpeciesRule": {"rule_id": "/id"},
    "Method": {"method_id": "/id"},
    "LoggedTrip": {"trip_id": "/id", "mark_id": "/mark_id"},
    "LoggedDeployment": {"trip_id": "/trip_id", "deployment_ref": "/ref"},
    "LoggedBite": {"trip_id": "/trip_id", "bite_ref": "/ref"},
    "LoggedCatch": {"trip_id": "/trip_id", "catch_ref": "/ref"},
    "LoggedDiaryRow": {"diary_row_id": "/id", "mark_id": "/mark_id"},
    "Regulation": {"regulation_id": "/id"},
    "Fit": {"fit_id": "/id", "job_id": "/job_id"},
    "Quality": {"fit_id": "/fit_id"},
    "Feed": {"feed_id": "/id"},
    "FeedMade": {"feed_id": "/id"},
    "Plan": {"plan_id": "/id", "job_id": "/job_id"},
    "Job": {"job_id": "/id"},
}
#: The parameters of the path of an operation, and the operation.
_Target = tuple[list[str], Mapping[str, Any]]
_COMPONENTS = "#/components/links/"


def link_answers(document: dict[str, Any]) -> None:
    """Write the links into a contract: each once among its components, and by reference at every answer."""
    targets = dict(_targets(document))
    links: dict[str, Any] = {}
    for item in document["paths"].values():
        for operation in item.values():
            for status, response in operation["responses"].items():
                found = _shown(response) if status.startswith("2") else None
                if found is not None:
                    known = {name: link for name, link in _links(found, targets)}
                    links.update(known)
                    response["links"] = {name: {"$ref": _COMPONENTS + name} for name in known}
    document["components"]["links"] = dict(sorted(links.items()))


def _shown(response: Mapping[str, Any]) -> str | None:
    """Return the schema of what an answer shows, None where that is no one thing with operations on it."""
    reference = response.get("content", {}).get("application/json", {}).get("schema", {}).get("$ref", "")
    # Two models of one name are told apart by a prefix.
    name: str = reference.rpartition("/")[2].rpartition("__")[2]
    return name if name in SHOWN else None


def _targets(document: Mapping[str, Any]) -> Iterator[tuple[str, _Target]]:
    """Return the operations whose path takes ids: name, those parameters, and the operation."""
    for path, item in document["paths"].items():
        for operation in item.values():
            places = [one["name"] for one in operation.get("parameters", ()) if one["in"] == "path"]
            if places and all(f"{{{place}}}" in path for place in places):
                yield operation["operationId"], (places, operation)


def _links(
    shown: str, targets: Mapping[str, tuple[list[str], Mapping[str, Any]]]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Return the links to operations all of whose parameters stand in what is shown."""
    for name, (places, operation) in targets.items():
        if not set(places) <= set(SHOWN[shown]):
            continue
        parameters = {place: f"$response.body#{SHOWN[shown][place]}" for place in places}
        if any(one["name"] == "If-Match" for one in operation["parameters"]):
            parameters["If-Match"] = "$response.header.ETag"
        yield (
            f"{shown}.{name}",
            {
                "operationId": name,
                "parameters": parameters,
                "description": f"{operation['summary']}: that of the answer.",
            },
        )
