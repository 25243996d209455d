"""Which years of a log were written to: what is remembered of a year holds as long as its version is the same.

Every write to the tables in question counts the years up that it touches, in its own transaction and in the
repository that does the write. Versions only ever go up, so that none comes twice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any

from sqlalchemy import select, text

from service.storage.repositories.base import Repository
from service.storage.tables import DiaryRowRow, LogYearRow, TripFactRow, TripJoinRow, TripRow

#: The parts of a log: the tables whose rows are told by their years. Joins have no day: theirs is the year 0.
TRIP_PART, ROW_PART = TripRow.__tablename__, DiaryRowRow.__tablename__
FACT_PART, JOIN_PART = TripFactRow.__tablename__, TripJoinRow.__tablename__
NO_YEAR = 0

_COUNT_UP = text(
    "INSERT INTO log_years (account_id, part, year, version) VALUES (:account_id, :part, :year, 1) "
    "ON CONFLICT (account_id, part, year) DO UPDATE SET version = log_years.version + 1"
)

#: Versions of years by part; in a year that is not among them there is nothing.
YearVersions = Mapping[tuple[str, int], int]


class LogYearRepository(Repository):
    """The years of the log of one account."""

    def versions(self) -> YearVersions:
        """Return the version of every year of every part that was ever written to."""
        row = LogYearRow
        query = select(row.part, row.year, row.version).where(row.account_id == self._account_id)
        return {(part, year): version for part, year, version in self._session.connection().execute(query)}

    def count_up(self, part: str, years: Iterable[int]) -> None:
        """Note that rows of these years are written to."""
        values = [{"account_id": self._account_id, "part": part, "year": year} for year in sorted(set(years))]
        if values:
            self._session.connection().execute(_COUNT_UP, values)

    def count_up_of(self, row: Any, keys: Any, wanted: Collection[str]) -> None:
        """Note that the rows of ``row`` are written to whose column ``keys`` has one of the ``wanted`` ids.

        To be called before they change and, where their day may change, once more after it.
        """
        if wanted:
            query = select(row.local_day).distinct()
            days = query.where(row.account_id == self._account_id, keys.in_(sorted(wanted)))
            self.count_up(row.__tablename__, years_of(self._session.scalars(days)))


def years_of(days: Iterable[date]) -> set[int]:
    """Return the years of some days."""
    return {day.year for day in days}
