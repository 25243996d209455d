"""Years of a log in columns: arrays that sums are taken of in microseconds, whatever trips are asked for."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import orjson

from service.storage.facts import CAUGHT_COLUMNS, EFFORT_COLUMNS, name_hash, stacked
from service.storage.repositories.joins import TripFilter, Versions
from service.usecases.tallies import Named, SpeciesCount, is_named, merge_species
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray


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

    ``named`` are species as they were spelled, ``species`` the place among these; ``sums`` has how many in all, kept
    and returned.
    """

    named: tuple[Named, ...]
    of: IntArray
    species: IntArray
    sums: IntArray
    size: int

    @classmethod
    def read(cls, texts: Sequence[str]) -> Caught:
        """Return what the columns ``caught`` of things say."""
        places: dict[Named, int] = {}
        of: list[int] = []
        species: list[int] = []
        sums: list[int] = []
        for number, one in enumerate(_lists(texts)):
            for name, code, local, count, kept, returned in one:
                species.append(places.setdefault((name, code, local), len(places)))
                of.append(number)
                sums += (count, kept, returned)
        of_things, of_species, flat = (np.array(one, dtype=np.int64) for one in (of, species, sums))
        size = 5 * of_things.nbytes + 300 * len(places) + 1000
        return cls(tuple(places), of_things, of_species, flat.reshape(-1, 3), size)

    def of_species(self, name: str | None) -> BoolArray:
        """Return which rows are of a species by code or name; all of them without one."""
        if name is None:
            return np.ones(len(self.of), dtype=np.bool_)
        called = np.array([is_named(one, name) for one in self.named], dtype=np.bool_)
        return called[self.species] if len(called) else np.zeros(0, dtype=np.bool_)

    def counts(self, things: int, name: str | None) -> IntArray:
        """Return how many each of the ``things`` of the year caught, of one species where that is given."""
        rows = self.of_species(name)
        return np.bincount(self.of[rows], self.sums[rows, 0], things).astype(np.int64)


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
    size: int

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
        size = 400 * len(ids) + us.nbytes + 1000
        return cls(tuple(ids), places, Coded.of(outcomes), tuple(why_not), told, us, size)

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
    size: int

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
        arrays = (effort_rows, of_effort, caught_rows, of_caught)
        size = 40 * len(rods) + sum(one.nbytes for one in arrays) + 1000
        return cls(places, np.array(rods, dtype=np.bool_), effort_rows, of_effort, caught_rows, of_caught, size)


@dataclass(frozen=True, slots=True)
class Bests:
    """The longest fish of a year, by mark, species as it was spelled, and kind of length.

    Of each the length, its precision [cm] and the time [microseconds since 1970]; of equal ones the first.
    """

    found: Mapping[tuple[str, Named, str], tuple[float, float, int]]
    size: int

    @classmethod
    def of(cls, rows: Sequence[Any]) -> Bests:
        """Return the longest of trips in the order of time, each with its mark and its column ``bests``."""
        found: dict[tuple[str, Named, str], tuple[float, float, int]] = {}
        for (mark, _), longest in zip(rows, _lists([text for _, text in rows]), strict=True):
            for name, code, local, cm, kind, precision, at_us in longest:
                key = (mark, (name, code, local), kind)
                if key not in found or cm > found[key][0]:
                    found[key] = (cm, precision, at_us)
        return cls(found, 500 * len(found) + 1000)


@dataclass(frozen=True, slots=True)
class JoinsBehind:
    """Versions that the joins of an account rest on, counted."""

    found: Sequence[Versions]
    size: int

    @classmethod
    def of(cls, found: Sequence[Versions]) -> JoinsBehind:
        """Hold them."""
        return cls(found, 400 * len(found) + 1000)


@dataclass(frozen=True, slots=True)
class TripTable:
    """Trips that were fished by the bins of something.

    Of each bin, ``bins`` has what every trip in it caught and its effort there [h, NaN unknown]; ``counts`` and
    ``efforts_h`` are those of every trip over all bins, its effort unknown where it is in one.
    """

    bins: Sequence[tuple[FloatArray, FloatArray]]
    counts: FloatArray
    efforts_h: FloatArray


#: A year of trips or of coarse rows, and what they caught.
YearCaught = tuple[LogYear, Caught]


def sum_species(
    trips: Iterable[YearCaught], rows: Iterable[YearCaught], wanted: TripFilter, species: str | None
) -> list[SpeciesCount]:
    """Return what trips and coarse rows caught by species, the most first; one species alone where it is given."""
    found: dict[Named, list[int]] = {}
    for years, coarse in ((trips, False), (rows, True)):
        for year, caught in years:
            chosen = year.places.chosen(wanted)
            own = chosen[caught.of] & caught.of_species(species)
            at, many = caught.species[own], len(caught.named)
            sums = [np.bincount(at, caught.sums[own, place], many).astype(np.int64).tolist() for place in range(3)]
            things = np.bincount(at, minlength=many).tolist()
            for named, count, kept, returned, times in zip(caught.named, *sums, things, strict=True):
                if times:
                    own_sums = (count, kept, returned, 0 if coarse else times, count if coarse else 0)
                    before = found.get(named, (0, 0, 0, 0, 0))
                    found[named] = [one + other for one, other in zip(before, own_sums, strict=True)]
    return merge_species(found)


def table_of_facts(
    years: Iterable[FactYear], wanted: TripFilter, bins: int, species: str | None, *, raw: bool
) -> TripTable:
    """Return trips by the bins of a factor; effort is of rods in use where ``raw``, else of baits in the water."""
    parts = [_dense(year, year.places.chosen(wanted), bins, species, raw=raw) for year in years]
    counts, hours, there = (np.concatenate(found) for found in zip(*parts, strict=True)) if parts else (
        np.zeros((0, bins)), np.zeros((0, bins)), np.zeros((0, bins), dtype=np.bool_)
    )  # fmt: skip
    columns = [(counts[rows, place], hours[rows, place]) for place, rows in enumerate(there.T)]
    return TripTable(columns, counts.sum(axis=1), np.where(there, hours, 0.0).sum(axis=1))


def _dense(
    year: FactYear, chosen: BoolArray, bins: int, species: str | None, *, raw: bool
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return counts and hours of chosen trips, and whether each was in a bin; all of shape trips by bins."""
    numbers = np.cumsum(chosen) - 1
    own, caught = chosen[year.of_effort], chosen[year.of_caught]
    if species is not None:
        caught &= (year.caught[:, 1:3] == name_hash(species)).any(axis=1)
    efforts, trips = year.efforts[own], numbers[year.of_effort[own]]
    fish, of = year.caught[caught], numbers[year.of_caught[caught]]
    shape = (int(chosen.sum()), bins)
    counts = np.bincount(of * bins + fish[:, 0], fish[:, 3], shape[0] * bins).reshape(shape).astype(np.float64)
    in_use, hours = np.zeros(shape), np.zeros(shape)
    in_use[trips, efforts[:, 0]] = efforts[:, 1]
    told = efforts[:, 1] if raw else np.where(efforts[:, 3] > 0, np.nan, efforts[:, 2])
    hours[trips, efforts[:, 0]] = told / US_PER_HOUR
    hours[~year.rods[chosen]] = np.nan
    return counts, hours, (in_use > 0.0) | (counts > 0.0)


def table_of_marks(
    years: Iterable[YearCaught], wanted: TripFilter, species: str | None, *, raw: bool
) -> tuple[tuple[str, ...], TripTable]:
    """Return trips by their mark, and the ids of these in order."""
    ids, counts, hours = [], [], []
    for year, caught in years:
        chosen = year.places.chosen(wanted) & year.fished
        ids.append(np.array(year.places.marks.values, dtype=object)[year.places.marks.codes[chosen]])
        counts.append(caught.counts(len(chosen), species)[chosen].astype(np.float64))
        told = year.told & (raw | (year.efforts_us[:, 2] == 0))
        hours.append(np.where(told, year.efforts_us[:, 0 if raw else 1] / US_PER_HOUR, np.nan)[chosen])
    at, fish, effort = (np.concatenate(one) if one else np.zeros(0) for one in (ids, counts, hours))
    names = tuple(sorted(set(at.tolist())))
    columns = [(fish[rows], effort[rows]) for rows in (at == name for name in names)]
    return names, TripTable(columns, fish, effort)


def _lists(texts: Sequence[str]) -> list[list[Any]]:
    """Return the lists that texts are, an empty text being an empty one."""
    # One document of all of them: each alone would cost as much again.
    found: list[list[Any]] = orjson.loads(f"[{','.join(text or '[]' for text in texts)}]")
    return found


def _columns(rows: Sequence[Any], many: int) -> Sequence[Sequence[Any]]:
    return list(zip(*rows, strict=True)) if rows else [()] * many


def _days(column: Iterable[date]) -> IntArray:
    return np.fromiter((day.toordinal() for day in column), dtype=np.int64)
