"""Filters in requests, and what they may name in answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Depends, Query
from pydantic import Field

from service.api.v1.schemas.common import Schema
from service.exports.coveragejson import UNITS
from service.usecases.filtering import Rows
from tidecore.filters import Filter, Language, Queryable

#: Media type of JSON Schema.
SCHEMA_TYPE = "application/schema+json"


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


def write_queryables(columns: Mapping[str, Queryable], path: str) -> dict[str, Any]:
    """Return the JSON Schema of what a filter may name, as OGC 19-079r2 has it."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": path,
        "type": "object",
        "title": "Columns of a timeline",
        "description": "What filters may name. A factor that is unknown at an instant is NULL there.",
        "properties": {name: _write_queryable(one) for name, one in columns.items()},
        "additionalProperties": False,
    }


def _write_queryable(one: Queryable) -> dict[str, Any]:
    said: dict[str, Any] = {
        "title": one.name.replace("_", " "),
        "description": one.meaning,
        "x-ebbmark-provenance": one.provenance,
        "x-ebbmark-group": one.group,
    }
    if one.kind == "number":
        unit = {"x-ogc-unit": UNITS[one.unit][1], "x-ogc-unitLang": "UCUM", "x-ebbmark-unit": one.unit}
        return {"type": "number", **unit, **said}
    if one.kind == "category":
        return {"type": "string", "enum": list(one.categories), **said}
    if one.kind == "boolean":
        return {"type": "boolean", **said}
    return {"type": "string", "format": "date-time", "x-ogc-role": "primary-instant", **said}
