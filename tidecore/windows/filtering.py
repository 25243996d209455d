"""Where a filter is true at a mark, so that windows can be held to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from tidecore.filters import Filter
from tidecore.roots.brackets import TimeFunction, refine, summits
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import Timeline, find_factor
from tidecore.units import BoolArray, FloatArray, IntArray

#: Samples lie no further apart than this, and than the second where parts of a filter jump of their own [microseconds].
_LONGEST_STEP_US, _JAGGED_STEP_US = 10 * US_PER_MINUTE, US_PER_MINUTE
#: Edges are found to this [microseconds].
_EDGE_TOLERANCE_US = 50_000
#: Where two sides of a comparison meet is found to this, and sampled at twice this on both sides [microseconds].
_SIDE_US = 4
_JUMP_US = US_PER_SECOND
_NEARLY = 1e-9
_PARTS = 60


def true_spans(within: Filter, timeline: Timeline, start_us: int, end_us: int) -> list[tuple[int, int]]:
    """Return where a filter is true from ``start_us`` to ``end_us``, ascending, edges within 0.1 s.

    Microseconds since 1970, up to a day outside the span of the timeline.

    Notes
    -----
    Samples are even and, besides, on both sides of every instant at which a column jumps or a time that the filter
    names has come, at the extremes of both sides of each comparison, and where these meet. What is true for less than
    a minute may be missed where a filter has ``div`` or ``%``, whose steps no column knows of.
    """
    times = _samples(within, timeline, start_us, end_us)
    true = _true_at(within, timeline, times)
    changes = np.flatnonzero(true[1:] != true[:-1])
    left, right = times[changes].astype(np.float64), times[changes + 1].astype(np.float64)
    while changes.size and (right - left).max() > _EDGE_TOLERANCE_US:
        left, right = _narrowed(within, timeline, left, right)
    borders = np.rint(right).astype(np.int64).tolist()
    if true[0]:
        borders.insert(0, int(times[0]))
    if true[-1]:
        borders.append(int(times[-1]))
    return [(start, end) for start, end in zip(borders[::2], borders[1::2], strict=True) if start < end]


def held_to(spans: Sequence[tuple[int, int]], others: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return where both of two lists of spans are, each ascending and without overlap."""
    return list(_shared(spans, others))


def say_filter(within: Filter, timeline: Timeline) -> str:
    """Return how a filter fared on the axis of a timeline, in words."""
    mask = within.mask_at(timeline, timeline.grid.times_us())
    if not mask.size:
        return "The span holds no instant of the timeline."
    said = f"The filter is true for {np.mean(mask == 1):.0%} of the span"
    unknown = float(np.mean(mask == -1))
    if unknown:
        columns = timeline.at(timeline.grid.times_us(), within.factor_names)
        named = [name for name in within.factor_names if not find_factor(name).known(columns[name]).all()]
        said += f" and unknown for {unknown:.0%} of it ({', '.join(named) or 'no result of its arithmetic'})"
    return f"{said}; windows lie where it is true."


def _shared(spans: Sequence[tuple[int, int]], others: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    one, other = 0, 0
    while one < len(spans) and other < len(others):
        start, end = max(spans[one][0], others[other][0]), min(spans[one][1], others[other][1])
        if start < end:
            yield start, end
        if spans[one][1] < others[other][1]:
            one += 1
        else:
            other += 1


def _true_at(within: Filter, timeline: Timeline, times: IntArray | FloatArray) -> BoolArray:
    return np.asarray(within.mask_at(timeline, times) == 1)


def _samples(within: Filter, timeline: Timeline, start_us: int, end_us: int) -> IntArray:
    """Return the instants at which the filter is looked at, ascending, from ``start_us`` to ``end_us``."""
    step = min(timeline.grid.step_us, _JAGGED_STEP_US if within.is_jagged else _LONGEST_STEP_US)
    even = np.arange(-(-start_us // step), end_us // step + 1, dtype=np.int64) * step
    breaks = np.concatenate((timeline.breaks_us(within.factor_names), within.instants_us))
    times = np.concatenate((even, breaks, breaks - 1, np.array([start_us, end_us], dtype=np.int64)))
    times = np.unique(times[(times >= start_us) & (times <= end_us)])
    times = np.union1d(times, _tops(within, timeline, times))
    times = np.union1d(times, _meetings(within, timeline, times))
    return times[(times >= start_us) & (times <= end_us)]


def _tops(within: Filter, timeline: Timeline, times: IntArray) -> IntArray:
    """Return the extremes of comparisons that may reach over their level between two samples."""
    gaps = np.diff(times) > _JUMP_US
    places, leaves, signs = [], [], []
    for k, margin in enumerate(_margins(within, timeline, times)):
        before, after, inner = margin[:-2] - margin[1:-1], margin[2:] - margin[1:-1], margin[1:-1]
        near = gaps[1:] & gaps[:-1] & (np.abs(inner) <= 2.0 * np.maximum(np.abs(before), np.abs(after)))
        dips = np.flatnonzero(near & (inner >= 0.0) & (before >= 0.0) & (after >= 0.0))
        peaks = np.flatnonzero(near & (inner <= 0.0) & (before <= 0.0) & (after <= 0.0))
        places += [dips, peaks]
        leaves.append(np.full(dips.size + peaks.size, k))
        signs += [np.full(dips.size, -1.0), np.full(peaks.size, 1.0)]
    at = np.concatenate([np.empty(0, dtype=np.int64), *places])
    if not at.size:
        return at
    curve = _margin(within, timeline, np.concatenate(leaves), np.concatenate(signs))
    found = summits(curve, times[at], times[at + 2], 0.5 * US_PER_SECOND).times_us
    return np.asarray(np.rint(found).astype(np.int64))


def _meetings(within: Filter, timeline: Timeline, times: IntArray) -> IntArray:
    """Return instants just before and just after the two sides of a comparison meet between two samples."""
    gaps = np.diff(times) > _JUMP_US
    places = [np.flatnonzero(gaps & (margin[:-1] * margin[1:] < 0.0)) for margin in _margins(within, timeline, times)]
    at = np.concatenate([np.empty(0, dtype=np.int64), *places])
    if not at.size:
        return at
    leaves = np.repeat(np.arange(len(places)), [found.size for found in places])
    met = refine(_margin(within, timeline, leaves, np.ones(at.size)), times[at], times[at + 1], _SIDE_US)
    # What turns out to be unknown on the way meets nothing; the edge of the unknown is an edge of the filter.
    met = met[np.isfinite(met)]
    return np.asarray(np.rint(np.concatenate((met - 2 * _SIDE_US, met + 2 * _SIDE_US))).astype(np.int64))


def _margins(within: Filter, timeline: Timeline, times: IntArray) -> Iterator[FloatArray]:
    """Return how far the left side of each comparison is above its right one; 0 where they meet to the last digits."""
    columns = within.columns_at(timeline, times)
    for leaf in within.orders:
        margin = np.broadcast_to(leaf.margin(columns), times.shape)
        size = np.maximum(1.0, np.abs(np.broadcast_to(leaf.left.values(columns), times.shape)))
        yield np.where(np.abs(margin) < _NEARLY * size, 0.0, margin)


def _margin(within: Filter, timeline: Timeline, leaves: IntArray, signs: FloatArray) -> TimeFunction:
    """Return as a function of time what each bracket looks at: the margin of its comparison, times its sign."""

    def margin(at: FloatArray) -> FloatArray:
        # As many instants a bracket as are asked for, those of one beside each other.
        each = at.size // leaves.size
        rows, columns, found = np.repeat(leaves, each), within.columns_at(timeline, at), np.empty(at.size)
        for k in np.unique(leaves):
            mine = rows == k
            found[mine] = within.orders[k].margin({name: values[mine] for name, values in columns.items()})
        return np.asarray(np.repeat(signs, each) * found)

    return margin


def _narrowed(within: Filter, timeline: Timeline, left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return brackets of the first change in each bracket, 60 times narrower."""
    points = left[:, None] + (right - left)[:, None] * np.linspace(0.0, 1.0, _PARTS + 1)
    state = _true_at(within, timeline, points.ravel()).reshape(points.shape)
    rows, changed = np.arange(left.size), np.argmax(state == state[:, -1:], axis=1)
    changed = np.maximum(changed, 1)
    return points[rows, changed - 1], points[rows, changed]
