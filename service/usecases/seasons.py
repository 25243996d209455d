"""A year of the log on one page: months, species, marks; the best trips, the blank ones, those not fished."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from service.errors import DocumentInvalid
from service.security import Caller
from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_sums import RowSum, TripSum
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView
from service.usecases.tallies import SpeciesCount, count_of, count_species, is_called, read_longest, read_tallies
from tidecore.catchlog import Longest, species_key
from tidecore.errors import Fault
from tidecore.rules import Species

#: Years that a page may be of.
FIRST_YEAR, LAST_YEAR = 1900, 2099
#: Most trips that are named of the best, of the blank and of those not fished.
MOST_NAMED = 20


@dataclass(frozen=True, slots=True)
class First:
    """The first of a species in the year; ``ever`` that there is none before on record."""

    species: Species
    day: date
    ever: bool


@dataclass(frozen=True, slots=True)
class TripMark:
    """A trip worth naming, and how many it caught."""

    trip: TripSum
    count: int


@dataclass(frozen=True, slots=True)
class SeasonView:
    """A year of trips and coarse rows, in the order of their days."""

    year: int
    mark_id: str | None
    species: str | None
    trips: Sequence[TripSum]
    rows: Sequence[RowSum]
    counts: Mapping[str, int]
    caught: Sequence[SpeciesCount]
    firsts: Sequence[First]
    longest: Sequence[Longest]
    best: Sequence[TripMark]
    why_not: Mapping[str, int]
    marks: Mapping[str, MarkView]


def tell_season(context: Context, caller: Caller, year: int, mark_id: str | None, species: str | None) -> SeasonView:
    """Return a year of the log by the local days of its marks.

    Raises
    ------
    DocumentInvalid
        If the year is out of range.
    NotFound
        If there is no such mark.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise DocumentInvalid(Fault("year", f"is {year}", f"a year from {FIRST_YEAR} to {LAST_YEAR}"))
    asked = TripFilter(mark_id, date(year, 1, 1), date(year, 12, 31))
    before = TripFilter(mark_id, None, date(year - 1, 12, 31))
    with context.store.unit(caller.account_id) as unit:
        if mark_id is not None:
            MARKS.find(context, unit, [mark_id])
        trips, rows = unit.sums.trips(asked), unit.sums.rows(asked)
        things: list[TripSum | RowSum] = [*trips, *rows]
        earlier = [*(one.caught for one in unit.sums.rows(before)), *unit.sums.caught(before)]
        keys = sorted({one.mark_id for one in things})
        marks = {view.record.id: view for view in MARKS.find(context, unit, keys)}
    counts = {text: count_of(text, species) for text in {one.caught for one in things}}
    caught = count_species([one.caught for one in trips], [one.caught for one in rows])
    best = [TripMark(one, counts[one.caught]) for one in trips if counts[one.caught]]
    return SeasonView(
        year,
        mark_id,
        species,
        trips,
        rows,
        counts,
        [one for one in caught if species is None or is_called(one.species, species)],
        _firsts(trips, rows, earlier, species),
        _longest(trips, species),
        sorted(best, key=lambda one: -one.count)[:MOST_NAMED],
        Counter(one.why_not or "other" for one in things if one.outcome == "not_fished"),
        marks,
    )


def _firsts(
    trips: Sequence[TripSum], rows: Sequence[RowSum], earlier: Sequence[str], species: str | None
) -> list[First]:
    found: dict[tuple[str, str], First] = {}
    days = sorted([(one.local_day, one.caught) for one in trips] + [(one.local_day, one.caught) for one in rows])
    for day, text in days:
        for one in read_tallies(text):
            key = species_key(one.species)
            if key not in found and (species is None or is_called(one.species, species)):
                found[key] = First(one.species, day, ever=True)
    # Most of what a year has was caught before: seldom are all years read.
    new = set(found)
    for text in earlier:
        if not new:
            break
        new.difference_update(species_key(one.species) for one in read_tallies(text))
    return [one if key in new else replace(one, ever=False) for key, one in found.items()]


def _longest(trips: Sequence[TripSum], species: str | None) -> list[Longest]:
    found: dict[tuple[str, str, str], Longest] = {}
    for trip in trips:
        for one in read_longest(trip.bests):
            key = (*species_key(one.species), one.length.kind)
            wanted = species is None or is_called(one.species, species)
            if wanted and (key not in found or one.length.cm > found[key].length.cm):
                found[key] = one
    return sorted(found.values(), key=lambda one: (one.species.scientific_name, one.length.kind))
