"""Where a rule holds: sample so that nothing hides between two samples, then close in on every edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.filters import Filter
from tidecore.roots.brackets import TimeCondition, refine, summits
from tidecore.rules import Requirement, SpeciesRule
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import Timeline, find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray
from tidecore.windows.filtering import held_to, true_spans
from tidecore.windows.scoring import ROUNDING, score_at, score_columns

#: Samples lie no further apart than this, whatever the step of the timeline [microseconds].
LONGEST_STEP_US = 10 * US_PER_MINUTE
#: Edges are found to this [microseconds].
EDGE_TOLERANCE_US = 50_000
_PARTS = 60
#: An edge of a shape is passed within this, and sampled at twice this on both sides [microseconds].
_EDGE_SIDE_US = 4
_NEARLY = 1e-9
#: Samples nearer than this are two sides of a jump, not a slope [microseconds].
_JUMP_US = US_PER_SECOND


@dataclass(frozen=True, slots=True)
class Span:
    """Where a rule holds, from ``start_us`` to before ``end_us``; cut at an end where it goes on beyond the search."""

    start_us: int
    end_us: int
    starts_before: bool
    ends_after: bool


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Instants in ascending order, and the score at each."""

    times_us: IntArray
    score: FloatArray


def find_spans(rule: SpeciesRule, timeline: Timeline, within: Filter | None = None) -> tuple[list[Span], Samples]:
    """Return where the score is at least the rule's threshold for its minimum duration, and the samples it rests on.

    Where a filter is given, ``within`` which windows lie, only time in which it is true counts.

    The search reaches beyond the span of the timeline by the minimum duration, so that a window which the span cuts
    is as long as it is, and is kept if only a part of it lies inside.
    """
    lead = round(rule.minimum_duration_min * US_PER_MINUTE)
    first, last = timeline.span.start_us, timeline.span.end_us
    samples = sample_score(rule, timeline, first - lead, last + lead)
    holding = _holding(rule, timeline, samples)
    if within is not None and holding:
        holding = held_to(holding, true_spans(within, timeline, holding[0][0], holding[-1][1]))
    found = []
    for start, end in holding:
        # Two edges, each late by up to the tolerance.
        long_enough = end - start >= lead - 2 * EDGE_TOLERANCE_US
        if long_enough and start < last and end > first:
            found.append(Span(max(start, first), min(end, last), start < first, end > last))
    return found, samples


def sample_score(rule: SpeciesRule, timeline: Timeline, start_us: int, end_us: int) -> Samples:
    """Return samples of the score from ``start_us`` to ``end_us`` between which it does not cross and come back.

    Besides even steps: both sides of every instant at which a factor jumps or turns a corner, the extremes of every
    factor, the instants at which it passes a corner of its shape, both sides of each if that is an edge, and the
    extremes of the score that reach the threshold.
    """
    step = min(timeline.grid.step_us, LONGEST_STEP_US)
    even = np.arange(-(-start_us // step), end_us // step + 1, dtype=np.int64) * step
    breaks = timeline.breaks_us(rule.factor_names)
    ends = np.array([start_us, end_us, timeline.span.start_us, timeline.span.end_us], dtype=np.int64)
    times = np.unique(np.concatenate((even, ends, breaks, breaks - 1)))
    times = times[(times >= start_us) & (times <= end_us)]
    axis = _Axis(times, timeline.at(times, rule.factor_names))
    terms = [term for term in rule.terms if find_factor(term.factor).kind == "number"]
    axis = axis.joined(timeline, [_extremes(axis.times_us, axis.columns[term.factor]) for term in terms])
    axis = axis.joined(timeline, [found for term in terms for found in _passing(timeline, term, axis)])
    score = score_columns(rule, axis.columns, flow_reliable=timeline.flow_reliable).score
    return _with_hidden_extremes(rule, timeline, Samples(axis.times_us, score))


@dataclass(frozen=True, slots=True, eq=False)
class _Axis:
    """Instants in ascending order, and factors at them."""

    times_us: IntArray
    columns: dict[str, AnyArray]

    def joined(self, timeline: Timeline, more: list[FloatArray]) -> _Axis:
        """Return the axis with more instants on it."""
        new = np.setdiff1d(np.rint(np.concatenate([np.empty(0), *more])).astype(np.int64), self.times_us)
        columns = timeline.at(new, tuple(self.columns))
        times = np.concatenate((self.times_us, new))
        order = np.argsort(times)
        return _Axis(
            times[order], {name: np.concatenate((self.columns[name], columns[name]))[order] for name in columns}
        )


def _merged(samples: Samples, times_us: IntArray, score: FloatArray) -> Samples:
    """Return the samples with more of them."""
    times = np.concatenate((samples.times_us, times_us))
    times, chosen = np.unique(times, return_index=True)
    return Samples(times, np.concatenate((samples.score, score))[chosen])


def _slopes(times: IntArray) -> BoolArray:
    """Return for each inner sample whether it has a slope, no jump, on both sides."""
    gaps = np.diff(times) > _JUMP_US
    return gaps[1:] & gaps[:-1]


def _extremes(times: IntArray, values: FloatArray) -> FloatArray:
    """Return the extremes of a smooth factor, as those of the parabola through three samples."""
    before, after = values[:-2] - values[1:-1], values[2:] - values[1:-1]
    k = np.flatnonzero(_slopes(times) & (before * after >= 0.0) & (before + after != 0.0))
    left, right = (times[k] - times[k + 1]).astype(np.float64), (times[k + 2] - times[k + 1]).astype(np.float64)
    fall, rise = before[k], after[k]
    offset = 0.5 * (left**2 * rise - right**2 * fall) / (left * rise - right * fall)
    found: FloatArray = times[k + 1].astype(np.float64) + np.clip(offset, left, right)
    return found


def _passing(timeline: Timeline, term: Requirement, axis: _Axis) -> list[FloatArray]:
    """Return when a factor passes the corners of its shape: about when, or just before and after if it is an edge."""
    factor, times = find_factor(term.factor), axis.times_us
    values, found = axis.columns[factor.name], []
    gaps = np.diff(times)
    corners = term.shape.corners(factor)
    edge_levels, lefts = [np.empty(0)], [np.empty(0, dtype=np.int64)]
    for corner in dict.fromkeys(corners):
        above = values - corner
        # What meets a corner to the last digits has passed it already.
        above[np.abs(above) < _NEARLY * max(1.0, abs(corner))] = 0.0
        k = np.flatnonzero((gaps > _JUMP_US) & (above[:-1] * above[1:] < 0.0))
        if corners.count(corner) > 1:
            edge_levels.append(np.full(k.size, corner))
            lefts.append(k)
        else:
            found.append(times[k] + gaps[k] * (above[k] / (above[k] - above[k + 1])))
    levels, left = np.concatenate(edge_levels), np.concatenate(lefts)
    if left.size:
        crossing = refine(
            lambda at: timeline.at(at, [factor.name])[factor.name] - levels, times[left], times[left + 1], _EDGE_SIDE_US
        )
        found += [crossing - 2 * _EDGE_SIDE_US, crossing + 2 * _EDGE_SIDE_US]
    return found


def _with_hidden_extremes(rule: SpeciesRule, timeline: Timeline, samples: Samples) -> Samples:
    """Return the samples with the peaks and dips of the score that reach over the threshold between two of them."""
    times, score, threshold = samples.times_us, samples.score, rule.threshold - ROUNDING
    before, after = score[:-2] - score[1:-1], score[2:] - score[1:-1]
    inner, slopes = score[1:-1], _slopes(times)
    reach = 2.0 * np.maximum(np.abs(before), np.abs(after))
    near = slopes & (np.abs(inner - threshold) <= reach)
    dips = np.flatnonzero(near & (inner >= threshold) & (before >= 0.0) & (after >= 0.0))
    peaks = np.flatnonzero(near & (inner < threshold) & (before <= 0.0) & (after <= 0.0))
    for sign, found in ((-1.0, dips), (1.0, peaks)):
        if found.size:
            lead = summits(
                lambda at, sign=sign: sign * score_at(rule, timeline, at).score,  # type: ignore[misc]
                times[found],
                times[found + 2],
                0.5 * US_PER_SECOND,
            )
            values = sign * lead.values
            crossing = (values >= threshold) != (score[found + 1] >= threshold)
            samples = _merged(samples, np.rint(lead.times_us[crossing]).astype(np.int64), values[crossing])
    return samples


def _holding(rule: SpeciesRule, timeline: Timeline, samples: Samples) -> list[tuple[int, int]]:
    """Return the spans of the samples in which the score is at least the threshold, edges refined."""
    times, holds = samples.times_us, samples.score >= rule.threshold - ROUNDING
    changes = np.flatnonzero(holds[1:] != holds[:-1])

    def condition(at: FloatArray) -> BoolArray:
        return score_at(rule, timeline, at).holds

    left, right = times[changes].astype(np.float64), times[changes + 1].astype(np.float64)
    while changes.size and (right - left).max() > EDGE_TOLERANCE_US:
        left, right = _narrowed(condition, left, right)
    borders = np.rint(right).astype(np.int64).tolist()
    if holds[0]:
        borders.insert(0, int(times[0]))
    if holds[-1]:
        borders.append(int(times[-1]))
    return list(zip(borders[::2], borders[1::2], strict=True))


def _narrowed(condition: TimeCondition, left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return brackets of the first change in each bracket, 60 times narrower.

    Few calls of many instants are cheaper than halving. Where the score meets the threshold to the last digit, an
    instant may be judged otherwise in another company of instants; the change is then at that end of the bracket.
    """
    points = left[:, None] + (right - left)[:, None] * np.linspace(0.0, 1.0, _PARTS + 1)
    state = condition(points.ravel()).reshape(points.shape)
    rows, changed = np.arange(left.size), np.argmax(state == state[:, -1:], axis=1)
    changed = np.maximum(changed, 1)
    return points[rows, changed - 1], points[rows, changed]
