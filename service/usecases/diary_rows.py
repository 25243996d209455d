"""Coarse rows of old diaries, each of a mark."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

from service.errors import DocumentInvalid
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from service.usecases.fished import AHEAD, fished_mark
from service.usecases.tallies import diary_sums
from tidecore.catchlog import DiaryRow
from tidecore.errors import Fault

DiaryRowView = DocumentView[DiaryRow]


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
