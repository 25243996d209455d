"""Slack notes in requests and answers, and the lags they tell."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from service.api.instants import Instant, write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from service.usecases.slack_notes import LagsView, NoteView
from service.usecases.slack_notes import SlackNote as SlackNoteDocument
from tidecore.flow import LagEstimate
from tidecore.place import Document, Note

EXAMPLE: dict[str, Any] = {
    "time": "2026-05-02T18:25:00Z",
    "turned_to": "ebb",
    "notes": "Line went slack, then swung seaward.",
    "external_ref": "turn-1",
}


class SlackNoteCreate(Document):
    """That the stream was seen to turn: the ebb begins after high water, the flood after low water."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    time: Instant
    turned_to: Annotated[Literal["ebb", "flood"], Field(description="What the stream turned to.")]
    notes: Note = ""
    external_ref: ExternalRef | None = None

    def to_draft(self, mark_id: str) -> Draft[SlackNoteDocument]:
        """Return the note of a mark, and what the account calls it; InvalidInput if it is none."""
        note = SlackNoteDocument.parse(
            {"mark": mark_id, "time": self.time, "turned_to": self.turned_to, "notes": self.notes}
        )
        return Draft(note, self.external_ref)


class SlackNote(Schema):
    """A note that the stream turned at a mark."""

    id: str
    version: int
    external_ref: str | None
    mark_id: str
    time: InstantText
    turned_to: Literal["ebb", "flood"]
    notes: str
    created_at: InstantText
    updated_at: InstantText


class SlackNoteList(Schema):
    """A page of notes."""

    items: list[SlackNote]
    next_cursor: str | None


class SlackLag(Schema):
    """One lag, with the interval that holds it nine times in ten, as far as so few notes can say."""

    lag_min: Annotated[float, Field(description="Minutes after the mark's own water at which the stream turns.")]
    low_min: float
    high_min: float
    notes: Annotated[int, Field(description="How many notes it is told from.")]
    tides: Annotated[int, Field(description="Of how many tides they are; notes of one tide count as one.")]


class SlackLags(Schema):
    """Slack lags as the notes of a mark tell them; they are the mark's once adopted."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    after_hw: SlackLag
    after_lw: SlackLag
    one_tide: Annotated[bool, Field(description="The notes of a side are all of one tide: they count as one.")]
    unused: Annotated[list[str], Field(description="Ids of notes that lie near no water of their kind.")]


def write_note(view: NoteView) -> dict[str, Any]:
    """Return a note as `SlackNote` has it."""
    record, note = view.record, view.document
    return {
        "id": record.id,
        "version": record.version,
        "external_ref": record.external_ref,
        "mark_id": note.mark,
        "time": write_instant(note.time),
        "turned_to": note.turned_to,
        "notes": note.notes,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_notes(page: Page[NoteView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `SlackNoteList` has it."""
    return {"items": [write_note(view) for view in page.items], "next_cursor": cursor}


def write_lags(view: LagsView) -> dict[str, Any]:
    """Return lags as `SlackLags` has them."""
    return {
        "mark_id": view.mark.record.id,
        "mark_version": view.mark.record.version,
        "station_id": view.served.station.station_id,
        "station_version": view.served.version,
        "after_hw": write_lag(view.lags.after_hw),
        "after_lw": write_lag(view.lags.after_lw),
        "one_tide": view.lags.one_tide,
        "unused": list(view.unused),
    }


def write_lag(lag: LagEstimate) -> dict[str, Any]:
    """Return a lag as `SlackLag` has it."""
    return {
        "lag_min": number(lag.lag_min, 1),
        "low_min": number(lag.low_min, 1),
        "high_min": number(lag.high_min, 1),
        "notes": lag.notes,
        "tides": lag.tides,
    }
