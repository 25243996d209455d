"""Coarse rows of old diaries, each of a mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from service.errors import DocumentInvalid
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from service.usecases.fished import AHEAD, fished_mark
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.logged import Logged
from service.usecases.marks import MARKS, MarkView
from service.usecases.slack_notes import tides_of
from service.usecases.stations import ServedModel, model_of
from service.usecases.tallies import diary_sums
from tidecore.catchlog import CoarseEffort, DiaryRow, coarse_effort
from tidecore.errors import Fault
from tidecore.timebase import microseconds

DiaryRowView = DocumentView[DiaryRow]

_AROUND = timedelta(days=1)


def diary_row_links(row: DiaryRow, zone: ZoneInfo) -> Mapping[str, Link]:
    """Return the columns of a row that names its mark by id; ``zone`` is that of the mark."""
    named: dict[str, Link] = {"mark_id": row.mark, "local_day": date.fromisoformat(row.date), "outcome": row.outcome}
    return {**named, **diary_sums(row, zone)}


def ahead_of_time(row: DiaryRow, zone: ZoneInfo, now: datetime) -> list[Fault]:
    """Return the fault of a row of a day that has not come yet by the clocks of its mark."""
    today = (now + AHEAD).astimezone(zone).date()
    if date.fromisoformat(row.date) <= today:
        return []
    return [Fault("date", f"is {row.date}, in the future", f"{today.isoformat()} at the latest")]


def _settle(context: Context, unit: UnitOfWork, row: DiaryRow) -> tuple[DiaryRow, Mapping[str, Link]]:
    """Return a row with the id of its mark, which may be named by the account's reference for it."""
    mark = fished_mark(context, unit, "mark", row.mark)
    zone = ZoneInfo(mark.document.time_zone)
    faults = ahead_of_time(row, zone, context.clock())
    if faults:
        raise DocumentInvalid(faults)
    settled = row.model_copy(update={"mark": mark.record.id})
    return settled, diary_row_links(settled, zone)


DIARY_ROWS = Documents("diary row", "diary_row", DiaryRow, lambda unit: unit.diary_rows, _settle)


@dataclass(frozen=True, slots=True)
class DiaryRowShown:
    """A row, the mark where it was, and the tide that its hours are told by; None where it needs none, or has none."""

    view: DiaryRowView
    mark: MarkView
    served: ServedModel | None

    @property
    def inputs(self) -> Sequence[Input]:
        """The row, its mark, and the station whose tide it is told by."""
        record = self.view.record
        found = [Input("diary_row", record.id, record.version, record.updated_at), mark_input(self.mark)]
        return found if self.served is None else [*found, station_input(self.served)]

    def effort(self) -> CoarseEffort:
        """Return what the row tells of effort."""
        row, mark = self.view.document, self.mark.document
        if row.tide is None or self.served is None:
            return coarse_effort(row, mark.zone)
        # A day on either side of the local one, in whatever zone.
        day = datetime.combine(date.fromisoformat(row.date), datetime.min.time(), UTC)
        waters = tides_of(mark, self.served.model, day - _AROUND, day + timedelta(days=1) + _AROUND)
        kind = "high" if row.tide.event == "high_water" else "low"
        return coarse_effort(row, mark.zone, microseconds(waters.time[(waters.kind == kind) & waters.primary]))


def _show(context: Context, unit: UnitOfWork, views: Sequence[DiaryRowView]) -> list[DiaryRowShown]:
    names = list(dict.fromkeys(view.document.mark for view in views))
    # As with trips: an old version may be of a mark that is gone.
    there = unit.marks.many(names)
    marks = {mark.record.id: mark for mark in MARKS.find(context, unit, [name for name in names if name in there])}
    shown = []
    for view in views:
        mark = marks.get(view.document.mark)
        if mark is None:
            (now,) = DIARY_ROWS.find(context, unit, [view.record.id])
            (mark,) = MARKS.find(context, unit, [now.document.mark])
        by_tide = view.document.tide is not None and view.document.outcome != "not_fished"
        shown.append(DiaryRowShown(view, mark, _served(context, unit, mark) if by_tide else None))
    return shown


def _served(context: Context, unit: UnitOfWork, mark: MarkView) -> ServedModel | None:
    """Return the tide of the station that a mark follows, None where it has none yet."""
    station = unit.stations.many([mark.document.station])[mark.document.station]
    return model_of(context, unit, station, None) if station.version else None


DIARY_LOG = Logged(DIARY_ROWS, _show, "local_day")
