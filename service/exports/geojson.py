"""GeoJSON (RFC 7946): things at points as features, one by itself or a page of them.

``properties`` are what the import of GeoJSON takes back; what the service says beside them are foreign members, which
RFC 7946 allows (section 6.1) and readers leave alone. Coordinates are WGS 84, longitude first, as it asks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import orjson

MEDIA_TYPE = "application/geo+json"

_POINT = {
    "type": "object",
    "required": ["type", "coordinates"],
    "properties": {
        "type": {"const": "Point"},
        "coordinates": {
            "type": "array",
            "items": {"type": "number"},
            "minItems": 2,
            "maxItems": 2,
            "description": "Longitude, latitude.",
        },
    },
}
#: JSON Schemas of what is written here, for the contract.
FEATURE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "Feature",
    "required": ["type", "id", "geometry", "properties"],
    "properties": {
        "type": {"const": "Feature"},
        "id": {"type": "string"},
        "geometry": _POINT,
        "properties": {"type": "object", "description": "The fields of the thing, as its import takes them."},
    },
    # Foreign members (RFC 7946, 6.1): what is known of the thing besides, its version among it.
    "additionalProperties": True,
}
COLLECTION_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "FeatureCollection",
    "required": ["type", "features", "next_cursor"],
    "properties": {
        "type": {"const": "FeatureCollection"},
        "features": {"type": "array", "items": FEATURE_SCHEMA},
        "next_cursor": {"type": ["string", "null"], "description": "Where the next page goes on; null on the last."},
    },
}


def feature(
    key: str, longitude: float, latitude: float, properties: Mapping[str, Any], beside: Mapping[str, Any]
) -> dict[str, Any]:
    """Return a feature of the thing with the id ``key``; ``beside`` are its foreign members."""
    return {
        "type": "Feature",
        "id": key,
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        "properties": dict(properties),
        **beside,
    }


def write_feature(one: Mapping[str, Any]) -> bytes:
    """Return the bytes of one feature."""
    return orjson.dumps(one)


def write_collection(features: Sequence[Mapping[str, Any]], cursor: str | None) -> bytes:
    """Return the bytes of a page of features that goes on at ``cursor``."""
    return orjson.dumps({"type": "FeatureCollection", "features": features, "next_cursor": cursor})
