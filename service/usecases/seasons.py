"""A year of the log on one page: months, species, marks; the best trips, the blank ones, those not fished."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.errors import DocumentInvalid
from service.security import Caller
from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_months import ROW_PART, TRIP_PART
from service.usecases.context import Context
from service.usecases.insights import OutcomeSum, sum_outcomes
from service.usecases.log_columns import Bests, LogYear, YearCaught
from service.usecases.log_reading import Knows, LogBasis, LogReader
from service.usecases.log_species import Names, is_meant, keys_of, told_by
from service.usecases.log_sums import sum_species
from service.usecases.marks import MARKS
from service.usecases.season_firsts import First, SeasonFirsts
from service.usecases.tallies import SpeciesCount, species_named
from tidecore.catchlog import Longest
from tidecore.catchlog.sizes import Length
from tidecore.errors import Fault
from tidecore.units import BoolArray

#: Years that a page may be of.
FIRST_YEAR, LAST_YEAR = 1900, 2099
#: Most trips that are named of the best, of the blank and of those not fished.
MOST_NAMED = 20


@dataclass(frozen=True, slots=True)
class TripOfSeason:
    """A trip worth naming, and how many it caught."""

    trip_id: str
    day: date
    mark_id: str
    caught: int


@dataclass(frozen=True, slots=True)
class SeasonPart:
    """What the trips and the coarse rows of a part of a year add up to, and how many they caught."""

    trips: Sequence[OutcomeSum]
    rows: Sequence[OutcomeSum]
    caught: int
    diary_caught: int


@dataclass(frozen=True, slots=True)
class SeasonView:
    """A year of trips and coarse rows: whole, by month and by mark, with the names of the marks."""

    year: int
    mark_id: str | None
    species: str | None
    whole: SeasonPart
    months: Sequence[SeasonPart]
    marks: Mapping[str, SeasonPart]
    names: Mapping[str, str]
    caught: Sequence[SpeciesCount]
    firsts: Sequence[First]
    longest: Sequence[Longest]
    best: Sequence[TripOfSeason]
    blank: Sequence[TripOfSeason]
    why_not: Sequence[tuple[str, int]]


def tell_season(
    context: Context, caller: Caller, year: int, mark_id: str | None, species: str | None, knows: Knows
) -> SeasonView | None:
    """Return a year of the log by the local days of its marks; None where who asks ``knows`` it.

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
        log = LogReader(context, unit)
        trips, rows = log.trips_caught(asked), log.rows_caught(asked)
        keys = sorted({key for one, _ in (*trips, *rows) for key in one.places.marks.values if mark_id in (None, key)})
        views = MARKS.find(context, unit, keys)
        marks = [part for view in views for part in (view.record.id, view.record.version)]
        question = f"season {year} {mark_id} {species!r}"
        if knows(LogBasis(question, (*log.versions(TRIP_PART, ROW_PART), *marks))):
            return None
        earlier = [*log.rows_caught(before), *log.trips_caught(before)]
        bests, names = log.bests(year), log.names_meant(species)
        zones = {view.record.id: view.document.zone for view in views}
        firsts = SeasonFirsts(context, unit, zones).find(trips, rows, asked, earlier, before, names)
    parts = _Parts(trips, rows, asked, names)
    return SeasonView(
        year,
        mark_id,
        species,
        parts.whole(),
        parts.months(),
        {key: parts.at(key) for key in keys},
        {view.record.id: view.document.name for view in views},
        sum_species(trips, rows, asked, names),
        firsts,
        _longest(bests, mark_id, names),
        *_worth_naming(trips, asked, names),
        _why_not([year for year, _ in trips], asked),
    )


class _Parts:
    """Sums parts of a year."""

    def __init__(
        self, trips: Sequence[YearCaught], rows: Sequence[YearCaught], asked: TripFilter, species: Names | None
    ) -> None:
        self._years, self._trips = [one for one, _ in (*trips, *rows)], len(trips)
        self._chosen = [one.places.chosen(asked) for one in self._years]
        self._counts = [caught.counts(species) for _, caught in (*trips, *rows)]

    def whole(self) -> SeasonPart:
        """Return the sums of the year."""
        return self._where(self._chosen)

    def months(self) -> list[SeasonPart]:
        """Return the sums of every month."""
        months = [one.places.months for one in self._years]
        return [self._where([one == month for one in months]) for month in range(1, 13)]

    def at(self, mark_id: str) -> SeasonPart:
        """Return the sums of a mark."""
        return self._where([one.places.marks.equal(mark_id) for one in self._years])

    def _where(self, wanted: Sequence[BoolArray]) -> SeasonPart:
        chosen = [own & asked for own, asked in zip(wanted, self._chosen, strict=True)]
        caught = [int(counts[own].sum()) for counts, own in zip(self._counts, chosen, strict=True)]
        years, many = self._years, self._trips
        return SeasonPart(
            sum_outcomes(years[:many], chosen[:many]),
            sum_outcomes(years[many:], chosen[many:]),
            sum(caught[:many]),
            sum(caught[many:]),
        )


def _worth_naming(
    trips: Iterable[YearCaught], asked: TripFilter, species: Names | None
) -> tuple[list[TripOfSeason], list[TripOfSeason]]:
    """Return the trips that caught most, and the last of the blank ones."""
    best, blank = [], []
    for year, fish in trips:
        chosen, counts = year.places.chosen(asked), fish.counts(species)
        caught = np.flatnonzero(chosen & (counts > 0))
        most = caught[np.argsort(-counts[caught], kind="stable")][:MOST_NAMED]
        best += [_named(year, place, int(counts[place])) for place in most.tolist()]
        last = np.flatnonzero(chosen & year.outcomes.equal("blank"))[-MOST_NAMED:]
        blank += [_named(year, place, 0) for place in last.tolist()]
    return best, blank


def _named(year: LogYear, place: int, caught: int) -> TripOfSeason:
    places = year.places
    mark = places.marks.values[places.marks.codes[place]]
    return TripOfSeason(year.ids[place], date.fromordinal(int(places.days[place])), mark, caught)


def _why_not(years: Iterable[LogYear], asked: TripFilter) -> list[tuple[str, int]]:
    """Return why nobody fished on trips, each of which says it, the most frequent first."""
    found: Counter[str] = Counter()
    for year in years:
        unfished = np.flatnonzero(year.places.chosen(asked) & ~year.fished)
        found.update(str(year.why_not[place]) for place in unfished.tolist())
    return found.most_common()


def _longest(bests: Bests, mark_id: str | None, species: Names | None) -> list[Longest]:
    found: dict[tuple[str, str], Longest] = {}
    spelled = [named for _, _, named, _ in bests.found]
    keys = keys_of(spelled)
    told = told_by(spelled, keys)
    for (_, mark, named, kind), (cm, precision, at_us) in sorted(bests.found.items(), key=lambda one: one[1][2]):
        key = (keys[named], kind)
        wanted = mark_id in (None, mark) and (species is None or is_meant(named, species))
        if wanted and (key not in found or cm > found[key].length.cm):
            length = Length.model_construct(cm=cm, kind=kind, precision_cm=precision)
            found[key] = Longest(species_named(told[keys[named]]), length, at_us)
    return sorted(found.values(), key=lambda one: (one.species.scientific_name, one.length.kind))
