"""Slack notes: when somebody saw the stream turn at a mark, and the slack lags that such notes tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, AwareDatetime

from service.errors import DocumentInvalid
from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, Draft
from service.usecases.fished import AHEAD
from service.usecases.marks import MARKS, MarkView
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page
from service.usecases.stations import ServedModel, serve_models
from tidecore.errors import Fault, SlackUndetermined
from tidecore.extremes import Extremes
from tidecore.flow import NotedLags, lags_from_notes
from tidecore.model import TideModel
from tidecore.offsets import place_tide
from tidecore.place import Document, Mark, MarkLags, Name, Note, fault

#: Most notes that lags are told from: the latest ones.
MOST_NOTES = 2000
_EARLIEST, _LATEST = datetime(1900, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
#: High and low waters are sought so far beyond the notes.
_REACH = timedelta(days=2)


def _of_our_time(time: datetime) -> datetime:
    """Return an instant in UTC; refused outside two centuries."""
    if not _EARLIEST <= time < _LATEST:
        raise fault(f"is {time.isoformat()}", "an instant from 1900 to 2099")
    return time.astimezone(UTC)


class SlackNote(Document):
    """That the stream turned at a mark at a time, and what it turned to: the ebb after HW, the flood after LW."""

    mark: Name
    time: Annotated[AwareDatetime, AfterValidator(_of_our_time)]
    turned_to: Literal["ebb", "flood"]
    notes: Note = ""


NoteView = DocumentView[SlackNote]


@dataclass(frozen=True, slots=True)
class LagsView:
    """Slack lags as the notes of a mark tell them, with all that they rest on; ``unused`` are ids of notes."""

    mark: MarkView
    served: ServedModel
    lags: NotedLags
    unused: Sequence[str]


def _settle(context: Context, unit: UnitOfWork, note: SlackNote) -> tuple[SlackNote, Mapping[str, str]]:
    MARKS.find(context, unit, [note.mark])
    last = context.clock() + AHEAD
    if note.time > last:
        expected = f"{last.isoformat(timespec='seconds')} at the latest, by the clock of the service"
        raise DocumentInvalid(Fault("time", f"is {note.time.isoformat()}, in the future", expected))
    return note, {"mark_id": note.mark}


SLACK_NOTES = Documents("slack note", "slack_note", SlackNote, lambda unit: unit.slack_notes, _settle)


def list_notes(context: Context, caller: Caller, mark_id: str, after: str | None, limit: int) -> Page[NoteView]:
    """Return a page of the notes of a mark; NotFound if there is no such mark."""
    with context.store.unit(caller.account_id) as unit:
        MARKS.find(context, unit, [mark_id])
        return SLACK_NOTES.page_of(context, unit, "mark_id", mark_id, after, limit)


def tell_lags(context: Context, caller: Caller, mark_id: str) -> LagsView:
    """Return the slack lags that the notes of a mark tell.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    SlackUndetermined
        If there are no usable notes of the ebb, or of the flood.
    """
    with context.store.unit(caller.account_id) as unit:
        (mark,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [mark.document.station], None)
        notes: list[NoteView] = []
        after: str | None = None
        while True:
            page = SLACK_NOTES.page_of(context, unit, "mark_id", mark_id, after, MOST_NOTES)
            notes = sorted([*notes, *page.items], key=lambda view: view.document.time)[-MOST_NOTES:]
            if page.after is None:
                break
            after = page.after
    if not notes:
        raise SlackUndetermined("the mark has no slack notes")
    found = [view.document for view in notes]
    tides = tides_of(mark.document, served.model, found[0].time - _REACH, found[-1].time + _REACH)
    lags = lags_from_notes(_instants([one.time for one in found]), [one.turned_to for one in found], tides)
    return LagsView(mark, served, lags, [notes[place].record.id for place in lags.unused])


def adopt_lags(context: Context, caller: Caller, mark_id: str, keep: Keep[MarkView] = keep_nothing) -> MarkView:
    """Make the lags that the notes of a mark tell its slack lags, in a next version; once more changes nothing.

    Raises as `tell_lags`, and InvalidInput if under these lags a slack would not come before the next.
    """
    told = tell_lags(context, caller, mark_id).lags.lags
    lags = MarkLags(after_hw_min=round(told.after_hw_min, 1), after_lw_min=round(told.after_lw_min, 1))

    def change(view: MarkView) -> Draft[Mark]:
        return Draft(view.document.model_copy(update={"slack_lags": lags}), view.record.external_ref)

    return MARKS.edit(context, caller, mark_id, lambda _record: True, change, keep)


def tides_of(mark: Mark, model: TideModel, start: datetime, end: datetime) -> Extremes:
    """Return the high and low waters at a mark: by its offsets where it has some."""
    first, last = _instants([start, end])
    if mark.offsets is None:
        return model.extremes(first, last)
    return place_tide(model.harmonics, mark.offsets, first, last).extremes


def _instants(times: Sequence[datetime]) -> np.ndarray[tuple[int], np.dtype[np.datetime64]]:
    return np.array([time.astimezone(UTC).replace(tzinfo=None) for time in times], dtype="datetime64[us]")
