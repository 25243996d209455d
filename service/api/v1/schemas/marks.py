"""Marks in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.marks import MarkView
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from tidecore.place import Mark as MarkDocument
from tidecore.place import MarkLags, MarkOffsets, StreamRates

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

    def to_draft(self) -> Draft[MarkDocument]:
        """Return the mark, and what the account calls it."""
        mark = MarkDocument.model_construct(**{name: getattr(self, name) for name in MarkDocument.model_fields})
        return Draft(mark, self.external_ref)


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
    offsets: Annotated[MarkOffsets | None, Field(description="By what its tide is that of the station; null if alike.")]
    slack_lags: MarkLags | None
    stream_rates: StreamRates | None
    flow_reliable: Annotated[bool, Field(description="Whether it is known when the stream turns here.")]
    notes: str
    created_at: InstantText
    updated_at: InstantText


PATCH_EXAMPLE: dict[str, Any] = {"notes": "Weed after an onshore blow.", "slack_lags": None}


class MarkList(Schema):
    """A page of marks."""

    items: list[Mark]
    next_cursor: str | None


def patched_mark(view: MarkView, patch: dict[str, Any]) -> Draft[MarkDocument]:
    """Return what a mark says once patched; InvalidInput if that is no mark."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return MarkCreate.parse(merge_patch(current, patch)).to_draft()


def write_mark(view: MarkView) -> dict[str, Any]:
    """Return a mark as `Mark` has it."""
    record, mark = view.record, view.document
    document = mark.to_document()
    document.pop("station")
    return {
        **document,
        "id": record.id,
        "version": record.version,
        "external_ref": record.external_ref,
        "station_id": mark.station,
        "flow_reliable": mark.flow_reliable,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_marks(page: Page[MarkView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `MarkList` has it."""
    return {"items": [write_mark(view) for view in page.items], "next_cursor": cursor}
