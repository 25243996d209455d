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
    """What the trips and diary rows of one account add up to, by local days from ``first`` to ``last``, both in it."""

    def trips(self, first: date, last: date) -> Sequence[Any]:
        """Return `TRIP_COLUMNS` of trips, in the order in which they began."""
        return self._trips([TripRow.__table__.c[name] for name in TRIP_COLUMNS], first, last)

    def caught(self, first: date, last: date) -> Sequence[Any]:
        """Return local day and what was caught of trips, in the same order."""
        return self._trips([TripRow.local_day, TripRow.caught], first, last)

    def bests(self, first: date, last: date) -> Sequence[Any]:
        """Return local day, mark and longest fish of trips, in the same order."""
        return self._trips([TripRow.local_day, TripRow.mark_id, TripRow.bests], first, last)

    def rows(self, first: date, last: date) -> Sequence[Any]:
        """Return `ROW_COLUMNS` of diary rows by their days."""
        return self._rows([DiaryRowRow.__table__.c[name] for name in ROW_COLUMNS], first, last)

    def caught_of_rows(self, first: date, last: date) -> Sequence[Any]:
        """Return local day and what was caught of diary rows, in the same order."""
        return self._rows([DiaryRowRow.local_day, DiaryRowRow.caught], first, last)

    def facts(self, factor: str, first: date, last: date) -> Sequence[Any]:
        """Return `FACT_COLUMNS` of joined trips: what each has in the bins of a factor."""
        table = TripFactRow.__table__
        query = select(*(table.c[name] for name in FACT_COLUMNS)).where(
            table.c.account_id == self._account_id,
            table.c.factor == factor,
            table.c.local_day >= first,
            table.c.local_day <= last,
        )
        return self._session.connection().execute(query.order_by(table.c.local_day, table.c.trip_id)).fetchall()

    def _trips(self, columns: Sequence[Any], first: date, last: date) -> Sequence[Any]:
        row = TripRow
        # The index is of instants.
        start, end = (datetime.combine(day, time(), UTC) for day in (first - _ZONES, last + 2 * _ZONES))
        near = (row.started_at >= start, row.started_at < end)
        query = select(*columns).where(
            row.account_id == self._account_id, *near, row.local_day >= first, row.local_day <= last
        )
        return self._session.connection().execute(query.order_by(row.started_at, row.key)).fetchall()

    def _rows(self, columns: Sequence[Any], first: date, last: date) -> Sequence[Any]:
        row = DiaryRowRow
        query = select(*columns).where(
            row.account_id == self._account_id, row.local_day >= first, row.local_day <= last
        )
        return self._session.connection().execute(query.order_by(row.local_day, row.key)).fetchall()
