"""Years of a log in columns: arrays that sums are taken of in microseconds, whatever trips are asked for."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain, compress
from typing import Any

import numpy as np
import orjson

from service.storage.facts import CAUGHT_COLUMNS, EFFORT_COLUMNS, stacked
from service.storage.repositories.joins import TripFilter, Versions
from service.usecases.log_species import Names, is_meant
from service.usecases.tallies import Named
from tidecore.units import AnyArray, BoolArray, IntArray

_EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True)
class Coded:
    """A column of few different values: each once, and the place of every row's among them."""

    values: tuple[Any, ...]
    codes: IntArray

    @classmethod
    def of(cls, column: Iterable[Hashable]) -> Coded:
        """Return a column as its values, by their first row, and codes."""
        places: dict[Hashable, int] = {}
        codes = [places.setdefault(value, len(places)) for value in column]
        return cls(tuple(places), np.array(codes, dtype=np.int64))

    @classmethod
    def joined(cls, parts: Sequence[Coded]) -> Coded:
        """Return columns one after the other as one."""
        places: dict[Hashable, int] = {}
        codes = []
        for one in parts:
            new = np.array([places.setdefault(value, len(places)) for value in one.values], dtype=np.int64)
            codes.append(new[one.codes] if len(new) else one.codes)
        return cls(tuple(places), _stacked(codes))

    def kept(self, rows: BoolArray) -> Coded:
        """Return some of the rows."""
        return Coded(self.values, self.codes[rows])

    def equal(self, value: Hashable) -> BoolArray:
        """Return which rows have a value."""
        found: BoolArray = self.codes == (self.values.index(value) if value in self.values else -1)
        return found


@dataclass(frozen=True, slots=True)
class Places:
    """Local day (its ordinal), mark and purpose of every trip of a year; coarse rows have no purpose."""

    days: IntArray
    marks: Coded
    purposes: Coded | None

    @property
    def months(self) -> IntArray:
        """The month of every trip, 1 to 12."""
        return _months(self.days)

    @classmethod
    def joined(cls, parts: Sequence[Places]) -> Places:
        """Return parts one after the other as one."""
        purposes = [one.purposes for one in parts if one.purposes is not None]
        return cls(
            _stacked([one.days for one in parts]),
            Coded.joined([one.marks for one in parts]),
            Coded.joined(purposes) if len(purposes) == len(parts) else None,
        )

    def kept(self, rows: BoolArray) -> Places:
        """Return some of the trips."""
        purposes = None if self.purposes is None else self.purposes.kept(rows)
        return Places(self.days[rows], self.marks.kept(rows), purposes)

    def chosen(self, wanted: TripFilter) -> BoolArray:
        """Return which trips are asked for."""
        chosen = np.ones(len(self.days), dtype=np.bool_)
        if wanted.start is not None:
            chosen &= self.days >= wanted.start.toordinal()
        if wanted.end is not None:
            chosen &= self.days <= wanted.end.toordinal()
        if wanted.mark_id is not None:
            chosen &= self.marks.equal(wanted.mark_id)
        if wanted.purpose is not None and self.purposes is not None:
            chosen &= self.purposes.equal(wanted.purpose)
        return chosen


@dataclass(frozen=True, slots=True)
class Caught:
    """What things caught: a row for each species of a thing, ``of`` the number of the thing.

    ``days`` are those of the things; ``species`` of the rows, as they were spelled; ``sums`` has how many in all, kept
    and returned.
    """

    days: IntArray
    species: Coded
    of: IntArray
    sums: IntArray

    @classmethod
    def read(cls, rows: Sequence[Any]) -> Caught:
        """Return what things caught, each its local day and column ``caught``."""
        places: dict[Named, int] = {}
        of: list[int] = []
        species: list[int] = []
        sums: list[int] = []
        days, texts = _columns(rows, 2)
        for number, one in enumerate(_lists(texts)):
            for name, code, local, count, kept, returned in one:
                species.append(places.setdefault((name, code, local), len(places)))
                of.append(number)
                sums += (count, kept, returned)
        codes, things, flat = (np.array(one, dtype=np.int64) for one in (species, of, sums))
        return cls(_days(days), Coded(tuple(places), codes), things, flat.reshape(-1, 3))

    @classmethod
    def joined(cls, parts: Sequence[Caught]) -> Caught:
        """Return parts of a year one after the other as one."""
        return cls(
            _stacked([one.days for one in parts]),
            Coded.joined([one.species for one in parts]),
            _numbered([(one.of, len(one.days)) for one in parts]),
            _stacked([np.empty((0, 3), dtype=np.int64), *(one.sums for one in parts)]),
        )

    def of_month(self, month: int) -> Caught:
        """Return what was caught in a month, 1 to 12."""
        things = _months(self.days) == month
        rows = things[self.of]
        return Caught(self.days[things], self.species.kept(rows), _numbers(things)[self.of[rows]], self.sums[rows])

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        return self.days.nbytes + 5 * self.of.nbytes + 300 * len(self.species.values) + 1000

    def of_species(self, names: Names | None) -> BoolArray:
        """Return which rows are of a species by its names and codes; all of them without any."""
        if names is None:
            return np.ones(len(self.of), dtype=np.bool_)
        meant = np.array([is_meant(one, names) for one in self.species.values], dtype=np.bool_)
        return meant[self.species.codes] if len(meant) else np.zeros(0, dtype=np.bool_)

    def counts(self, names: Names | None) -> IntArray:
        """Return how many each thing caught, of one species where its names are given."""
        rows = self.of_species(names)
        return np.bincount(self.of[rows], self.sums[rows, 0], len(self.days)).astype(np.int64)


@dataclass(frozen=True, slots=True)
class LogYear:
    """A year of trips, or of coarse rows, a row a thing in the order of time.

    ``efforts_us`` has raw, bait-on and uncast time of trips, hours times rods of coarse rows [microseconds], 0 where
    that is not ``told``.
    """

    ids: tuple[str, ...]
    places: Places
    outcomes: Coded
    why_not: tuple[str | None, ...]
    told: BoolArray
    efforts_us: IntArray

    @classmethod
    def of_trips(cls, rows: Sequence[Any]) -> LogYear:
        """Return trips in columns, as `TRIP_COLUMNS` has them."""
        ids, days, marks, outcomes, purposes, why_not, *efforts = _columns(rows, 9)
        return cls._made(ids, Places(_days(days), Coded.of(marks), Coded.of(purposes)), outcomes, why_not, efforts)

    @classmethod
    def of_rows(cls, rows: Sequence[Any]) -> LogYear:
        """Return coarse rows in columns, as `ROW_COLUMNS` has them."""
        ids, days, marks, outcomes, why_not, coarse = _columns(rows, 6)
        return cls._made(ids, Places(_days(days), Coded.of(marks), None), outcomes, why_not, (coarse,))

    @classmethod
    def _made(cls, ids: Any, places: Places, outcomes: Any, why_not: Any, efforts: Sequence[Any]) -> LogYear:
        told = np.array([one is not None for one in efforts[0]], dtype=np.bool_)
        us = np.array([[one or 0 for one in column] for column in efforts], dtype=np.int64).T
        return cls(tuple(ids), places, Coded.of(outcomes), tuple(why_not), told, us)

    @classmethod
    def joined(cls, parts: Sequence[LogYear]) -> LogYear:
        """Return parts of a year one after the other as one."""
        return cls(
            tuple(chain.from_iterable(one.ids for one in parts)),
            Places.joined([one.places for one in parts]),
            Coded.joined([one.outcomes for one in parts]),
            tuple(chain.from_iterable(one.why_not for one in parts)),
            _stacked([one.told for one in parts]),
            _stacked([one.efforts_us for one in parts]),
        )

    def of_month(self, month: int) -> LogYear:
        """Return the things of a month, 1 to 12."""
        rows = self.places.months == month
        kept = rows.tolist()
        return LogYear(
            tuple(compress(self.ids, kept)),
            self.places.kept(rows),
            self.outcomes.kept(rows),
            tuple(compress(self.why_not, kept)),
            self.told[rows],
            self.efforts_us[rows],
        )

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        return 400 * len(self.ids) + self.efforts_us.nbytes + 1000

    @property
    def fished(self) -> BoolArray:
        """Which things were fished, blank or not."""
        found: BoolArray = ~self.outcomes.equal("not_fished")
        return found


@dataclass(frozen=True, slots=True)
class FactYear:
    """What the joined trips of a year have in the bins of a factor.

    A row of ``efforts`` and of ``caught`` is as `service.storage.facts` has it, and of the trip with the number in
    ``of_effort``, ``of_caught``.
    """

    places: Places
    rods: BoolArray
    efforts: IntArray
    of_effort: IntArray
    caught: IntArray
    of_caught: IntArray

    @classmethod
    def of_facts(cls, rows: Sequence[Any]) -> FactYear:
        """Return counts in columns, as `FACT_COLUMNS` has them."""
        days, marks, purposes, rods, efforts, caught = _columns(rows, 6)
        places = Places(_days(days), Coded.of(marks), Coded.of(purposes))
        return cls.of_counts(places, rods, efforts, caught)

    @classmethod
    def of_counts(
        cls, places: Places, rods: Sequence[bool], efforts: Sequence[bytes], caught: Sequence[bytes]
    ) -> FactYear:
        """Return the counts of trips, each encoded as `service.storage.facts` does it."""
        effort_rows, of_effort = stacked(efforts, EFFORT_COLUMNS)
        caught_rows, of_caught = stacked(caught, CAUGHT_COLUMNS)
        return cls(places, np.array(rods, dtype=np.bool_), effort_rows, of_effort, caught_rows, of_caught)

    @classmethod
    def joined(cls, parts: Sequence[FactYear]) -> FactYear:
        """Return parts of a year one after the other as one."""
        return cls(
            Places.joined([one.places for one in parts]),
            _stacked([one.rods for one in parts]),
            _stacked([one.efforts for one in parts]),
            _numbered([(one.of_effort, len(one.rods)) for one in parts]),
            _stacked([one.caught for one in parts]),
            _numbered([(one.of_caught, len(one.rods)) for one in parts]),
        )

    def of_month(self, month: int) -> FactYear:
        """Return the counts of a month, 1 to 12."""
        return self.kept(self.places.months == month)

    def kept(self, trips: BoolArray) -> FactYear:
        """Return the counts of some of the trips."""
        numbers, efforts, caught = _numbers(trips), trips[self.of_effort], trips[self.of_caught]
        return FactYear(
            self.places.kept(trips),
            self.rods[trips],
            self.efforts[efforts],
            numbers[self.of_effort[efforts]],
            self.caught[caught],
            numbers[self.of_caught[caught]],
        )

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        arrays = (self.efforts, self.of_effort, self.caught, self.of_caught)
        return 40 * len(self.rods) + sum(one.nbytes for one in arrays) + 1000


@dataclass(frozen=True, slots=True)
class Bests:
    """The longest fish of a year, by month, mark, species as it was spelled, and kind of length.

    Of each the length, its precision [cm] and the time [microseconds since 1970]; of equal ones the first.
    """

    found: Mapping[tuple[int, str, Named, str], tuple[float, float, int]]

    @classmethod
    def of(cls, rows: Sequence[Any]) -> Bests:
        """Return the longest of trips in the order of time, each its local day, mark and column ``bests``."""
        found: dict[tuple[int, str, Named, str], tuple[float, float, int]] = {}
        for (day, mark, _), longest in zip(rows, _lists([text for *_, text in rows]), strict=True):
            for name, code, local, cm, kind, precision, at_us in longest:
                key = (day.month, mark, (name, code, local), kind)
                if key not in found or cm > found[key][0]:
                    found[key] = (cm, precision, at_us)
        return cls(found)

    @classmethod
    def joined(cls, parts: Sequence[Bests]) -> Bests:
        """Return parts of a year as one."""
        return cls({key: longest for one in parts for key, longest in one.found.items()})

    def of_month(self, month: int) -> Bests:
        """Return the longest fish of a month, 1 to 12."""
        return Bests({key: longest for key, longest in self.found.items() if key[0] == month})

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        return 500 * len(self.found) + 1000


@dataclass(frozen=True, slots=True)
class JoinsBehind:
    """Versions that the joins of an account rest on, counted."""

    found: Sequence[Versions]

    @property
    def size(self) -> int:
        """Memory that it takes, about [bytes]."""
        return 400 * len(self.found) + 1000


#: A year of trips or of coarse rows, and what they caught.
YearCaught = tuple[LogYear, Caught]


def _lists(texts: Sequence[str]) -> list[list[Any]]:
    """Return the lists that texts are, an empty text being an empty one."""
    # One document of all of them: each alone would cost as much again.
    found: list[list[Any]] = orjson.loads(f"[{','.join(text or '[]' for text in texts)}]")
    return found


def _stacked(parts: Sequence[AnyArray]) -> Any:
    return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)


def _numbers(chosen: BoolArray) -> IntArray:
    """Return the number of each chosen thing among those that are."""
    found: IntArray = np.cumsum(chosen) - 1
    return found


def _numbered(parts: Sequence[tuple[IntArray, int]]) -> IntArray:
    """Return numbers of the things of parts, each with how many it has, as numbers of the things of all of them."""
    before = np.cumsum([0, *(many for _, many in parts)])
    found: IntArray = _stacked([of + first for (of, _), first in zip(parts, before, strict=False)])
    return found


def _months(days: IntArray) -> IntArray:
    """Return the months, 1 to 12, of the ordinals of days."""
    months = (days - _EPOCH).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    found: IntArray = months % 12 + 1
    return found


def _columns(rows: Sequence[Any], many: int) -> Sequence[Sequence[Any]]:
    return list(zip(*rows, strict=True)) if rows else [()] * many


def _days(column: Iterable[date]) -> IntArray:
    return np.fromiter((day.toordinal() for day in column), dtype=np.int64)
