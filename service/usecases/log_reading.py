"""The log of an account as questions about it read it: years in columns, remembered as long as nothing writes to them.

Versions and rows are read in one unit of work, so of one moment of the store. A process that has not read a year yet,
or whose year was written to since, reads that year anew, and no other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_years import FACT_PART, JOIN_PART, NO_YEAR, ROW_PART, TRIP_PART
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.log_columns import Bests, Caught, FactYear, JoinsBehind, LogYear, YearCaught
from service.usecases.stale_joins import STAMP


class _Sized(Protocol):
    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""


T = TypeVar("T", bound=_Sized)


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


class LogReader:
    """Reads the log of the account of one unit of work."""

    def __init__(self, context: Context, unit: UnitOfWork) -> None:
        """Look which years there are, in which versions."""
        self._context, self._unit = context, unit
        self._versions: Mapping[tuple[str, int], int] = unit.log_years.versions()

    def versions(self, *parts: str) -> list[str | int]:
        """Return the versions of every year of some parts of the log, one after the other."""
        found: list[str | int] = []
        for (part, year), version in sorted(self._versions.items()):
            if part in parts:
                found += [part, year, version]
        return found

    def trips(self, wanted: TripFilter) -> list[LogYear]:
        """Return the years of trips that are asked for; which trips of a year are, is left to it."""
        return [self._trips(year) for year in self._years(TRIP_PART, wanted)]

    def trips_caught(self, wanted: TripFilter) -> list[YearCaught]:
        """Return the same, with what the trips caught."""
        read = self._unit.sums.caught
        return [
            (self._trips(year), self._year(TRIP_PART, "caught", year, lambda year: Caught.read(read(year))))
            for year in self._years(TRIP_PART, wanted)
        ]

    def rows_caught(self, wanted: TripFilter) -> list[YearCaught]:
        """Return the years of coarse rows that are asked for, with what was caught.

        There are none where a purpose is asked for, which they do not have.
        """
        if wanted.purpose is not None:
            return []
        sums = self._unit.sums
        return [
            (
                self._year(ROW_PART, "", year, lambda year: LogYear.of_rows(sums.rows(year))),
                self._year(ROW_PART, "caught", year, lambda year: Caught.read(sums.caught_of_rows(year))),
            )
            for year in self._years(ROW_PART, wanted)
        ]

    def facts(self, factor: str, wanted: TripFilter) -> list[FactYear]:
        """Return the counts of joined trips in the bins of a factor, of the years that are asked for."""
        read = self._unit.sums.facts
        return [
            self._year(FACT_PART, factor, year, lambda year: FactYear.of_facts(read(factor, year)))
            for year in self._years(FACT_PART, wanted)
        ]

    def bests(self, year: int) -> Bests:
        """Return the longest fish of every trip of a year."""
        return self._year(TRIP_PART, "bests", year, lambda year: Bests.of(self._unit.sums.bests(year)))

    def rests_on(self, mark_id: str | None) -> list[RestsOn]:
        """Return what joins rest on, of one mark or of all, and whether that is today's."""
        read = self._unit.joins.rests_on
        counted = self._year(JOIN_PART, "", NO_YEAR, lambda _: JoinsBehind.of(read())).found
        some = [one for one in counted if mark_id is None or one.mark_id == mark_id]
        now = self._unit.joins.versions_now({one.mark_id for one in some})
        found: Counter[RestsOn] = Counter()
        for one in some:
            same = now.get(one.mark_id) == (one.mark_version, one.station_id, one.station_version)
            newest = same and one.stamp == STAMP and not one.stale
            versions = (one.mark_id, one.mark_version, one.station_id, one.station_version, one.stamp)
            found[RestsOn(*versions, newest, 0)] += one.trips
        return [replace(one, trips=trips) for one, trips in found.items()]

    def _trips(self, year: int) -> LogYear:
        return self._year(TRIP_PART, "", year, lambda year: LogYear.of_trips(self._unit.sums.trips(year)))

    def _years(self, part: str, wanted: TripFilter) -> Iterable[int]:
        years = sorted(year for name, year in self._versions if name == part)
        first = years[0] if years and wanted.start is None else getattr(wanted.start, "year", 0)
        last = years[-1] if years and wanted.end is None else getattr(wanted.end, "year", 0)
        return [year for year in years if first <= year <= last]

    def _year(self, part: str, what: str, year: int, read: Callable[[int], T]) -> T:
        version = self._versions.get((part, year), 0)
        question = (self._unit.account_id, part, what, year)
        known: T | None = self._context.logs.find(question, version)
        if known is None:
            known = read(year)
            self._context.logs.keep(question, version, known)
        return known
