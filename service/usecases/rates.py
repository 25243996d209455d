"""Catch rates of the log by one factor, or by mark: from counts kept with the joins, or from trips joined anew."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np

from service.security import Caller
from service.storage.facts import CAUGHT_COLUMNS, EFFORT_COLUMNS, encode_counts, name_hash, stacked
from service.storage.repositories.joins import RestsOn, TripFilter
from service.storage.repositories.log_sums import RowSum
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.joining import apart
from service.usecases.joins import find_basis, make_joins
from service.usecases.marks import MARKS
from service.usecases.stale_joins import STAMP
from service.usecases.tallies import count_of
from service.usecases.trips import TRIPS
from tidecore.catchlog import DEFAULT_BINS, bin_names
from tidecore.catchstats import CatchRate, rate_of_counts
from tidecore.errors import Fault, InvalidInput
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline import find_factor
from tidecore.units import BoolArray, FloatArray

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

    ``joined`` of ``fished`` trips are counted; ``rests_on`` are the versions of all joins, of the mark asked for or of
    the account, whenever the trips were.
    """

    ask: RateAsk
    names: tuple[str, ...]
    bins: Sequence[BinRate]
    together: CatchRate
    fished: int
    not_fished: int
    joined: int
    rests_on: Sequence[RestsOn]


@dataclass(frozen=True, slots=True)
class _Table:
    """Trips in rows, bins in columns: what was caught, effort [h, NaN unknown], and whether a trip was in a bin."""

    counts: FloatArray
    efforts: FloatArray
    there: BoolArray


def tell_rates(context: Context, caller: Caller, ask: RateAsk) -> RatesView:
    """Return catch rates.

    Raises
    ------
    UnknownName
        If there is no such factor.
    InvalidInput
        If the edges are none, the factor has no default bins, or too many trips would have to be joined anew.
    NotFound
        If there is no such mark.
    """
    with context.store.unit(caller.account_id) as unit:
        if ask.trips.mark_id is not None:
            MARKS.find(context, unit, [ask.trips.mark_id])
        outcomes = unit.sums.outcomes(ask.trips)
        fished = sum(one.trips for one in outcomes if one.outcome != "not_fished")
        not_fished = sum(one.trips for one in outcomes) - fished
        names, table = _table(context, unit, ask)
        rows = unit.sums.rows(ask.trips) if ask.by in COARSE and ask.trips.purpose is None else None
        rests_on = [] if ask.by == BY_MARK else unit.joins.rests_on(STAMP, ask.trips.mark_id)
    coarse = None if rows is None else _coarse(rows, ask, names)
    rates = _by_bin(table, ask.level)
    together = rate_of_counts(table.counts.sum(axis=1), _summed(table), ask.level, not_fished=not_fished)
    bins = [
        BinRate(name, rate, None if coarse is None else coarse[name]) for name, rate in zip(names, rates, strict=True)
    ]
    return RatesView(ask, names, bins, together, fished, not_fished, len(table.counts), rests_on)


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


def _table(context: Context, unit: UnitOfWork, ask: RateAsk) -> tuple[tuple[str, ...], _Table]:
    if ask.by == BY_MARK:
        if ask.edges:
            raise InvalidInput(Fault("edges", "are given of marks", "no edges, or a factor that is a number"))
        return _marks(unit, ask)
    edges = edges_of(ask)
    names = bin_names(ask.by, edges)
    kept = ask.by in DEFAULT_BINS and edges == DEFAULT_BINS[ask.by].edges
    found = unit.joins.facts(ask.by, ask.trips) if kept else _joined_anew(context, unit, ask, edges, names)
    return names, _dense(found, ask, len(names))


def _joined_anew(
    context: Context, unit: UnitOfWork, ask: RateAsk, edges: tuple[float, ...], names: tuple[str, ...]
) -> list[tuple[bool, bytes, bytes]]:
    """Return the counts of trips in bins that are not kept; those at marks without a tide are left out."""
    sums = [one for one in unit.sums.trips(ask.trips) if one.outcome != "not_fished"]
    if len(sums) > MOST_TRIPS:
        problem = f"{len(sums)} trips would have to be joined anew, bins of one's own not being kept"
        expected = f"at most {MOST_TRIPS} trips, by start, end or mark_id; or a factor that has default bins, by those"
        raise InvalidInput(Fault("edges" if ask.edges else "by", problem, expected))
    found = []
    for mark_id, some in groupby(sorted(sums, key=lambda one: one.mark_id), key=lambda one: one.mark_id):
        for trips in apart(TRIPS.find(context, unit, [one.trip_id for one in some])):
            basis = find_basis(context, unit, mark_id, trips)
            joins = make_joins(basis, {ask.by: edges}) if basis.served is not None else []
            for trip, joined in zip(trips, joins, strict=False):
                found.append((bool(trip.document.deployments), *encode_counts(joined.counts[ask.by], names)))
    return found


def _dense(found: Sequence[tuple[bool, bytes, bytes]], ask: RateAsk, bins: int) -> _Table:
    efforts, trips = stacked([one[1] for one in found], EFFORT_COLUMNS)
    caught, of = stacked([one[2] for one in found], CAUGHT_COLUMNS)
    shape = (len(found), bins)
    if ask.species is not None:
        wanted = (caught[:, 1:3] == name_hash(ask.species)).any(axis=1)
        caught, of = caught[wanted], of[wanted]
    counts = np.bincount(of * bins + caught[:, 0], caught[:, 3], len(found) * bins).reshape(shape)
    raw, hours = np.zeros(shape), np.zeros(shape)
    raw[trips, efforts[:, 0]] = efforts[:, 1]
    told = efforts[:, 1] if ask.effort == "raw" else np.where(efforts[:, 3] > 0, np.nan, efforts[:, 2])
    hours[trips, efforts[:, 0]] = told / US_PER_HOUR
    rods = np.fromiter((bool(one[0]) for one in found), dtype=np.bool_, count=len(found))
    hours[~rods] = np.nan
    return _Table(counts.astype(np.float64), hours, (raw > 0.0) | (counts > 0.0))


def _marks(unit: UnitOfWork, ask: RateAsk) -> tuple[tuple[str, ...], _Table]:
    """Return every trip that was fished in the column of its mark."""
    found = [one for one in unit.sums.of_marks(ask.trips) if one[1] != "not_fished"]
    names = tuple(sorted({one[0] for one in found}))
    place = {name: number for number, name in enumerate(names)}
    texts: dict[str, int] = {}
    counts, hours = np.zeros((len(found), len(names))), np.zeros((len(found), len(names)))
    there = np.zeros((len(found), len(names)), dtype=np.bool_)
    for row, (mark, _, raw, bait, uncast, text) in enumerate(found):
        if text not in texts:
            texts[text] = count_of(text, ask.species)
        known = raw is not None and (ask.effort == "raw" or uncast == 0)
        at = (row, place[mark])
        counts[at], there[at] = texts[text], True
        hours[at] = (raw if ask.effort == "raw" else bait) / US_PER_HOUR if known else math.nan
    return names, _Table(counts, hours, there)


def _by_bin(table: _Table, level: float) -> list[CatchRate]:
    """Return the rate of each bin; one of too few trips has the largest over-dispersion that another has."""
    columns = [(table.counts[there, bin_], table.efforts[there, bin_]) for bin_, there in enumerate(table.there.T)]
    alone = [rate_of_counts(*column, level) for column in columns]
    most = max((one.dispersion for one in alone if not math.isnan(one.dispersion)), default=None)
    if most is None:
        return alone
    return [
        rate_of_counts(*column, level, most) if math.isnan(one.dispersion) else one
        for column, one in zip(columns, alone, strict=True)
    ]


def _summed(table: _Table) -> FloatArray:
    """Return the effort of each trip over all bins, unknown where it is in one."""
    summed: FloatArray = np.where(table.there, table.efforts, 0.0).sum(axis=1)
    return summed


def _coarse(rows: Sequence[RowSum], ask: RateAsk, names: tuple[str, ...]) -> Mapping[str, CatchRate]:
    by: dict[str, list[RowSum]] = {name: [] for name in names}
    for one in rows:
        name = one.mark_id if ask.by == BY_MARK else names[one.local_day.month - 1]
        if one.outcome != "not_fished":
            by.setdefault(name, []).append(one)
    return {name: _coarse_rate(some, ask) for name, some in by.items()}


def _coarse_rate(rows: Sequence[RowSum], ask: RateAsk) -> CatchRate:
    counts = np.array([count_of(one.caught, ask.species) for one in rows], dtype=np.float64)
    hours = [math.nan if one.coarse_us is None else one.coarse_us / US_PER_HOUR for one in rows]
    return rate_of_counts(counts, np.array(hours, dtype=np.float64), ask.level)
