"""Factors in answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.v1.schemas.common import Schema
from tidecore.timeline import Factor as CoreFactor
from tidecore.timeline import factor_words


class Factor(Schema):
    """One quantity over time at a mark."""

    name: str
    group: str
    kind: Literal["number", "category", "boolean"]
    unit: Annotated[str | None, Field(description="Unit of a number, 1 if it has none; null for the other kinds.")]
    meaning: str
    provenance: str
    values: Annotated[list[str] | None, Field(description="The values of a category.")]
    period: Annotated[float | None, Field(description="Length of the round where the scale closes on itself.")]
    given_by_caller: Annotated[bool, Field(description="Whether only a caller can give it; unknown until then.")]


class NamedFactor(Factor):
    """A factor, and what an angler calls it."""

    words: Annotated[str, Field(description="What an angler calls it, for a sentence.")]


class FactorList(Schema):
    """Every factor, in the order of the columns of a timeline."""

    items: list[NamedFactor]


def write_factor(factor: CoreFactor) -> dict[str, Any]:
    """Return a factor as `Factor` has it."""
    return {
        "name": factor.name,
        "group": factor.group,
        "kind": factor.kind,
        "unit": factor.unit if factor.kind == "number" else None,
        "meaning": factor.meaning,
        "provenance": factor.provenance,
        "values": list(factor.categories) if factor.kind == "category" else None,
        "period": factor.period,
        "given_by_caller": factor.compute is None or factor.group == "sea_and_air",
    }


def write_factors(factors: Sequence[CoreFactor]) -> dict[str, Any]:
    """Return all factors as `FactorList` has them."""
    return {"items": [{**write_factor(factor), "words": factor_words(factor.name)} for factor in factors]}
