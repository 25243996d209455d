"""The contract: what every operation declares of its errors, and the OpenAPI document that is committed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.links import link_answers
from service.api.problem_types import PROBLEMS, Problem
from service.api.problems import MEDIA_TYPE
from service.exports.coveragejson import SCHEMA as COVERAGE_COLLECTION
from service.security import READ, WRITE
from tidecore import __version__

#: What any operation may answer, and what any that asks for a key may answer.
_ALWAYS = (
    "bad-request",
    "invalid-request",
    "invalid-input",
    "not-local",
    "internal",
    "store-unavailable",
    "not-ready",
)
_KEYED = ("key-needed", "key-malformed", "key-invalid", "key-expired", "scope-needed", "too-many-requests")
_DOCUMENT = ("body-unreadable", "body-too-large", "media-not-supported")

DESCRIPTION = """\
Ebbmark says when a stretch of shore is worth fishing: tide, sky and season at a mark as one timeline, species rules
as data, and the windows in which a rule holds, each with an account of itself.

Instants are UTC with `Z`; input needs an offset; spans are half-open. Series are columns over `start`, `step_s` and
`count`. What is unknown is null, and named. Errors are RFC 9457 problems whose `type` is stable and has a page.

Not for navigation. Tide and sky are estimates; follow the coastguard, official warnings, byelaws and licensed advice.
"""

TAGS = [
    {
        "name": "stations",
        "description": "Places with a tide model, fitted from a gauge record or given as constituents.",
    },
    {"name": "fits", "description": "Fits of gauge records; the model of a fit may be adopted by its station."},
    {"name": "tide", "description": "Heights, high and low waters, run of the tide and constituents of stations."},
    {"name": "marks", "description": "Fishing spots, the station each follows, and the timeline of factors there."},
    {
        "name": "conditions",
        "description": "Forecasts and observations of sea and air, and official warnings, of marks and areas.",
    },
    {"name": "species-rules", "description": "What one species wants, as data, and the factors that rules may name."},
    {"name": "methods", "description": "Ways of fishing, as data; those for a session, with a plan and the bag."},
    {
        "name": "regulations",
        "description": "Rules on file, and what they say of plans; never that something is allowed.",
    },
    {"name": "windows", "description": "Spans in which a rule holds at a mark, explained."},
    {"name": "sessions", "description": "Arriving to leaving, in free time, ranked; and outings for bait."},
    {"name": "plans", "description": "Sessions of a month at many marks, computed by a job, kept, and compared."},
    {"name": "two-rods", "description": "Two rods, or two rates, side by side, and what to do with the rods now."},
    {"name": "safety", "description": "From when on a hazard is one for the account; hazards are in every answer."},
    {"name": "trips", "description": "What happened on a trip: rods, casts, bites, catches; with history and undo."},
    {"name": "insights", "description": "What the log says: totals, catch rates with exact limits, seasons."},
    {"name": "diary-rows", "description": "Coarse rows of old diaries, and what they tell of effort."},
    {"name": "changes", "description": "What changed, in the order of commits, for apps that keep a copy."},
    {"name": "imports", "description": "Files of rows that become things of the account, and what became of each row."},
    {"name": "exports", "description": "The catch log as files: to bring back, for spreadsheets, as Darwin Core."},
    {"name": "jobs", "description": "Long work: how it fares, what came of it, and how to end it early."},
    {"name": "health", "description": "Whether the service lives and is ready."},
]


#: The name of the security scheme.
_BEARER = "bearer"
_SCHEME = {
    "type": "http",
    "scheme": "bearer",
    "bearerFormat": "ebk_<10 characters>_<32 characters>",
    "description": "An API key of one account, as `ebbmark keys create` shows it once. An operation names the scope it "
    "needs: read, write, or admin, which implies the others. A service in open mode (EBBMARK_AUTH=open) answers its "
    "own machine without a key.",
}
_HEADERS = {
    401: {"WWW-Authenticate": "Challenge of RFC 6750, with an error code where the request carries a key."},
    429: {"Retry-After": "Whole seconds until a request is taken again."},
}


def declare(*slugs: str, document: bool = False, keyless: bool = False) -> dict[int | str, dict[str, Any]]:
    """Return the declared errors of an operation: those of ``slugs`` and those of any.

    ``document``: it takes JSON. ``keyless``: it asks for no key, see `needs`.
    """
    wanted = dict.fromkeys((*slugs, *(_DOCUMENT if document else ()), *(() if keyless else _KEYED), *_ALWAYS))
    by_status: dict[int, list[Problem]] = {}
    for slug in wanted:
        by_status.setdefault(PROBLEMS[slug].status, []).append(PROBLEMS[slug])
    return {status: _declaration(problems) for status, problems in sorted(by_status.items())}


def needs(scope: str | None) -> dict[str, Any]:
    """Return the ``openapi_extra`` of a route that needs another scope than its method says, or none and no key."""
    return {"security": [] if scope is None else [{_BEARER: [scope]}]}


def scope_needed(methods: Collection[str], openapi_extra: Mapping[str, Any] | None) -> str | None:
    """Return the scope that a route needs, None if no key: as it declares, or else read for GET and write for others.

    The one place where it is decided, for the contract as for the check.
    """
    declared = (openapi_extra or {}).get("security")
    if declared is None:
        return READ if set(methods) <= {"GET", "HEAD"} else WRITE
    return str(declared[0][_BEARER][0]) if declared else None


def _secure(document: dict[str, Any]) -> None:
    """Write into the contract which scope every operation needs."""
    document["components"]["securitySchemes"] = {_BEARER: _SCHEME}
    for item in document["paths"].values():
        for method, operation in item.items():
            operation["security"] = needs(scope_needed({method.upper()}, operation))["security"]


def _declaration(problems: list[Problem]) -> dict[str, Any]:
    examples = {problem.slug: {"summary": problem.title, "value": _example(problem)} for problem in problems}
    schema = {"$ref": "#/components/schemas/Problem"}
    described = "; ".join(dict.fromkeys(problem.title for problem in problems))
    found: dict[str, Any] = {"description": f"{described}."}
    if headers := _HEADERS.get(problems[0].status):
        found["headers"] = {name: {"description": text, "schema": {"type": "string"}} for name, text in headers.items()}
    return found | {"content": {MEDIA_TYPE: {"schema": schema, "examples": examples}}}


def _example(problem: Problem) -> dict[str, Any]:
    return {
        "type": problem.type,
        "title": problem.title,
        "status": problem.status,
        "detail": problem.advice,
        "instance": "/v1/example",
        "request_id": "0123456789abcdef",
        "errors": [],
    }


_FAULT = {
    "type": "object",
    "title": "Fault",
    "description": "One thing wrong with a request, and what would be right.",
    "required": ["in", "field", "problem", "expected"],
    "properties": {
        "in": {"type": ["string", "null"], "description": "query, path, header or body, where that is known."},
        "field": {"type": "string", "description": "Dotted path of the field."},
        "problem": {"type": "string", "description": "What is wrong."},
        "expected": {"type": "string", "description": "What would be right."},
    },
    "additionalProperties": False,
}
_PROBLEM = {
    "type": "object",
    "title": "Problem",
    "description": "An error as RFC 9457 has it; other members carry the data of the error.",
    "required": ["type", "title", "status", "detail", "instance", "request_id", "errors"],
    "properties": {
        "type": {"type": "string", "enum": [problem.type for problem in PROBLEMS.values()],
                 "description": "Stable URI reference of the type of problem; it has a page there."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong here, and what would be right."},
        "instance": {"type": "string"},
        "request_id": {"type": ["string", "null"]},
        "errors": {"type": "array", "items": {"$ref": "#/components/schemas/Fault"}},
        "fitting_step_s": {"type": "integer", "description": "A step [s] with which the answer fits."},
        "position": {"type": ["integer", "null"],
                     "description": "Of a filter: the character that is wrong, counted from 1; null where not known."},
    },
}  # fmt: skip


def build_contract(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of ``app``, made once."""
    if app.openapi_schema is None:
        document = get_openapi(
            title="Ebbmark",
            version=__version__,
            summary="Tide windows for the shore angler.",
            description=DESCRIPTION,
            routes=app.routes,
            tags=TAGS,
            servers=[{"url": "/", "description": "The service that serves this contract."}],
            contact={"name": "The Ebbmark contributors"},
            license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        )
        schemas = document["components"]["schemas"]
        schemas["Problem"], schemas["Fault"] = _PROBLEM, _FAULT
        schemas["CoverageCollection"] = COVERAGE_COLLECTION
        for unused in ("HTTPValidationError", "ValidationError"):
            schemas.pop(unused, None)
        document["components"]["schemas"] = dict(sorted(schemas.items()))
        _require_if_match(document)
        _offer_if_none_match(document)
        _secure(document)
        link_answers(document)
        app.openapi_schema = document
    return app.openapi_schema


def _require_if_match(document: dict[str, Any]) -> None:
    """Say that an edit of one thing needs its If-Match; left to the framework, 422 would come before the 428."""
    for path, item in document["paths"].items():
        for operation in item.values():
            for parameter in operation.get("parameters", ()):
                if parameter["name"] == "If-Match" and path.endswith("}"):
                    parameter["required"] = True
                    parameter["schema"] = {"type": "string", "maxLength": 1000}


def _offer_if_none_match(document: dict[str, Any]) -> None:
    """Say that what may be answered with 304 takes an If-None-Match; it is read where ETags are, by no route."""
    for item in document["paths"].values():
        for operation in item.values():
            if "304" in operation["responses"]:
                operation.setdefault("parameters", []).append(
                    {
                        "name": "If-None-Match",
                        "in": "header",
                        "required": False,
                        "schema": {"type": "string"},
                        "description": "ETags of answers that the caller has, or *; 304 where one of them still holds.",
                    }
                )


def contract_bytes(document: Mapping[str, Any]) -> bytes:
    """Return the contract as it is committed: indented, keys in their order, one line end at the end."""
    return orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n"
