"""The first of each species in a year, on the local day of the fish: a trip over midnight has it on its second day.

Sums of trips do not say when a fish was caught. The trips that may have the first one are read for it: nearly always
one of a species, or two.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from service.storage.repositories.joins import TripFilter
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.log_columns import YearCaught
from service.usecases.log_species import Names, keys_of, told_by
from service.usecases.tallies import Named, species_named
from service.usecases.trips import TRIPS
from tidecore.catchlog import species_key
from tidecore.rules import Species
from tidecore.units import BoolArray

#: A fish whose time is unsure may be told to be from the local day before that of its trip.
_BEFORE_DAYS = 1


@dataclass(frozen=True, slots=True)
class First:
    """The first of a species in the year; ``ever`` that there is none before on record."""

    species: Species
    day: date
    ever: bool


@dataclass(frozen=True, slots=True)
class _Caught:
    """A species that a trip caught, as it was spelled, and the ordinal of the local day on which the trip began."""

    day: int
    trip_id: str
    mark_id: str
    named: Named


@dataclass(frozen=True, slots=True)
class SeasonFirsts:
    """Finds firsts among trips and rows as they are read in one unit of work, by the clocks of the marks.

    Trips count to the year in which they began, their fish of the day after too.
    """

    context: Context
    unit: UnitOfWork
    zones: Mapping[str, ZoneInfo]

    def find(
        self,
        trips: Sequence[YearCaught],
        rows: Sequence[YearCaught],
        asked: TripFilter,
        earlier: Iterable[YearCaught],
        before: TripFilter,
        species: Names | None,
    ) -> list[First]:
        """Return the firsts of what is ``asked``, by their days; ``earlier`` and ``before`` tell what was known."""
        on_trips = [one for year in trips for one in _on_trips(year, asked, species)]
        in_rows = [one for year in rows for one in _first_days(year, asked, species).items()]
        then = [named for year in earlier for named in _first_days(year, before, species)]
        now = [*(one.named for one in on_trips), *(named for named, _ in in_rows)]
        keys = keys_of([*now, *then])
        told, known = told_by(now, keys), {keys[named] for named in then}
        days: dict[str, int] = {}
        for named, day in in_rows:
            days[keys[named]] = min(day, days.get(keys[named], day))
        by_key: dict[str, list[_Caught]] = {}
        for one in on_trips:
            by_key.setdefault(keys[one.named], []).append(one)
        # The first trip tells how far ahead another may have the first fish.
        leading = {key: min(found, key=lambda one: one.day) for key, found in by_key.items()}
        self._look(leading.items(), days)
        near = [
            (key, one)
            for key, found in by_key.items()
            for one in found
            if one.day - _BEFORE_DAYS < days[key] and one is not leading[key]
        ]
        self._look(near, days)
        return [
            First(species_named(told[key]), date.fromordinal(day), ever=key not in known)
            for key, day in sorted(days.items(), key=lambda one: (one[1], told[one[0]][0]))
        ]

    def _look(self, wanted: Iterable[tuple[str, _Caught]], days: dict[str, int]) -> None:
        """Set the ``days`` of keys back to those of the first fish of trips, where these are earlier."""
        some = list(wanted)
        ids = list(dict.fromkeys(one.trip_id for _, one in some))
        records = {view.record.id: view.document for view in TRIPS.find(self.context, self.unit, ids)}
        for key, one in some:
            its = species_key(species_named(one.named))
            at = min(fish.at for fish in records[one.trip_id].catches if species_key(fish.species) == its)
            day = at.astimezone(self.zones[one.mark_id]).date().toordinal()
            days[key] = min(day, days.get(key, day))


def _rows(found: YearCaught, asked: TripFilter, species: Names | None) -> BoolArray:
    """Return which rows of what was caught are asked for."""
    year, caught = found
    rows: BoolArray = year.places.chosen(asked)[caught.of] & caught.of_species(species)
    return rows


def _on_trips(found: YearCaught, asked: TripFilter, species: Names | None) -> list[_Caught]:
    year, caught = found
    own = _rows(found, asked, species)
    things = caught.of[own]
    days, marks = year.places.days[things].tolist(), year.places.marks.codes[things].tolist()
    named = [caught.species.values[code] for code in caught.species.codes[own].tolist()]
    ids = [year.ids[thing] for thing in things.tolist()]
    mark_ids = [year.places.marks.values[code] for code in marks]
    return [_Caught(*one) for one in zip(days, ids, mark_ids, named, strict=True)]


def _first_days(found: YearCaught, asked: TripFilter, species: Names | None) -> dict[Named, int]:
    """Return the first day (its ordinal) of every species as it was spelled that is asked for."""
    year, caught = found
    own = _rows(found, asked, species)
    named, codes = caught.species.values, caught.species.codes[own]
    days = np.full(len(named), np.iinfo(np.int64).max)
    np.minimum.at(days, codes, year.places.days[caught.of[own]])
    there = np.bincount(codes, minlength=len(named)) > 0
    return {named[place]: int(days[place]) for place in np.flatnonzero(there).tolist()}
