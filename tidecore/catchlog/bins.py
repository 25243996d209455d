"""When a factor of a timeline lies in which bin: spans of time, with edges finer than the timeline's step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from tidecore.units import AnyArray, FloatArray, IntArray

#: The bin of time at which the factor is unknown.
UNKNOWN = "unknown"
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
        ``"under 1"`` and ``"2 and over"``, are open.

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
    factor = find_factor(name)
    names = (*_names(factor, edges), UNKNOWN)
    span = timeline.span

    def codes(times: FloatArray | IntArray) -> IntArray:
        return _codes(factor, timeline.at(times, [name])[name], np.asarray(edges, dtype=np.float64), len(names) - 1)

    ends = sample_times(span.start_us, span.end_us, SAMPLED_US)
    # Both sides of every instant from which the factor has jumped.
    breaks = timeline.breaks_us([name])
    times = np.unique(np.concatenate((np.rint(ends).astype(np.int64), breaks, breaks - 1)))
    times = times[(times >= span.start_us) & (times <= span.end_us)]
    found = codes(times)
    at = np.flatnonzero(found[1:] != found[:-1])
    turned = edges_between(lambda t: codes(t) == found[at + 1], times[at], times[at + 1], EDGE_US)
    borders = np.concatenate(([span.start_us], np.rint(turned).astype(np.int64), [span.end_us]))
    rows, bins = np.column_stack((borders[:-1], borders[1:])), np.concatenate((found[:1], found[at + 1]))
    return {label: merged(rows[bins == place]) for place, label in enumerate(names)}


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


def _names(factor: Factor, edges: Sequence[float]) -> tuple[str, ...]:
    if factor.kind != "number":
        if len(edges):
            raise InvalidInput(Fault("edges", f"are given of {factor.name}, a {factor.kind}", "no edges"))
        return ("false", "true") if factor.kind == "boolean" else factor.categories
    given = np.asarray(edges, dtype=np.float64)
    if not 1 <= given.size <= MOST_EDGES or not np.isfinite(given).all() or (np.diff(given) <= 0.0).any():
        raise InvalidInput(Fault("edges", f"are {list(edges)[:5]}", f"1 to {MOST_EDGES} finite numbers, ascending"))
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
        found = np.array([places.get(str(value), unknown) for value in values])
    return np.where(known, found, unknown).astype(np.int64)
