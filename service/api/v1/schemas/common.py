"""What the schemas of all resources share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Query
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from service.api.problems import stored_problem
from service.usecases.references import ExternalRef

#: The same in a query: the thing meant, and the one wanted alone.
Reference = Annotated[ExternalRef, Query(examples=["long-beach"])]
WantedReference = Annotated[ExternalRef | None, Query(description="Only the one that the account calls so.")]


#: An instant of an answer, UTC with Z unless a zone was asked for.
InstantText = Annotated[
    str,
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2026-06-01T04:10:00Z"]}),
]
DateText = Annotated[str, WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-06-01"]})]


def whole(value: Any) -> Any:
    """Return a number without a fraction as the integer that it is to JSON Schema, so 20.0 as 20."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


class Schema(BaseModel):
    """Base of everything that is answered: no defaults, nothing beyond what is declared."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class FaultSchema(Schema):
    """One thing wrong with a request, and what would be right."""

    in_: Annotated[str | None, Field(alias="in", description="query, path, header or body, where that is known.")]
    field: Annotated[str, Field(description="Dotted path of the field.")]
    problem: Annotated[str, Field(description="What is wrong.")]
    expected: Annotated[str, Field(description="What would be right.")]


class ProblemSchema(BaseModel):
    """An error as RFC 9457 has it; `type` is stable, and a page of its own."""

    type: Annotated[str, Field(description="Stable URI reference of the type of problem, /problems/<slug>.")]
    title: str
    status: int
    detail: str
    instance: str
    request_id: str | None
    errors: list[FaultSchema]


class WorkProblem(Schema):
    """Why work failed: a problem without a status."""

    type: str
    title: str
    detail: str
    errors: list[FaultSchema]


#: Declares the header of an answer about work that is not done yet.
RETRY_AFTER: dict[str, Any] = {
    "headers": {
        "Retry-After": {
            "description": "While it waits or runs: seconds after which to ask again.",
            "schema": {"type": "integer"},
        }
    }
}


def retry_after(state: str) -> dict[str, str]:
    """Return the headers of an answer about work in a ``state``."""
    return {"Retry-After": "1"} if state in ("queued", "running") else {}


def write_problem(stored: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Return a stored problem as `WorkProblem` has it."""
    problem = stored_problem(stored)
    if problem is not None:
        problem["errors"] = [{"in": None, **fault} for fault in problem["errors"]]
    return problem
