"""Queries of what trips and diary rows add up to, from columns that sum up each document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy import func, select

from service.storage.repositories.base import Repository
from service.storage.repositories.joins import TripFilter
from service.storage.tables import DiaryRowRow, TripRow

#: A local day begins and ends at most so far from the day of the same date in UTC.
_ZONES = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class OutcomeSum:
    """What trips of one outcome and purpose add up to; ``told`` of them have effort on record [microseconds]."""

    outcome: str
    purpose: str
    trips: int
    told: int
    raw_us: int
    bait_on_us: int
    uncast_us: int


@dataclass(frozen=True, slots=True)
class TripSum:
    """One trip in columns, as `TripRow` has them."""

    trip_id: str
    mark_id: str
    local_day: date
    outcome: str
    purpose: str
    why_not: str | None
    raw_us: int | None
    bait_on_us: int | None
    uncast_us: int | None
    caught: str
    bests: str


@dataclass(frozen=True, slots=True)
class RowSum:
    """One coarse row in columns, as `DiaryRowRow` has them."""

    row_id: str
    mark_id: str
    local_day: date
    outcome: str
    why_not: str | None
    coarse_us: int | None
    caught: str


class SumRepository(Repository):
    """What the trips and diary rows of one account add up to."""

    def outcomes(self, wanted: TripFilter) -> list[OutcomeSum]:
        """Return trips by outcome and purpose."""
        row = TripRow
        sums = [func.coalesce(func.sum(column), 0) for column in (row.raw_us, row.bait_on_us, row.uncast_us)]
        query: Any = select(row.outcome, row.purpose, func.count(), func.count(row.raw_us), *sums)
        found = self._session.execute(self._trips(query, wanted).group_by(row.outcome, row.purpose))
        return [OutcomeSum(one[0], one[1], *map(int, one[2:])) for one in found]

    def trips_in(self, wanted: TripFilter) -> int:
        """Return how many trips there are."""
        return self._session.scalar(self._trips(select(func.count()).select_from(TripRow), wanted)) or 0

    def caught(self, wanted: TripFilter) -> Sequence[str]:
        """Return what was caught on each trip that caught something, in no order."""
        query = self._trips(select(TripRow.caught), wanted).where(TripRow.caught != "")
        return [one[0] for one in self._session.connection().execute(query)]

    def of_marks(self, wanted: TripFilter) -> Sequence[Any]:
        """Return mark, outcome, raw, bait-on and uncast time and what was caught of each trip, in no order."""
        row = TripRow
        query: Any = select(row.mark_id, row.outcome, row.raw_us, row.bait_on_us, row.uncast_us, row.caught)
        return self._session.connection().execute(self._trips(query, wanted)).fetchall()

    def trips(self, wanted: TripFilter) -> list[TripSum]:
        """Return trips in the order in which they began."""
        row = TripRow
        columns = [row.key, row.mark_id, row.local_day, row.outcome, row.purpose, row.why_not, row.raw_us]
        query: Any = select(*columns, row.bait_on_us, row.uncast_us, row.caught, row.bests)
        found = self._session.connection().execute(self._trips(query, wanted).order_by(row.started_at))
        return [TripSum(*one) for one in found]

    def rows(self, wanted: TripFilter) -> list[RowSum]:
        """Return diary rows by their days; they have no purpose."""
        row = DiaryRowRow
        columns = [row.key, row.mark_id, row.local_day, row.outcome, row.why_not, row.coarse_us, row.caught]
        query: Any = select(*columns).where(row.account_id == self._account_id)
        if wanted.mark_id is not None:
            query = query.where(row.mark_id == wanted.mark_id)
        query = self._days(query, row, wanted)
        return sorted(
            (RowSum(*one) for one in self._session.connection().execute(query)), key=lambda one: one.local_day
        )

    def _trips(self, query: Any, wanted: TripFilter) -> Any:
        row = TripRow
        query = query.where(row.account_id == self._account_id)
        if wanted.mark_id is not None:
            query = query.where(row.mark_id == wanted.mark_id)
        # The index is of instants.
        if wanted.start is not None:
            query = query.where(row.started_at >= _midnight(wanted.start - _ZONES))
        if wanted.end is not None:
            query = query.where(row.started_at < _midnight(wanted.end + 2 * _ZONES))
        if wanted.purpose is not None:
            query = query.where(row.purpose == wanted.purpose)
        return self._days(query, row, wanted)

    def _days(self, query: Any, row: Any, wanted: TripFilter) -> Any:
        if wanted.start is not None:
            query = query.where(row.local_day >= wanted.start)
        return query if wanted.end is None else query.where(row.local_day <= wanted.end)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)
