"""Marks in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import ExternalRef, InstantText, Schema
from service.usecases.marks import MarkView
from service.usecases.page import Page
from tidecore.place import Mark as MarkDocument
from tidecore.place import MarkLags

EXAMPLE: dict[str, Any] = {
    "name": "Pellwick Long Beach",
    "latitude": 51.23,
    "longitude": -20.37,
    "time_zone": "Etc/UTC",
    "station": "pellwick-roads",
    "kind": "open_beach",
    "beds": ["clean_sand"],
    "slack_lags": {"after_hw_min": 25.0, "after_lw_min": 35.0},
    "notes": "Invented.",
    "external_ref": "pellwick-long-beach",
}


class MarkCreate(MarkDocument):
    """A mark to be made; `station` is the id or the external_ref of a station."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_mark(self) -> MarkDocument:
        """Return the mark without what the account calls it."""
        return MarkDocument.model_construct(**{name: getattr(self, name) for name in MarkDocument.model_fields})


class Mark(Schema):
    """A mark in its current version."""

    id: str
    version: int
    external_ref: str | None
    name: str
    latitude: float
    longitude: float
    time_zone: str
    station_id: Annotated[str, Field(description="The station whose tide it follows.")]
    kind: str
    beds: list[str]
    slack_lags: MarkLags | None
    flow_reliable: Annotated[bool, Field(description="Whether it is known when the stream turns here.")]
    notes: str
    created_at: InstantText
    updated_at: InstantText


class MarkList(Schema):
    """A page of marks."""

    items: list[Mark]
    next_cursor: str | None


def write_mark(view: MarkView) -> dict[str, Any]:
    """Return a mark as `Mark` has it."""
    record, mark = view.record, view.mark
    document = mark.to_document()
    document.pop("station")
    return {
        **document,
        "id": record.mark_id,
        "version": record.version,
        "external_ref": record.external_ref,
        "station_id": record.station_id,
        "flow_reliable": mark.flow_reliable,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_marks(page: Page[MarkView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `MarkList` has it."""
    return {"items": [write_mark(view) for view in page.items], "next_cursor": cursor}
