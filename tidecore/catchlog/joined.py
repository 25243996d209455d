"""Trips joined to the tide: what every factor was at each deployment, bite and catch, as sure as their times are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.catchlog.bins import Steps, steps_of
from tidecore.catchlog.default_bins import DEFAULT_BINS, VALUES_ALONE
from tidecore.catchlog.effort import bait_on, in_use
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.record import TripRecord
from tidecore.catchlog.trip import Bite, Catch
from tidecore.rules import Species
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline
from tidecore.timeline.factor import Factor
from tidecore.timeline.registry import find_factor
from tidecore.units import AnyArray, FloatArray, IntArray

#: The coarsest precision of a time; the tide is looked at so far around everything.
_REACH_US = 60 * US_PER_MINUTE

Known = float | str | bool | None


@dataclass(frozen=True, slots=True)
class AtEvent:
    """One factor at a bite or catch: at its own time, and over all the time at which it may have been.

    ``low`` and ``high`` are of a number, sampled by the minute; a factor that jumps within that time has both its
    sides in them. ``shares`` are the parts of that time in each bin, those of 0 left out, largest first; none of a
    factor without bins. What is unknown is None.
    """

    value: Known
    low: float | None
    high: float | None
    shares: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class OverDeployment:
    """One factor while a rod was in use: a number's least, mean and most, sampled by the minute; None where unknown.

    ``raw_us`` and ``bait_on_us`` are the time in each bin, exact, those of 0 left out. A number without a level, as
    hours from high water, has no mean.
    """

    least: float | None
    mean: float | None
    most: float | None
    raw_us: Mapping[str, int]
    bait_on_us: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class BinCount:
    """What a trip has in one bin of a factor: effort as `tidecore.catchlog.Effort` has it, and what was caught."""

    name: str
    raw_us: int
    bait_on_us: int
    uncast_us: int
    caught: tuple[tuple[Species, int], ...]


@dataclass(frozen=True, slots=True)
class JoinedTrip:
    """A trip joined to the tide: each thing by its `ref`, factor by factor; and the counts by factor and bin."""

    deployments: Mapping[str, Mapping[str, OverDeployment]]
    bites: Mapping[str, Mapping[str, AtEvent]]
    catches: Mapping[str, Mapping[str, AtEvent]]
    counts: Mapping[str, tuple[BinCount, ...]]


def trip_ends_us(record: TripRecord) -> tuple[int, int]:
    """Return the first and the last instant that a trip tells of [microseconds since 1970]."""
    times = [record.trip.start, record.trip.end, *(one.at for one in record.bites), *(one.at for one in record.catches)]
    times += [time for one in record.deployments for time in (one.start, one.end)]
    found = [ticks(time) for time in times if time is not None]
    return min(found), max(found)


def join_trips(
    timeline: Timeline, records: Sequence[TripRecord], bins: Mapping[str, Sequence[float]] | None = None
) -> list[JoinedTrip]:
    """Return trips at one mark joined to its timeline, many at once.

    Parameters
    ----------
    timeline : Timeline
        Of the mark; every trip lies within it, or within 22 hours of it.
    records : sequence of TripRecord
        The trips.
    bins : mapping of str to sequence of float, optional
        The factors, each with the edges of its bins; those of `DEFAULT_BINS` and `VALUES_ALONE` unless given.

    Raises
    ------
    UnknownName, InvalidInput, InvalidSpan
        As `steps_of`.
    """
    wanted = {name: one.edges for name, one in DEFAULT_BINS.items()} if bins is None else dict(bins)
    alone = VALUES_ALONE if bins is None else ()
    fished = [record for record in records if record.deployments or record.bites or record.catches]
    around = [(first - _REACH_US, last + _REACH_US) for first, last in map(trip_ends_us, fished)]
    within = np.array(around, dtype=np.int64).reshape(-1, 2)
    steps = steps_of(timeline, wanted, within)
    log = _Log(fished)
    events, over = _values_at_events(timeline, (*wanted, *alone), log), _values_in_use(timeline, (*wanted, *alone), log)
    parted = {name: _Parted(found, log) for name, found in steps.items()}
    nothing: dict[str, tuple[BinCount, ...]] = {name: () for name in wanted}
    joined = iter([_joined(record, place, log, events, over, parted) for place, record in enumerate(fished)])
    has = {id(record) for record in fished}
    return [next(joined) if id(record) in has else JoinedTrip({}, {}, {}, nothing) for record in records]


class _Log:
    """The deployments and events of many trips in rows, and which rows are whose."""

    def __init__(self, records: Sequence[TripRecord]) -> None:
        deployments = [(place, one) for place, record in enumerate(records) for one in record.deployments]
        self.use_us = _rows(ends for _, one in deployments for ends in in_use(one).tolist())
        self.uncast = np.array([not one.casts for _, one in deployments], dtype=np.bool_)
        baits = [(row, bait_on(one)) for row, (_, one) in enumerate(deployments)]
        self.bait_us = _rows(ends for _, spans in baits for ends in spans.tolist())
        self.bait_of = np.repeat(np.arange(len(baits)), [len(spans) for _, spans in baits])
        self.use_of = np.array([place for place, _ in deployments], dtype=np.int64)
        events: list[tuple[int, Bite | Catch]] = []
        for place, record in enumerate(records):
            events += [(place, one) for one in record.bites]
            events += [(place, one) for one in record.catches]
        self.event_of = np.array([place for place, _ in events], dtype=np.int64)
        self.at_us = np.array([ticks(one.at) for _, one in events], dtype=np.int64)
        self.slack_min = np.array([one.precision_min for _, one in events], dtype=np.int64)

    @property
    def around_us(self) -> IntArray:
        """When each event may have been."""
        slack = self.slack_min * US_PER_MINUTE
        return np.column_stack((self.at_us - slack, self.at_us + slack))


class _Parted:
    """How the deployments, baits and events of many trips part among the bins of one factor."""

    def __init__(self, steps: Steps, log: _Log) -> None:
        self.names = steps.names
        self.raw, around = steps.parted(log.use_us), steps.parted(log.around_us)
        self.bait = np.zeros_like(self.raw)
        np.add.at(self.bait, log.bait_of, steps.parted(log.bait_us))
        self.shares = around / np.maximum(2 * log.slack_min * US_PER_MINUTE, 1)[:, np.newaxis]
        # The first of equals, as `shares` puts them.
        self.event_bin = np.argmax(around, axis=1) if len(around) else np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Column:
    """One factor over the rows of a log: values, and the least, mean and most of a number [NaN unknown]."""

    factor: Factor
    values: AnyArray
    least: FloatArray
    mean: FloatArray
    most: FloatArray

    def known(self, row: int) -> Known:
        """Return the value of a row, None where it is unknown."""
        value = self.values[row]
        if not bool(self.factor.known(self.values[row : row + 1])[0]):
            return None
        if self.factor.kind == "number":
            return float(value)
        return bool(value) if self.factor.kind == "boolean" else str(value)


def _values_at_events(timeline: Timeline, names: Sequence[str], log: _Log) -> dict[str, _Column]:
    counts = 2 * log.slack_min + 1
    offsets = np.concatenate([np.empty(0, dtype=np.int64), *(np.arange(n) - n // 2 for n in counts.tolist())])
    times = np.repeat(log.at_us, counts) + offsets * US_PER_MINUTE
    return _columns(timeline, names, log.at_us, times, counts)


def _values_in_use(timeline: Timeline, names: Sequence[str], log: _Log) -> dict[str, _Column]:
    times = [np.unique(np.append(np.arange(start, end, US_PER_MINUTE), end)) for start, end in log.use_us.tolist()]
    counts = np.array([one.size for one in times], dtype=np.int64)
    return _columns(timeline, names, log.use_us[:, 0], np.concatenate([np.empty(0, dtype=np.int64), *times]), counts)


def _columns(
    timeline: Timeline, names: Sequence[str], at_us: IntArray, times_us: IntArray, counts: IntArray
) -> dict[str, _Column]:
    """Return factors at instants, and what a number is over the ``counts`` of samples that belong to each."""
    values = timeline.at(np.concatenate((at_us, times_us)), names)
    first = np.cumsum(counts) - counts
    found = {}
    for name in names:
        factor, own, samples = find_factor(name), values[name][: at_us.size], values[name][at_us.size :]
        unknown = np.full(counts.size, np.nan)
        ends = (unknown, unknown, unknown)
        if factor.kind == "number" and counts.size:
            known = ~np.isnan(samples)
            number = np.add.reduceat(known.astype(np.int64), first)
            sums = np.add.reduceat(np.where(known, samples, 0.0), first)
            mean = np.where(number > 0, sums / np.maximum(number, 1), np.nan)
            ends = (np.fmin.reduceat(samples, first), mean, np.fmax.reduceat(samples, first))
        found[name] = _Column(factor, own, *ends)
    return found


def _joined(
    record: TripRecord,
    place: int,
    log: _Log,
    events: Mapping[str, _Column],
    over: Mapping[str, _Column],
    parted: Mapping[str, _Parted],
) -> JoinedTrip:
    uses, rows = np.flatnonzero(log.use_of == place).tolist(), np.flatnonzero(log.event_of == place).tolist()
    refs = [*(one.ref for one in record.bites), *(one.ref for one in record.catches)]
    told = [{name: _at_event(column, parted.get(name), row) for name, column in events.items()} for row in rows]
    bites = len(record.bites)
    deployments = {
        one.ref: {name: _over_deployment(column, parted.get(name), row) for name, column in over.items()}
        for one, row in zip(record.deployments, uses, strict=True)
    }
    return JoinedTrip(
        deployments,
        dict(zip(refs[:bites], told[:bites], strict=True)),
        dict(zip(refs[bites:], told[bites:], strict=True)),
        {name: tuple(_counts(record, found, log, uses, rows[bites:])) for name, found in parted.items()},
    )


def _at_event(column: _Column, parted: _Parted | None, row: int) -> AtEvent:
    shares: dict[str, float] = {}
    if parted is not None:
        found = [(name, share) for name, share in zip(parted.names, parted.shares[row].tolist(), strict=True) if share]
        shares = dict(sorted(found, key=lambda pair: -pair[1]))
    return AtEvent(column.known(row), _finite(column.least[row]), _finite(column.most[row]), shares)


def _over_deployment(column: _Column, parted: _Parted | None, row: int) -> OverDeployment:
    bins = DEFAULT_BINS.get(column.factor.name)
    level = column.factor.period is None and (bins is None or bins.level)
    parts: list[dict[str, int]] = [{}, {}]
    if parted is not None:
        rows = (parted.raw[row].tolist(), parted.bait[row].tolist())
        parts = [{name: us for name, us in zip(parted.names, one, strict=True) if us} for one in rows]
    mean = _finite(column.mean[row]) if level else None
    return OverDeployment(_finite(column.least[row]), mean, _finite(column.most[row]), *parts)


def _counts(
    record: TripRecord, parted: _Parted, log: _Log, uses: Sequence[int], rows: Sequence[int]
) -> Iterator[BinCount]:
    """Give what a trip has in each bin in which it has anything; ``rows`` are those of its catches."""
    raw, bait = parted.raw[uses].sum(axis=0).tolist(), parted.bait[uses].sum(axis=0).tolist()
    uncast = parted.raw[uses][log.uncast[uses]].sum(axis=0).tolist()
    caught: list[dict[tuple[str | None, str], tuple[Species, int]]] = [{} for _ in parted.names]
    for one, row in zip(record.catches, rows, strict=True):
        key = (one.species.fao_code, one.species.scientific_name.casefold())
        counts = caught[int(parted.event_bin[row])]
        counts[key] = (one.species, counts.get(key, (one.species, 0))[1] + 1)
    for code, name in enumerate(parted.names):
        if raw[code] or caught[code]:
            yield BinCount(name, raw[code], bait[code], uncast[code], tuple(caught[code].values()))


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _rows(pairs: Iterator[list[int]]) -> IntArray:
    return np.array(list(pairs), dtype=np.int64).reshape(-1, 2)
