"""Filters in requests, and what they did in answers."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Query
from pydantic import Field

from service.api.v1.schemas.common import Schema
from service.usecases.filtering import Rows
from tidecore.filters import Filter
from tidecore.filters.syntax import Language


async def filter_of(
    filter: Annotated[
        str | None,
        Query(
            description="CQL2 (OGC 21-065r2) over /v1/queryables, at most 2,000 characters: rows where it is not true, "
            "false or unknown, are left out.",
            examples=["flow_strength > 0.4 AND direction = 'ebb' AND sun_altitude < -6"],
        ),
    ] = None,
    filter_lang: Annotated[
        Language, Query(alias="filter-lang", description="How the filter is written.")
    ] = "cql2-text",
) -> Filter | None:
    """Return the filter of a query, None where there is none; InvalidFilter for one that is wrong."""
    return None if filter is None else Filter.parse(filter, language=filter_lang)


FilterDep = Annotated[Filter | None, Depends(filter_of)]


class FilteredRows(Schema):
    """What a filter did to the rows of a timeline."""

    kept: Annotated[int, Field(description="Rows where it is true: those of the answer.")]
    false: Annotated[int, Field(description="Rows left out because it is false.")]
    unknown: Annotated[int, Field(description="Rows left out because nobody knows whether it is true.")]
    unknown_factors: Annotated[list[str], Field(description="Factors it reads that are unknown at some instant.")]


def write_rows(rows: Rows | None) -> dict[str, Any] | None:
    """Return what a filter did as `FilteredRows` has it; None without one."""
    if rows is None:
        return None
    return {
        "kept": rows.count(1),
        "false": rows.count(0),
        "unknown": rows.count(-1),
        "unknown_factors": list(rows.unknown_factors),
    }
