"""The contract: what every operation declares of its errors, and the OpenAPI document that is committed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.problems import MEDIA_TYPE, PROBLEMS, Problem
from service.exports.coveragejson import SCHEMA as COVERAGE_COLLECTION
from tidecore import __version__

#: What any operation may answer.
_ALWAYS = (
    "bad-request",
    "invalid-request",
    "invalid-input",
    "key-needed",
    "not-local",
    "internal",
    "store-unavailable",
    "not-ready",
)
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
    {"name": "species-rules", "description": "What one species wants, as data, and the factors that rules may name."},
    {"name": "windows", "description": "Spans in which a rule holds at a mark, explained."},
    {"name": "changes", "description": "What changed, in the order of commits, for apps that keep a copy."},
    {"name": "health", "description": "Whether the service lives and is ready."},
]


def declare(*slugs: str, document: bool = False) -> dict[int | str, dict[str, Any]]:
    """Return the declared errors of an operation: those of ``slugs`` and those of any; ``document``: it takes JSON."""
    wanted = dict.fromkeys((*slugs, *(_DOCUMENT if document else ()), *_ALWAYS))
    by_status: dict[int, list[Problem]] = {}
    for slug in wanted:
        by_status.setdefault(PROBLEMS[slug].status, []).append(PROBLEMS[slug])
    return {status: _declaration(problems) for status, problems in sorted(by_status.items())}


def _declaration(problems: list[Problem]) -> dict[str, Any]:
    examples = {problem.slug: {"summary": problem.title, "value": _example(problem)} for problem in problems}
    schema = {"$ref": "#/components/schemas/Problem"}
    described = "; ".join(dict.fromkeys(problem.title for problem in problems))
    return {"description": f"{described}.", "content": {MEDIA_TYPE: {"schema": schema, "examples": examples}}}


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


def contract_bytes(document: Mapping[str, Any]) -> bytes:
    """Return the contract as it is committed: indented, keys in their order, one line end at the end."""
    return orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n"
