"""Catch rates of the log by one factor, or by mark: from counts kept with the joins, or from trips joined anew."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from service.security import Caller
from service.storage.facts import encode_counts
from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_months import FACT_PART, ROW_PART, TRIP_PART
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.joining import apart
from service.usecases.joins import find_basis, make_joins
from service.usecases.log_columns import Coded, FactYear, LogYear, Places, YearCaught
from service.usecases.log_reading import Knows, LogBasis, LogReader, RestsOn
from service.usecases.log_species import Names
from service.usecases.log_sums import TripTable, table_of_facts, table_of_marks
from service.usecases.marks import MARKS
from service.usecases.trips import TRIPS
from tidecore import NUMERICS
from tidecore.catchlog import DEFAULT_BINS, bin_names
from tidecore.catchstats import CatchRate, rate_of_counts
from tidecore.errors import Fault, InvalidInput
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline import find_factor
from tidecore.units import FloatArray

#: What rates may be told by that is no factor.
BY_MARK = "mark"
#: Most trips that are joined anew for edges of one's own.
MOST_TRIPS = 300
#: Bins by which coarse rows, which know a day and a mark, can be told too.
COARSE = ("month", BY_MARK)

EffortKind = Literal["bait_on", "raw"]


@dataclass(frozen=True, slots=True)
class RateAsk:
    """What is asked: rates by a factor with its edges (empty: the default bins), or by mark; of one species or all."""

    by: str
    edges: tuple[float, ...]
    species: str | None
    effort: EffortKind
    level: float
    trips: TripFilter


@dataclass(frozen=True, slots=True)
class BinRate:
    """The rate in one bin, and that of coarse rows, apart; None where none are counted by such bins."""

    name: str
    rate: CatchRate
    coarse: CatchRate | None


@dataclass(frozen=True, slots=True)
class RatesView:
    """Rates by bin and all together, and what they rest on.

    ``joined`` of ``fished`` trips are counted; ``named`` says whether anything in the log is called as the species that
    is asked for, true without one; ``rests_on`` are the versions of all joins, of the mark asked for or of
    the account, whenever the trips were.
    """

    ask: RateAsk
    names: tuple[str, ...]
    bins: Sequence[BinRate]
    together: CatchRate
    fished: int
    not_fished: int
    joined: int
    named: bool
    rests_on: Sequence[RestsOn]


def tell_rates(context: Context, caller: Caller, ask: RateAsk, knows: Knows) -> RatesView | None:
    """Return catch rates; None where who asks ``knows`` them, which is not asked of edges of one's own.

    Raises
    ------
    UnknownName
        If there is no such factor.
    InvalidInput
        If the edges are none, the factor has no default bins, or too many trips would have to be joined anew.
    NotFound
        If there is no such mark.
    """
    bins = _bins(ask)
    with context.store.unit(caller.account_id) as unit:
        if ask.trips.mark_id is not None:
            MARKS.find(context, unit, [ask.trips.mark_id])
        log = LogReader(context, unit)
        rests_on = [] if ask.by == BY_MARK else log.rests_on(ask.trips.mark_id)
        if bins is None or bins.kept:
            versions = log.versions(TRIP_PART, ROW_PART, FACT_PART)
            if knows(LogBasis(f"rates {ask}", (NUMERICS, *versions, *map(repr, rests_on)))):
                return None
        years, meant = log.trips(ask.trips), log.names_meant(ask.species)
        if bins is None:
            names, table = table_of_marks(log.trips_caught(ask.trips), ask.trips, meant, raw=ask.effort == "raw")
        else:
            names = bins.names
            # Trips that are joined anew were chosen by the days that they were logged on, whatever their zone is now.
            wanted = ask.trips if bins.kept else TripFilter()
            facts = log.facts(ask.by, wanted) if bins.kept else _joined_anew(context, unit, ask, bins, years)
            table = table_of_facts(facts, wanted, len(names), meant, raw=ask.effort == "raw")
        rows = log.rows_caught(ask.trips) if ask.by in COARSE and ask.trips.purpose is None else None
    fished = sum(int((one.fished & one.places.chosen(ask.trips)).sum()) for one in years)
    not_fished = sum(int(one.places.chosen(ask.trips).sum()) for one in years) - fished
    coarse = None if rows is None else _coarse(rows, ask, meant, names)
    together = rate_of_counts(table.counts, table.efforts_h, ask.level, not_fished=not_fished)
    rates = [
        BinRate(name, rate, None if coarse is None else coarse[name])
        for name, rate in zip(names, _by_bin(table, ask.level), strict=True)
    ]
    return RatesView(ask, names, rates, together, fished, not_fished, len(table.counts), meant != frozenset(), rests_on)


@dataclass(frozen=True, slots=True)
class _Bins:
    """The bins of a factor; whether those are ``kept`` with joins, or trips are joined anew for them."""

    edges: tuple[float, ...]
    names: tuple[str, ...]
    kept: bool


def _bins(ask: RateAsk) -> _Bins | None:
    """Return the bins that are asked for, None for marks; raises as `tell_rates`."""
    if ask.by == BY_MARK:
        if ask.edges:
            raise InvalidInput(Fault("edges", "are given of marks", "no edges, or a factor that is a number"))
        return None
    edges = edges_of(ask)
    kept = ask.by in DEFAULT_BINS and edges == DEFAULT_BINS[ask.by].edges
    return _Bins(edges, bin_names(ask.by, edges), kept)


def edges_of(ask: RateAsk) -> tuple[float, ...]:
    """Return the edges of the bins; raises as `tell_rates`."""
    factor = find_factor(ask.by)
    if ask.edges:
        return ask.edges
    default = DEFAULT_BINS.get(ask.by)
    if default is None and factor.kind == "number":
        problem = f"are not given, and {ask.by} has no default bins"
        raise InvalidInput(Fault("edges", problem, f"edges, or one of: {', '.join(DEFAULT_BINS)}"))
    return () if default is None else default.edges


def _joined_anew(
    context: Context, unit: UnitOfWork, ask: RateAsk, bins: _Bins, years: Sequence[LogYear]
) -> list[FactYear]:
    """Return the counts of trips in bins that are not kept; those at marks without a tide are left out."""
    by_mark: dict[str, list[str]] = {}
    for year in years:
        marks = year.places.marks
        for place in np.flatnonzero(year.fished & year.places.chosen(ask.trips)).tolist():
            by_mark.setdefault(marks.values[marks.codes[place]], []).append(year.ids[place])
    many = sum(map(len, by_mark.values()))
    if many > MOST_TRIPS:
        problem = f"{many} trips would have to be joined anew, bins of one's own not being kept"
        fewer = f"at most {MOST_TRIPS} trips, by from_day, to_day, mark_id or purpose"
        expected = f"{fewer}; or a factor that has default bins, by those"
        raise InvalidInput(Fault("edges" if ask.edges else "by", problem, expected))
    found = []
    for mark_id, ids in sorted(by_mark.items()):
        for trips in apart(TRIPS.find(context, unit, ids)):
            basis = find_basis(context, unit, mark_id, trips)
            if basis.served is None:
                continue
            counts = [encode_counts(one.counts[ask.by], bins.names) for one in make_joins(basis, {ask.by: bins.edges})]
            zone, records = basis.mark.document.zone, [one.document for one in trips]
            days = [one.trip.start.astimezone(zone).toordinal() for one in records]
            places = Places(
                np.array(days), Coded.of([mark_id] * len(trips)), Coded.of(one.trip.purpose for one in records)
            )
            rods = [bool(one.deployments) for one in records]
            found.append(FactYear.of_counts(places, rods, *zip(*counts, strict=True)))
    return found


def _by_bin(table: TripTable, level: float) -> list[CatchRate]:
    """Return the rate of each bin; one of too few trips has the largest over-dispersion that another has."""
    alone = [rate_of_counts(*column, level) for column in table.bins]
    most = max((one.dispersion for one in alone if not math.isnan(one.dispersion)), default=None)
    if most is None:
        return alone
    return [
        rate_of_counts(*column, level, most) if math.isnan(one.dispersion) else one
        for column, one in zip(table.bins, alone, strict=True)
    ]


def _coarse(
    rows: Sequence[YearCaught], ask: RateAsk, meant: Names | None, names: tuple[str, ...]
) -> Mapping[str, CatchRate]:
    """Return the rates of coarse rows by the bins of ``names``, and by marks that no trip was at."""
    parts: dict[str, list[tuple[FloatArray, FloatArray]]] = {name: [] for name in names}
    for year, caught in rows:
        chosen = year.places.chosen(ask.trips) & year.fished
        counts = caught.counts(meant).astype(np.float64)
        hours = np.where(year.told, year.efforts_us[:, 0] / US_PER_HOUR, np.nan)
        by = Coded.of(year.places.months.tolist()) if ask.by == "month" else year.places.marks
        for place, value in enumerate(by.values):
            own = chosen & (by.codes == place)
            name = value if ask.by == BY_MARK else names[value - 1]
            parts.setdefault(name, []).append((counts[own], hours[own]))
    return {name: _coarse_rate(some, ask.level) for name, some in parts.items()}


def _coarse_rate(parts: Sequence[tuple[FloatArray, FloatArray]], level: float) -> CatchRate:
    counts, hours = (np.concatenate([np.zeros(0), *some]) for some in zip(*parts, strict=True)) if parts else (
        np.zeros(0), np.zeros(0)
    )  # fmt: skip
    return rate_of_counts(counts, hours, level)
