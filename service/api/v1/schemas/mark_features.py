"""Marks as GeoJSON: what the import of marks takes back."""

from __future__ import annotations

from typing import Any

from service.api.instants import write_instant
from service.api.v1.schemas.marks import EXAMPLE
from service.exports import geojson
from service.usecases.marks import MarkView
from service.usecases.page import Page

_EXAMPLE = geojson.feature(
    "mrk_01jx3v6w9k7q2m8n4p5r6s7t8v",
    EXAMPLE["longitude"],
    EXAMPLE["latitude"],
    {
        "client_ref": EXAMPLE["external_ref"],
        **{name: EXAMPLE[name] for name in ("name", "time_zone", "station", "kind", "beds", "slack_lags", "notes")},
    },
    {"version": 1, "external_ref": EXAMPLE["external_ref"], "flow_reliable": True},
)

#: Declares a mark, and a page of marks, as GeoJSON beside JSON.
FEATURE: dict[int | str, dict[str, Any]] = {
    200: {"content": {geojson.MEDIA_TYPE: {"schema": geojson.FEATURE_SCHEMA, "example": _EXAMPLE}}}
}
COLLECTION: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {
            geojson.MEDIA_TYPE: {
                "schema": geojson.COLLECTION_SCHEMA,
                "example": {"type": "FeatureCollection", "features": [_EXAMPLE], "next_cursor": "bWFya3M"},
            }
        },
        "headers": {
            "Link": {
                "description": 'The next page, as rel="next" (RFC 8288); not sent on the last.',
                "schema": {"type": "string"},
            },
            "Vary": {"description": "Accept, Authorization", "schema": {"type": "string"}},
        },
    }
}


def export_mark(view: MarkView) -> bytes:
    """Return a mark as a feature."""
    return geojson.write_feature(_feature(view))


def export_marks(page: Page[MarkView], cursor: str | None) -> bytes:
    """Return a page of marks as a collection of features."""
    return geojson.write_collection([_feature(view) for view in page.items], cursor)


def _feature(view: MarkView) -> dict[str, Any]:
    record, mark = view.record, view.document
    document = mark.to_document()
    longitude, latitude = document.pop("longitude"), document.pop("latitude")
    # A mark that the account gave no name of its own goes by its id.
    properties = {"client_ref": record.external_ref or record.id, **document}
    beside = {
        "version": record.version,
        "external_ref": record.external_ref,
        "flow_reliable": mark.flow_reliable,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }
    return geojson.feature(record.id, longitude, latitude, properties, beside)
