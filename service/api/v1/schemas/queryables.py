"""What filters may name, in answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.exports.coveragejson import UNITS
from tidecore.filters import Queryable

#: Media type of JSON Schema.
SCHEMA_TYPE = "application/schema+json"


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
