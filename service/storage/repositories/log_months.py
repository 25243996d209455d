"""Which months of a log were written to: what is remembered of a month holds as long as its version is the same.

Every write to the tables in question counts the months up that it touches, in its own transaction and in the
repository that does the write. Versions only ever go up, and are the time of the write unless that is no more than the
one before: so none comes twice, also where a store is restored that is older than an ETag somebody has, or a
transaction is rolled back after its months were read.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any

from sqlalchemy import select, text

from service.storage.repositories.base import Repository
from service.storage.tables import DiaryRowRow, LogMonthRow, TripFactRow, TripJoinRow, TripRow

#: The parts of a log: the tables whose rows are told by their months. Joins have no day: theirs is the month 0.
TRIP_PART, ROW_PART = TripRow.__tablename__, DiaryRowRow.__tablename__
FACT_PART, JOIN_PART = TripFactRow.__tablename__, TripJoinRow.__tablename__
NO_MONTH = 0

_COUNT_UP = text(
    "INSERT INTO log_months (account_id, part, month, version) VALUES (:account_id, :part, :month, :now_us) "
    "ON CONFLICT (account_id, part, month) DO UPDATE SET version = CASE "
    "WHEN excluded.version > log_months.version THEN excluded.version ELSE log_months.version + 1 END"
)

#: Versions of months by part; in a month that is not among them there is nothing.
MonthVersions = Mapping[tuple[str, int], int]


class LogMonthRepository(Repository):
    """The months of the log of one account."""

    def versions(self) -> MonthVersions:
        """Return the version of every month of every part that was ever written to."""
        row = LogMonthRow
        query = select(row.part, row.month, row.version).where(row.account_id == self._account_id)
        found = self._session.connection().execute(query).fetchall()
        return {(part, month): version for part, month, version in found}

    def count_up(self, part: str, months: Iterable[int]) -> None:
        """Note that rows of these months are written to."""
        common = {"account_id": self._account_id, "part": part, "now_us": time.time_ns() // 1000}
        values = [{**common, "month": month} for month in sorted(set(months))]
        if values:
            self._session.connection().execute(_COUNT_UP, values)

    def count_up_of(self, row: Any, keys: Any, wanted: Collection[str]) -> None:
        """Note that the rows of ``row`` are written to whose column ``keys`` has one of the ``wanted`` ids.

        To be called before they change and, where their day may change, once more after it.
        """
        if wanted:
            query = select(row.local_day).distinct()
            days = query.where(row.account_id == self._account_id, keys.in_(sorted(wanted)))
            self.count_up(row.__tablename__, months_of(self._session.scalars(days)))


def months_of(days: Iterable[date]) -> set[int]:
    """Return the months of some days, as `LogMonthRow` has them."""
    return {100 * day.year + day.month for day in days}
