"""CoverageJSON 1.0 (OGC 21-069r2): a collection of point series, null where a value is unknown.

Always a collection, for one series as for many. A series without an instant has no coverage, because no axis may be
empty; one at a place of which nobody gave the longitude has the axis of time alone, and no type of domain.
"""

from __future__ import annotations

import zoneinfo
from typing import Any

import numpy as np
import orjson

from service.exports.instants import write_instants
from service.exports.series import Column, Export, Series, SeriesSet, rounded

MEDIA_TYPE = "application/prs.coverage+json"

_CRS84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
_UCUM = "http://www.opengis.net/def/uom/UCUM/"
#: Unit -> its name and its symbol in UCUM.
UNITS = {
    "1": ("one", "1"),
    "m": ("metre", "m"),
    "m/h": ("metre per hour", "m/h"),
    "h": ("hour", "h"),
    "d": ("day", "d"),
    "min": ("minute", "min"),
    "s": ("second", "s"),
    "degree": ("degree", "deg"),
    "m/s": ("metre per second", "m/s"),
    "degC": ("degree Celsius", "Cel"),
    "hPa": ("hectopascal", "hPa"),
    "%": ("percent", "%"),
    "mm/h": ("millimetre per hour", "mm/h"),
}
_TRUTHS = ("false", "true")
_TEXTS = {"type": "object", "additionalProperties": {"type": "string"}}
_REFERENCING = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["coordinates", "system"],
        "properties": {
            "coordinates": {"type": "array", "items": {"type": "string"}},
            "system": {"type": "object"},
        },
    },
}
_AXES = {
    "type": "object",
    "required": ["t"],
    "properties": {name: {"type": "object"} for name in ("t", "x", "y")},
}

#: JSON Schema of what is written here, for the contract.
SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "CoverageCollection",
    "description": "CoverageJSON 1.0 (OGC 21-069r2): point series; null where a value is unknown.",
    "required": ["type", "title", "coverages"],
    "properties": {
        "type": {"const": "CoverageCollection"},
        "domainType": {"const": "PointSeries"},
        "title": {"type": "string"},
        "coverages": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "id", "title", "about", "domain", "parameters", "ranges"],
                "properties": {
                    "type": {"const": "Coverage"},
                    "id": {"type": "string"},
                    "title": _TEXTS,
                    "about": {
                        "type": "object",
                        "description": "What the series rests on: ids, versions, datum.",
                        "additionalProperties": {"type": ["string", "integer", "boolean"]},
                    },
                    "domain": {
                        "type": "object",
                        "required": ["type", "axes", "referencing"],
                        "properties": {
                            "type": {"const": "Domain"},
                            "domainType": {"const": "PointSeries"},
                            "axes": _AXES,
                            "referencing": _REFERENCING,
                        },
                    },
                    "parameters": {"type": "object", "additionalProperties": {"type": "object"}},
                    "ranges": {"type": "object", "additionalProperties": {"type": "object"}},
                },
            },
        },
    },
}


def series_coverages(found: SeriesSet, zone: zoneinfo.ZoneInfo | None = None) -> Export:
    """Return series as a CoverageCollection; its instants carry the offsets of ``zone``."""
    told = [one for one in found.series if one.times.size]
    collection: dict[str, Any] = {"type": "CoverageCollection"}
    if told and all(one.longitude is not None for one in told):
        collection["domainType"] = "PointSeries"
    collection["title"] = found.title
    collection["coverages"] = [_coverage(one, zone) for one in told]
    return Export(orjson.dumps(collection), MEDIA_TYPE, f"{found.name}.covjson")


def _coverage(series: Series, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "type": "Coverage",
        "id": series.key,
        "title": {"en": series.title},
        "about": dict(series.about),
        "domain": _domain(series, zone),
        "parameters": {column.field: _parameter(column) for column in series.columns},
        "ranges": {column.field: _range(column, zone) for column in series.columns},
    }


def _domain(series: Series, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    axes: dict[str, Any] = {"t": {"values": write_instants(series.times, zone)}}
    referencing = [{"coordinates": ["t"], "system": {"type": "TemporalRS", "calendar": "Gregorian"}}]
    if series.longitude is None:
        return {"type": "Domain", "axes": axes, "referencing": referencing}
    axes |= {"x": {"values": [series.longitude]}, "y": {"values": [series.latitude]}}
    referencing.append({"coordinates": ["x", "y"], "system": {"type": "GeographicCRS", "id": _CRS84}})
    return {"type": "Domain", "domainType": "PointSeries", "axes": axes, "referencing": referencing}


def _parameter(column: Column) -> dict[str, Any]:
    observed: dict[str, Any] = {"label": {"en": column.name.replace("_", " ")}}
    if column.standard_name:
        observed["id"] = f"http://vocab.nerc.ac.uk/standard_name/{column.standard_name}/"
    parameter = {"type": "Parameter", "description": {"en": column.meaning}, "observedProperty": observed}
    named = _categories(column)
    if named:
        observed["categories"] = [{"id": name, "label": {"en": name.replace("_", " ")}} for name in named]
        parameter["categoryEncoding"] = {name: code for code, name in enumerate(named)}
    elif column.unit:
        label, symbol = UNITS[column.unit]
        parameter["unit"] = {"label": {"en": label}, "symbol": {"value": symbol, "type": _UCUM}}
    return parameter


def _categories(column: Column) -> tuple[str, ...]:
    return _TRUTHS if column.kind == "boolean" else column.categories


def _range(column: Column, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    kind, values = "integer", column.values
    found: list[Any]
    if column.kind == "number":
        numbers = rounded(values, column.decimals)
        kind, found = "float", [None if value != value else value for value in numbers.tolist()]
    elif column.kind == "boolean":
        found = [None if value < 0 else int(value) for value in np.asarray(values, dtype=np.int8).tolist()]
    elif column.kind == "category":
        codes = {name: code for code, name in enumerate(column.categories)}
        found = [codes[value] if value else None for value in values.tolist()]
    elif column.kind == "integer":
        found = values.tolist()
    else:
        kind, found = "string", write_instants(values, zone) if column.kind == "time" else values.tolist()
    return {"type": "NdArray", "dataType": kind, "axisNames": ["t"], "shape": [len(found)], "values": found}
