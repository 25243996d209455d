"""The log of an account as questions about it read it: years in columns, remembered as long as nothing writes to them.

Versions and rows are read in one unit of work, so of one moment of the store. Of a year that was written to since a
process read it, the months in question are read anew, and no other.
"""

from __future__ import annotations

from calendar import monthrange
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Generic, Protocol, Self, TypeVar

from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_months import FACT_PART, JOIN_PART, NO_MONTH, ROW_PART, TRIP_PART
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.log_columns import Bests, Caught, FactYear, JoinsBehind, LogYear, YearCaught
from service.usecases.log_species import Names, names_meant
from service.usecases.stale_joins import STAMP


@dataclass(frozen=True, slots=True)
class LogBasis:
    """All that decides an answer about the log: what is asked, and the versions of what it rests on."""

    question: str
    rests_on: tuple[str | int, ...]


#: Whether who asks has the answer that rests on something already.
Knows = Callable[[LogBasis], bool]


@dataclass(frozen=True, slots=True)
class RestsOn:
    """Versions that a number of joins rest on; ``newest`` says whether they are today's."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    stamp: str
    newest: bool
    trips: int


class _Whole(Protocol):
    """What is read of a log."""

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""


class _Year(_Whole, Protocol):
    """What is read of a year, which can be put together from its months."""

    def of_month(self, month: int) -> Self:
        """Return what is of a month, 1 to 12."""

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """Return what months have together."""


T = TypeVar("T", bound=_Whole)
Y = TypeVar("Y", bound=_Year)


@dataclass(frozen=True, slots=True)
class _Read(Generic[T]):
    """What was read, and the versions that its months had."""

    versions: Mapping[int, int]
    content: T

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        return self.content.size + 100 * len(self.versions)


#: Months written to beyond which the whole year is read.
_MOST_MONTHS = 4


class LogReader:
    """Reads the log of the account of one unit of work."""

    def __init__(self, context: Context, unit: UnitOfWork) -> None:
        """Look which months there are, in which versions."""
        self._context, self._unit = context, unit
        self._versions = unit.log_months.versions()
        self._years: dict[tuple[str, int], dict[int, int]] = {}
        for (part, month), version in sorted(self._versions.items()):
            self._years.setdefault((part, month // 100), {})[month] = version

    def versions(self, *parts: str) -> list[str | int]:
        """Return the versions of every month of some parts of the log, one after the other."""
        return [value for (part, month), version in sorted(self._versions.items()) if part in parts
                for value in (part, month, version)]  # fmt: skip

    def trips(self, wanted: TripFilter) -> list[LogYear]:
        """Return the years of trips that are asked for; which trips of a year are, is left to it."""
        return [self._trips(year) for year in self._wanted(TRIP_PART, wanted)]

    def trips_caught(self, wanted: TripFilter) -> list[YearCaught]:
        """Return the same, with what the trips caught."""
        sums = self._unit.sums
        return [
            (
                self._trips(year),
                self._year(Caught, TRIP_PART, "caught", year, lambda *days: Caught.read(sums.caught(*days))),
            )
            for year in self._wanted(TRIP_PART, wanted)
        ]

    def rows_caught(self, wanted: TripFilter) -> list[YearCaught]:
        """Return the years of coarse rows that are asked for, with what was caught.

        There are none where a purpose is asked for, which they do not have.
        """
        if wanted.purpose is not None:
            return []
        sums = self._unit.sums

        def rows(first: date, last: date) -> LogYear:
            return LogYear.of_rows(sums.rows(first, last))

        def caught(first: date, last: date) -> Caught:
            return Caught.read(sums.caught_of_rows(first, last))

        return [
            (self._year(LogYear, ROW_PART, "", year, rows), self._year(Caught, ROW_PART, "caught", year, caught))
            for year in self._wanted(ROW_PART, wanted)
        ]

    def names_meant(self, species: str | None) -> Names | None:
        """Return the names and codes that the whole log has for a species, whatever is asked of it; None without one.

        A catch without its code is of the species that others have a code for, in whatever year these are.
        """
        if species is None:
            return None
        everything = (*self.trips_caught(TripFilter()), *self.rows_caught(TripFilter()))
        return names_meant(species, (named for _, caught in everything for named in caught.species.values))

    def facts(self, factor: str, wanted: TripFilter) -> list[FactYear]:
        """Return the counts of joined trips in the bins of a factor, of the years that are asked for."""

        def facts(first: date, last: date) -> FactYear:
            return FactYear.of_facts(self._unit.sums.facts(factor, first, last))

        return [self._year(FactYear, FACT_PART, factor, year, facts) for year in self._wanted(FACT_PART, wanted)]

    def bests(self, year: int) -> Bests:
        """Return the longest fish of a year."""
        sums = self._unit.sums
        return self._year(Bests, TRIP_PART, "bests", year, lambda *days: Bests.of(sums.bests(*days)))

    def rests_on(self, mark_id: str | None) -> list[RestsOn]:
        """Return what joins rest on, of one mark or of all, and whether that is today's."""
        version = self._years.get((JOIN_PART, NO_MONTH), {})
        question = (self._unit.account_id, JOIN_PART)
        known: _Read[JoinsBehind] | None = self._context.logs.find(question, 0)
        if known is None or known.versions != version:
            known = _Read(version, JoinsBehind(self._unit.joins.rests_on()))
            self._context.logs.keep(question, 0, known)
        some = [one for one in known.content.found if mark_id is None or one.mark_id == mark_id]
        now = self._unit.joins.versions_now({one.mark_id for one in some})
        found: Counter[RestsOn] = Counter()
        for one in some:
            same = now.get(one.mark_id) == (one.mark_version, one.station_id, one.station_version)
            newest = same and one.stamp == STAMP and not one.stale
            versions = (one.mark_id, one.mark_version, one.station_id, one.station_version, one.stamp)
            found[RestsOn(*versions, newest, 0)] += one.trips
        return [replace(one, trips=trips) for one, trips in found.items()]

    def _trips(self, year: int) -> LogYear:
        sums = self._unit.sums
        return self._year(LogYear, TRIP_PART, "", year, lambda *days: LogYear.of_trips(sums.trips(*days)))

    def _wanted(self, part: str, wanted: TripFilter) -> Iterable[int]:
        first = 0 if wanted.start is None else wanted.start.year
        last = 9999 if wanted.end is None else wanted.end.year
        return sorted(year for name, year in self._years if name == part and first <= year <= last)

    def _year(self, kind: type[Y], part: str, what: str, year: int, read: Callable[[date, date], Y]) -> Y:
        """Return what is remembered of a year, with the months that were written to since read anew."""
        versions = self._years.get((part, year), {})
        question = (self._unit.account_id, part, what, year)
        known: _Read[Y] | None = self._context.logs.find(question, 0)
        if known is not None and known.versions == versions:
            return known.content
        before = {} if known is None else known.versions
        written = {month for month, version in versions.items() if before.get(month) != version}
        if known is None or len(written) > _MOST_MONTHS:
            content = read(date(year, 1, 1), date(year, 12, 31))
        else:
            content = kind.joined(
                [read(*_days(month)) if month in written else known.content.of_month(month % 100) for month in versions]
            )
        self._context.logs.keep(question, 0, _Read(versions, content))
        return content


def _days(month: int) -> tuple[date, date]:
    """Return the first and the last day of a month, given as 202603."""
    year, number = divmod(month, 100)
    return date(year, number, 1), date(year, number, monthrange(year, number)[1])
