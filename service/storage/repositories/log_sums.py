"""Queries of what trips and diary rows add up to, from columns that sum up each document."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy import select

from service.storage.repositories.base import Repository
from service.storage.tables import DiaryRowRow, TripFactRow, TripRow

#: A local day begins and ends at most so far from the day of the same date in UTC.
_ZONES = timedelta(days=1)

#: Columns of a year of trips, of coarse rows, and of the counts of trips in the bins of a factor, in the order of rows.
TRIP_COLUMNS = (
    "trip_id", "local_day", "mark_id", "outcome", "purpose", "why_not", "raw_us", "bait_on_us", "uncast_us"
)  # fmt: skip
ROW_COLUMNS = ("diary_row_id", "local_day", "mark_id", "outcome", "why_not", "coarse_us")
FACT_COLUMNS = ("local_day", "mark_id", "purpose", "rods", "effort", "caught")


class SumRepository(Repository):
    """What the trips and diary rows of one account add up to, year by year of their local days."""

    def trips(self, year: int) -> Sequence[Any]:
        """Return `TRIP_COLUMNS` of the trips of a year, in the order in which they began."""
        return self._trips([TripRow.__table__.c[name] for name in TRIP_COLUMNS], year)

    def caught(self, year: int) -> list[str]:
        """Return what was caught on each trip of a year, in the same order."""
        return [text for (text,) in self._trips([TripRow.caught], year)]

    def bests(self, year: int) -> Sequence[Any]:
        """Return mark and longest fish of each trip of a year, in the same order."""
        return self._trips([TripRow.mark_id, TripRow.bests], year)

    def rows(self, year: int) -> Sequence[Any]:
        """Return `ROW_COLUMNS` of the diary rows of a year by their days."""
        return self._rows([DiaryRowRow.__table__.c[name] for name in ROW_COLUMNS], year)

    def caught_of_rows(self, year: int) -> list[str]:
        """Return what each diary row of a year says was caught, in the same order."""
        return [text for (text,) in self._rows([DiaryRowRow.caught], year)]

    def facts(self, factor: str, year: int) -> Sequence[Any]:
        """Return `FACT_COLUMNS` of the joined trips of a year: what each has in the bins of a factor."""
        table = TripFactRow.__table__
        query = select(*(table.c[name] for name in FACT_COLUMNS)).where(
            table.c.account_id == self._account_id, table.c.factor == factor, *_within(table.c.local_day, year)
        )
        return self._session.connection().execute(query).fetchall()

    def _trips(self, columns: Sequence[Any], year: int) -> Sequence[Any]:
        row = TripRow
        # The index is of instants.
        first, end = (datetime.combine(date(one, 1, 1), time(), UTC) for one in (year, year + 1))
        near = (row.started_at >= first - _ZONES, row.started_at < end + _ZONES)
        query = select(*columns).where(row.account_id == self._account_id, *near, *_within(row.local_day, year))
        return self._session.connection().execute(query.order_by(row.started_at, row.key)).fetchall()

    def _rows(self, columns: Sequence[Any], year: int) -> Sequence[Any]:
        row = DiaryRowRow
        query = select(*columns).where(row.account_id == self._account_id, *_within(row.local_day, year))
        return self._session.connection().execute(query.order_by(row.local_day, row.key)).fetchall()


def _within(column: Any, year: int) -> tuple[Any, Any]:
    return column >= date(year, 1, 1), column <= date(year, 12, 31)
