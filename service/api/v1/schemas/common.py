"""What the schemas of all resources share."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, WithJsonSchema

from tidecore.place import Name, Number, fault

#: A coordinate [degrees].
Latitude = Annotated[Number, Field(ge=-90.0, le=90.0, description="Degrees north.")]
Longitude = Annotated[Number, Field(ge=-180.0, le=180.0, description="Degrees east.")]


def _is_reference(text: str) -> str:
    """Refuse text that starts or ends with a blank."""
    if text != text.strip():
        raise fault("starts or ends with a blank", "text without blanks at its ends")
    return text


#: The caller's own name for a thing.
ExternalRef = Annotated[
    Name,
    AfterValidator(_is_reference),
    Field(description="The caller's own name for it, unique in the account among things of its kind."),
]


#: The same in a query: the thing meant, and the one wanted alone.
Reference = Annotated[ExternalRef, Query(examples=["long-beach"])]
WantedReference = Annotated[ExternalRef | None, Query(description="Only the one that the account calls so.")]


#: An instant of an answer, UTC with Z unless a zone was asked for.
InstantText = Annotated[
    str,
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2026-06-01T04:10:00Z"]}),
]
DateText = Annotated[str, WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-06-01"]})]


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
