"""When a factor of a timeline lies in which bin: spans of time, with edges finer than the timeline's step."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tidecore.calendars import merged
from tidecore.catchlog.effort import overlap_us
from tidecore.errors import Fault, InvalidInput
from tidecore.roots.brackets import edges as edges_between
from tidecore.roots.brackets import sample_times
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline
from tidecore.timeline.factor import Factor
from tidecore.timeline.registry import find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: The bin of time at which the factor is unknown.
UNKNOWN = "unknown"
#: The bins of the month where each is one.
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
#: An excursion into another bin that is shorter than this may be missed.
SAMPLED_US = US_PER_MINUTE
#: Largest error of an edge.
EDGE_US = 1000.0
#: Most edges of bins.
MOST_EDGES = 50


def factor_bins(timeline: Timeline, name: str, edges: Sequence[float] = ()) -> dict[str, IntArray]:
    """Return when a factor lies in each of its bins, over the span of a timeline.

    Parameters
    ----------
    timeline : Timeline
        Of the mark, over the span.
    name : str
        The factor. A category has a bin for each of its values, a boolean ``"true"`` and ``"false"``.
    edges : sequence of float
        Of a number: at least one, ascending. Bins are half-open, ``"1..2"`` from 1 to under 2; the outermost,
        ``"under 1"`` and ``"2 and over"``, are open. Of the month each by itself is called by its name.

    Returns
    -------
    dict of str to int64 array, shape ``(n, 2)``
        Spans [microseconds since 1970] of every bin in order, then of ``"unknown"``. Together they are the whole span.
        Edges are right to a millisecond; a stay of under a minute may be missed.

    Raises
    ------
    UnknownName
        If there is no such factor.
    InvalidInput
        If the edges are none, too many, not finite, not ascending, or given of no number.
    """
    span = timeline.span
    found = steps_of(timeline, {name: edges}, np.array([[span.start_us, span.end_us]], dtype=np.int64))[name]
    rows = np.column_stack((found.starts_us, found.ends_us))
    return {label: merged(rows[found.codes == place]) for place, label in enumerate(found.names)}


@dataclass(frozen=True, slots=True)
class Steps:
    """Which bin a factor is in, step by step: ``names[codes[i]]`` from ``starts_us[i]`` to ``ends_us[i]``."""

    names: tuple[str, ...]
    starts_us: IntArray
    ends_us: IntArray
    codes: IntArray

    def parted(self, spans_us: IntArray) -> IntArray:
        """Return how much of each of several spans lies in each bin, exactly.

        Parameters
        ----------
        spans_us : int64 array, shape ``(m, 2)``
            Spans in any order [microseconds since 1970]; what lies outside the steps is in no bin.

        Returns
        -------
        int64 array, shape ``(m, k)``
            For ``k`` bins, in the order of ``names`` [microseconds].
        """
        return self._passed(spans_us[:, 1]) - self._passed(spans_us[:, 0])

    def _passed(self, times_us: IntArray) -> IntArray:
        """Return how much time of each bin has passed before each instant."""
        lengths = self.ends_us - self.starts_us
        each = np.zeros((lengths.size + 1, len(self.names)), dtype=np.int64)
        each[np.arange(1, lengths.size + 1), self.codes] = lengths
        place = np.searchsorted(self.starts_us, times_us, side="right")
        last = np.maximum(place - 1, 0)
        passed: IntArray = np.cumsum(each, axis=0)[last]
        part = np.where(place > 0, np.minimum(times_us - self.starts_us[last], lengths[last]), 0)
        passed[np.arange(times_us.size), self.codes[last]] += part
        return passed


def steps_of(timeline: Timeline, bins: Mapping[str, Sequence[float]], within_us: IntArray) -> dict[str, Steps]:
    """Return which bin each of several factors is in, over several spans of a timeline.

    Parameters
    ----------
    timeline : Timeline
        Of the mark; spans may reach a day beyond it.
    bins : mapping of str to sequence of float
        Factors, each with its edges; bins and their edges are as `factor_bins` says.
    within_us : int64 array, shape ``(m, 2)``
        Spans in any order [microseconds since 1970]; those that overlap count once, and empty ones are left out.

    Raises
    ------
    UnknownName, InvalidInput
        As `factor_bins`.
    InvalidSpan
        As `Timeline.at`.
    """
    wanted = {name: find_factor(name) for name in bins}
    names = {name: (*_names(factor, bins[name]), UNKNOWN) for name, factor in wanted.items()}
    spans, breaks = merged(within_us), timeline.breaks_us(list(bins))
    times, ends = _samples(spans, breaks)
    values = timeline.at(times, list(bins))
    found = {}
    for name, factor in wanted.items():
        edges, unknown = np.asarray(bins[name], dtype=np.float64), len(names[name]) - 1

        def codes(
            at: FloatArray | IntArray,
            factor: Factor = factor,
            edges: FloatArray = edges,
            unknown: int = unknown,
        ) -> IntArray:
            return _codes(factor, timeline.at(at, [factor.name])[factor.name], edges, unknown)

        found[name] = _steps(names[name], codes, _codes(factor, values[name], edges, unknown), times, ends)
    return found


def _samples(spans: IntArray, breaks: IntArray) -> tuple[IntArray, BoolArray]:
    """Return every minute of spans, their ends, both sides of each break; and which of these end a span."""
    pieces, last = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.bool_)]
    sides = np.concatenate((breaks, breaks - 1))
    for start, end in spans.tolist():
        minutes = np.rint(sample_times(start, end, SAMPLED_US)).astype(np.int64)
        times = np.unique(np.concatenate((minutes, sides[(sides >= start) & (sides <= end)])))
        pieces.append(times)
        last.append(times == end)
    return np.concatenate(pieces), np.concatenate(last)


def _steps(
    names: tuple[str, ...], codes: Callable[[FloatArray], IntArray], found: IntArray, times: IntArray, ends: BoolArray
) -> Steps:
    """Return the steps of one factor from its codes at samples."""
    at = np.flatnonzero((found[1:] != found[:-1]) & ~ends[:-1])
    turned = np.rint(edges_between(lambda t: codes(t) == found[at + 1], times[at], times[at + 1], EDGE_US))
    first = np.concatenate((np.ones(min(1, times.size), dtype=np.bool_), ends[:-1]))
    starts = np.concatenate((times[first], turned.astype(np.int64)))
    order = np.argsort(starts, kind="stable")
    borders = np.concatenate((times[ends], turned.astype(np.int64)))
    return Steps(names, starts[order], np.sort(borders), np.concatenate((found[first], found[at + 1]))[order])


def bins_at(timeline: Timeline, name: str, edges: Sequence[float], times_us: IntArray) -> tuple[str, ...]:
    """Return the bin of a factor at each instant [microseconds since 1970]; raises as `factor_bins`, and as ``at``."""
    factor = find_factor(name)
    names = (*_names(factor, edges), UNKNOWN)
    found = _codes(factor, timeline.at(times_us, [name])[name], np.asarray(edges, dtype=np.float64), len(names) - 1)
    return tuple(names[place] for place in found)


def shares(bins: Mapping[str, IntArray], at_us: int, precision_min: int) -> dict[str, float]:
    """Return how much of the time at which something may have happened lies in each bin, largest first.

    Parameters
    ----------
    bins : mapping of str to int64 array, shape ``(n, 2)``
        As `factor_bins` gives them.
    at_us : int
        When it happened [microseconds since 1970], as told.
    precision_min : int
        It lies within so many minutes on either side.

    Returns
    -------
    dict of str to float
        Parts of the whole, those of 0 left out; what lies outside all bins is in none.
    """
    slack = precision_min * US_PER_MINUTE
    around = np.array([[at_us - slack, at_us + slack]], dtype=np.int64)
    found = {name: overlap_us(around, rows) / (2 * slack) for name, rows in bins.items()}
    return {name: share for name, share in sorted(found.items(), key=lambda pair: -pair[1]) if share > 0.0}


def bin_names(name: str, edges: Sequence[float]) -> tuple[str, ...]:
    """Return the names of the bins of a factor in their order, as `factor_bins` has them; raises as it does."""
    return (*_names(find_factor(name), edges), UNKNOWN)


def _names(factor: Factor, edges: Sequence[float]) -> tuple[str, ...]:
    if factor.kind != "number":
        if len(edges):
            raise InvalidInput(Fault("edges", f"are given of {factor.name}, a {factor.kind}", "no edges"))
        return ("false", "true") if factor.kind == "boolean" else factor.categories
    given = np.asarray(edges, dtype=np.float64)
    if not 1 <= given.size <= MOST_EDGES or not np.isfinite(given).all() or (np.diff(given) <= 0.0).any():
        raise InvalidInput(Fault("edges", f"are {list(edges)[:5]}", f"1 to {MOST_EDGES} finite numbers, ascending"))
    if factor.name == "month" and tuple(given) == tuple(range(2, 13)):
        return MONTHS
    between = [f"{low:.12g}..{high:.12g}" for low, high in pairwise(given)]
    return (f"under {given[0]:.12g}", *between, f"{given[-1]:.12g} and over")


def _codes(factor: Factor, values: AnyArray, edges: FloatArray, unknown: int) -> IntArray:
    known = factor.known(values)
    if factor.kind == "number":
        found = np.searchsorted(edges, values, side="right")
    elif factor.kind == "boolean":
        found = np.where(known, values, 0)
    else:
        places: Mapping[str, int] = {category: place for place, category in enumerate(factor.categories)}
        seen, which = np.unique(values, return_inverse=True)
        found = np.array([places.get(str(value), unknown) for value in seen], dtype=np.int64)[which]
    return np.where(known, found, unknown).astype(np.int64)
