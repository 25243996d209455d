"""Where a rule holds: sample so that nothing hides between two samples, then close in on every edge."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np

from tidecore.rules import Leaf, SpeciesRule
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import Timeline
from tidecore.units import BoolArray, FloatArray, IntArray
from tidecore.windows.axis import Axis, Places
from tidecore.windows.filtering import held_to
from tidecore.windows.rounds import Columns, Question, Search
from tidecore.windows.scorer import Scorer
from tidecore.windows.scoring import ROUNDING, membership_of
from tidecore.windows.tracks import Track, Tracks, distinct, slopes

#: Edges are found to this [microseconds].
EDGE_TOLERANCE_US = 50_000
#: Samples on both sides of an edge of a shape lie so far from where it is passed, about [microseconds].
_EDGE_SIDE_US = US_PER_SECOND
_FAN = np.linspace(0.0, 1.0, 9)
_EVEN_PARTS = np.linspace(0.0, 1.0, 18)[1:-1]
#: The secant has helped little where the bracket is still wider after a turn [microseconds].
_HELPED_US = 60 * US_PER_SECOND
#: A bracket narrower than this is split evenly: what changes in it is most often a jump [microseconds].
_NARROW_US = 5 * US_PER_SECOND


class Span(NamedTuple):
    """Where a rule holds, from ``start_us`` to before ``end_us``; cut at an end where it goes on beyond the search.

    On the axis of the search; ``place`` is that of the timeline.
    """

    place: int
    start_us: int
    end_us: int
    starts_before: bool
    ends_after: bool


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Instants in ascending order, the score at each, and how well each leaf that changes suits, by its place.

    ``steps`` says which of the even steps of their timelines are among them.
    """

    times_us: IntArray
    score: FloatArray
    suits: dict[int, FloatArray]
    steps: IntArray


class Judgement:
    """A rule at a mark: how well its leaves suit at instants, those that never change there worked out once."""

    def __init__(self, rule: SpeciesRule, timeline: Timeline, tracks: Tracks) -> None:
        """Look at every leaf along the tracks of the timeline."""
        self.rule, self.flow_reliable = rule, timeline.flow_reliable
        self.constant: dict[int, float] = {}
        self.moving: list[tuple[int, Leaf]] = []
        for k, leaf in enumerate(rule.tree.leaves):
            track = tracks.track(leaf.factor)
            same = track.once(leaf, self.flow_reliable, partial(self._same, leaf, track))
            if same is None:
                self.moving.append((k, leaf))
            else:
                self.constant[k] = same
        self.names = tuple(dict.fromkeys(leaf.factor for _, leaf in self.moving))

    @cached_property
    def scorer(self) -> Scorer:
        """The score of the rule."""
        return Scorer(self.rule, self.constant)

    def alike(self) -> Hashable:
        """Return what marks must have in common for one to stand for all of them."""
        constant = tuple((k, None if np.isnan(suits) else suits) for k, suits in self.constant.items())
        return id(self.rule), self.flow_reliable, constant

    def along(self, leaf: Leaf, track: Track) -> FloatArray:
        """Return how well a leaf suits along the track of its factor."""
        return membership_of(leaf, track.values, self.flow_reliable)

    def _same(self, leaf: Leaf, track: Track) -> float | None:
        """Return how well a leaf suits all along its track, None where that changes."""
        suits = self.along(leaf, track)
        low, high = float(suits.min()), float(suits.max())
        constant = np.isnan(suits).all() or (low == high and not track.meets(leaf.term.corners()))
        return low if constant else None

    def memberships(self, columns: Columns) -> dict[int, FloatArray]:
        """Return how well every leaf that changes suits, by its place."""
        return {k: membership_of(leaf, columns[leaf.factor], self.flow_reliable) for k, leaf in self.moving}

    def score(self, columns: Columns, count: int) -> FloatArray:
        """Return the score at ``count`` instants."""
        return self.scorer.score(self.memberships(columns), count)


def find_spans(
    judged: Judgement, axis: Axis, places: Places, kept: Mapping[int, Sequence[tuple[int, int]]]
) -> Search[tuple[list[Span], Samples]]:
    """Return where the score is at least the rule's threshold for its minimum duration, and the samples it rests on.

    ``judged`` stands for the timelines in ``places``. Only time in ``kept`` counts at those that are named there:
    ascending spans, those in which a filter is true.

    The search reaches beyond the span of the timelines by the minimum duration, so that a window which the span cuts
    is as long as it is, and is kept if only a part of it lies inside.
    """
    lead = round(judged.rule.minimum_duration_min * US_PER_MINUTE)
    span = axis.timelines[0].span
    samples = yield from _sampled(judged, axis, places, span.start_us - lead, span.end_us + lead)
    held = yield from _holding(judged, axis, samples)
    if kept:
        free = [(-(2**62), 2**62)]
        own = {k: [(start, end) for at, start, end in held if at == k] for k in places}
        held = [(k, *one) for k in places for one in held_to(own[k], axis.shifted(k, kept[k]) if k in kept else free)]
    # Two edges, each late by up to the tolerance.
    least = lead - 2 * EDGE_TOLERANCE_US
    spans = {place: (span.start_us + axis.shift_us(place), span.end_us + axis.shift_us(place)) for place in places}
    found = []
    for place, start, end in held:
        first, last = spans[place]
        if end - start >= least and start < last and end > first:
            found.append(Span(place, max(start, first), min(end, last), start < first, end > last))
    return found, samples


_NOTHING = Samples(np.empty(0, dtype=np.int64), np.empty(0), {}, np.empty(0, dtype=np.int64))


def _sampled(judged: Judgement, axis: Axis, places: Places, start_us: int, end_us: int) -> Search[Samples]:
    """Return samples of the score from ``start_us`` to ``end_us`` between which it does not cross and come back.

    Besides even steps: both sides of every instant at which a factor jumps or turns a corner, the extremes of every
    factor, the instants at which it passes a corner of its shape, both sides of each if that is an edge, and the
    extremes of the score that reach the threshold. Where a requirement alone keeps the score under the threshold there
    are no samples.
    """
    gates = {node.leaf for node in judged.rule.tree.require if node.mode == "term"}
    for k in gates & judged.constant.keys():
        if _gate(judged.rule, k, judged.constant[k]) < judged.rule.threshold - ROUNDING:
            return _NOTHING
    whole = _laid(axis, places, [np.array([[start_us, end_us]], dtype=np.int64)] * len(places))
    extras, alive = [whole.ravel()], [whole]
    for k, leaf in judged.moving:
        tracks = [axis.tracks[place].track(leaf.factor) for place in places]
        extras.append(_laid(axis, places, [track.extras_us for track in tracks]))
        passings = [track.once(leaf, "passings", partial(_passings, track, leaf)) for track in tracks]
        extras.append(_laid(axis, places, passings))
        if k in gates:
            key = judged.rule.threshold, judged.flow_reliable
            living = [track.once(leaf, key, partial(_alive, judged, k, leaf, track)) for track in tracks]
            alive.append(_laid(axis, places, living))
    runs = _common(alive)
    if not runs.size:
        return _NOTHING
    even, times = axis.even_us(places), np.concatenate(extras)
    times = distinct(times[_inside(times, runs)])
    steps = _places_inside(even, runs)
    fresh = times[even[np.minimum(np.searchsorted(even, times), even.size - 1)] != times]
    columns = yield Question(judged.names, fresh)
    times = np.concatenate((even[steps], fresh))
    order = np.argsort(times, kind="stable")
    merged = {name: np.concatenate((axis.even(name, places)[steps], columns[name]))[order] for name in judged.names}
    suits = judged.memberships(merged)
    samples = Samples(times[order], judged.scorer.score(suits, times.size), suits, steps)
    return (yield from _with_hidden_extremes(judged, samples))


def _laid(axis: Axis, places: Places, each: Sequence[IntArray]) -> IntArray:
    """Return instants of the timelines in some places as those of the axis."""
    return np.concatenate([times + axis.shift_us(place) for place, times in zip(places, each, strict=True)])


def _passings(track: Track, leaf: Leaf) -> IntArray:
    """Return when a factor passes the corners of its shape, about; just before and after if one is an edge."""
    corners = leaf.term.corners() if track.number else ()
    if not corners:
        return np.empty(0, dtype=np.int64)
    each = tuple(dict.fromkeys(corners))
    which, times = track.passing(each)
    passing, edges = np.rint(times).astype(np.int64), np.array([corners.count(corner) > 1 for corner in each])[which]
    return np.concatenate((passing[~edges], passing[edges] - _EDGE_SIDE_US, passing[edges] + _EDGE_SIDE_US))


def _gate(rule: SpeciesRule, leaf: int, suits: float) -> float:
    """Return what a requirement that is no group lets through for a membership."""
    if not np.isnan(suits):
        return suits
    term = rule.tree.leaves[leaf].term
    return {"exclude": 0.0, "ignore": 1.0, "penalise": term.penalty}[term.unknown]


def _alive(judged: Judgement, k: int, leaf: Leaf, track: Track) -> IntArray:
    """Return where a requirement may let the threshold through, as runs of samples of its factor, shape ``(n, 2)``."""
    suits, values, times = judged.along(leaf, track), track.values, track.times_us
    through = np.where(np.isnan(suits), _gate(judged.rule, k, np.nan), suits) >= judged.rule.threshold - ROUNDING
    # A number may go up and down its whole shape between two samples: then it passes a corner.
    between = through[1:] | through[:-1]
    if track.number:
        low, high = np.minimum(values[1:], values[:-1]), np.maximum(values[1:], values[:-1])
        for corner in dict.fromkeys(leaf.term.corners()):
            between |= (low <= corner) & (corner <= high)
    edges = np.diff(np.concatenate(([False], between, [False])).astype(np.int8))
    return np.stack((times[np.flatnonzero(edges == 1)], times[np.flatnonzero(edges == -1)]), axis=1)


def _common(runs: Sequence[IntArray]) -> IntArray:
    """Return what several sets of disjoint runs have in common, as runs, both ends included."""
    found = runs[0]
    for other in runs[1:]:
        if not (found.size and other.size):
            return np.empty((0, 2), dtype=np.int64)
        starts = distinct(np.concatenate((found[:, 0], other[:, 0])))
        ends = [
            np.append(one[:, 1], -1)[np.where(at < 0, -1, at)]
            for one in (found, other)
            for at in (np.searchsorted(one[:, 0], starts, side="right") - 1,)
        ]
        end = np.minimum(*ends)
        keep = end >= starts
        found = np.stack((starts[keep], end[keep]), axis=1)
    return found


def _inside(times: IntArray, runs: IntArray) -> BoolArray:
    """Return which instants lie in one of the runs, ends included."""
    at = np.searchsorted(runs[:, 0], times, side="right") - 1
    return np.asarray((at >= 0) & (times <= runs[at, 1]))


def _places_inside(ascending_us: IntArray, runs: IntArray) -> IntArray:
    """Return which of ascending instants lie in one of the runs, by their places."""
    edges = np.zeros(ascending_us.size + 1, dtype=np.int64)
    np.add.at(edges, ascending_us.searchsorted(runs[:, 0]), 1)
    np.add.at(edges, ascending_us.searchsorted(runs[:, 1], side="right"), -1)
    return np.flatnonzero(np.cumsum(edges[:-1]))


def _merged(samples: Samples, times_us: IntArray, score: FloatArray, more: Mapping[int, FloatArray]) -> Samples:
    """Return the samples with more of them, in any order."""
    times, chosen = np.unique(np.concatenate((samples.times_us, times_us)), return_index=True)
    suits = {k: np.concatenate((known, more[k]))[chosen] for k, known in samples.suits.items()}
    return Samples(times, np.concatenate((samples.score, score))[chosen], suits, samples.steps)


def _with_hidden_extremes(judged: Judgement, samples: Samples) -> Search[Samples]:
    """Return the samples with the peaks and dips of the score that reach over the threshold between two of them.

    A peak cannot rise above its middle sample by more than the slope on one side would over the other.
    """
    times, score, threshold = samples.times_us, samples.score, judged.rule.threshold - ROUNDING
    if times.size < 3:
        return samples
    before, after = score[:-2] - score[1:-1], score[2:] - score[1:-1]
    gaps = np.diff(times).astype(np.float64)
    left, right = gaps[:-1], gaps[1:]
    reach = np.maximum(np.abs(before) * np.maximum(right / left, 1.0), np.abs(after) * np.maximum(left / right, 1.0))
    near = slopes(times) & (np.abs(score[1:-1] - threshold) <= reach)
    held = score[1:-1] >= threshold
    found = np.flatnonzero(near & np.where(held, (before >= 0.0) & (after >= 0.0), (before <= 0.0) & (after <= 0.0)))
    sign = np.where(held[found], -1.0, 1.0)
    low, high = times[found].astype(np.float64), times[found + 2].astype(np.float64)
    while found.size:
        points = low[:, None] + (high - low)[:, None] * _FAN
        asked = np.rint(points).astype(np.int64)
        columns = yield Question(judged.names, asked.ravel())
        suits = judged.memberships(columns)
        scores = judged.scorer.score(suits, asked.size).reshape(asked.shape)
        rows, best = np.arange(found.size), np.argmax(scores * sign[:, None], axis=1)
        tops = scores[rows, best]
        crossed = (tops >= threshold) != (sign < 0.0)
        if crossed.any():
            place = (rows * _FAN.size + best)[crossed]
            here = {k: one[place] for k, one in suits.items()}
            samples = _merged(samples, asked.ravel()[place], tops[crossed], here)
        before, after = scores[rows, np.maximum(best - 1, 0)], scores[rows, np.minimum(best + 1, _FAN.size - 1)]
        gain = np.maximum(np.abs(tops - before), np.abs(tops - after))
        low, high = points[rows, np.maximum(best - 1, 0)], points[rows, np.minimum(best + 1, _FAN.size - 1)]
        open_ = ~crossed & (np.abs(tops - threshold) <= gain) & (high - low > US_PER_SECOND)
        found, sign, low, high = found[open_], sign[open_], low[open_], high[open_]
    return samples


def _holding(judged: Judgement, axis: Axis, samples: Samples) -> Search[list[tuple[int, int, int]]]:
    """Return where the score is at least the threshold, edges refined: the place of the timeline, start and end."""
    level = judged.rule.threshold - ROUNDING
    times, holds = samples.times_us, samples.score >= level
    if not holds.any():
        return []
    places = axis.places(times)
    apart = places[1:] != places[:-1]
    changes = np.flatnonzero((holds[1:] != holds[:-1]) & ~apart)
    borders = times[changes + 1].copy()
    ends = times[np.stack((changes, changes + 1), axis=1)].astype(np.float64)
    scores = samples.score[np.stack((changes, changes + 1), axis=1)]
    width = ends[:, 1] - ends[:, 0]
    narrow, turn = width <= _NARROW_US, 0
    open_ = np.flatnonzero(width > EDGE_TOLERANCE_US)
    while open_.size:
        # Evenly where it is narrow from the start, or the secant has helped little, or not closed it in two turns.
        wide = ends[open_, 1] - ends[open_, 0] > _HELPED_US
        evenly = narrow[open_] | (turn > 1) | ((turn == 1) & wide)
        rows = open_[~evenly], open_[evenly]
        looks = _guessed(ends[rows[0]], scores[rows[0]], level, turn), _spread(ends[rows[1]])
        times_us = np.rint(np.concatenate([points.ravel() for points in looks])).astype(np.int64)
        columns = yield Question(judged.names, times_us)
        found = np.split(judged.score(columns, times_us.size), [looks[0].size])
        for some, points, inner in zip(rows, looks, found, strict=True):
            ends[some], scores[some] = _narrowed(
                np.concatenate((ends[some, :1], points, ends[some, 1:]), axis=1),
                np.concatenate((scores[some, :1], inner.reshape(points.shape), scores[some, 1:]), axis=1),
                level,
            )
        borders[open_] = np.rint(ends[open_, 1]).astype(np.int64)
        open_, turn = open_[ends[open_, 1] - ends[open_, 0] > EDGE_TOLERANCE_US], turn + 1
    rising = holds[changes + 1]
    first, last = holds & np.append(True, apart), holds & np.append(apart, True)
    starts = np.sort(np.concatenate((borders[rising], times[first])))
    finishes = np.sort(np.concatenate((borders[~rising], times[last])))
    return list(zip(axis.places(starts).tolist(), starts.tolist(), finishes.tolist(), strict=True))


def _spread(ends: FloatArray) -> FloatArray:
    """Return instants evenly in brackets of an edge, ascending, shape ``(n, 16)``."""
    return ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * _EVEN_PARTS


def _guessed(ends: FloatArray, scores: FloatArray, threshold: float, turn: int) -> FloatArray:
    """Return instants in brackets of an edge at which to look next, ascending, shape ``(n, 4)``.

    About where the secant says, close and less close on both sides of that.
    """
    left, width = ends[:, :1], ends[:, 1:] - ends[:, :1]
    rise = scores[:, 1:] - scores[:, :1]
    part = np.clip((threshold - scores[:, :1]) / np.where(rise == 0.0, 1.0, rise), 0.01, 0.99)
    close = 0.005 * width if turn == 0 else np.full(width.shape, 0.45 * EDGE_TOLERANCE_US)
    sides = np.concatenate((-0.05 * width, -close, close, 0.05 * width), axis=1)
    guessed: FloatArray = left + np.sort(np.clip(part * width + sides, 0.001 * width, 0.999 * width), axis=1)
    return guessed


def _narrowed(points: FloatArray, scores: FloatArray, threshold: float) -> tuple[FloatArray, FloatArray]:
    """Return brackets of the first change in each row of instants, and the scores at their ends.

    Where the score meets the threshold to the last digit, an instant may be judged otherwise in another company of
    instants; the change is then at that end of the bracket.
    """
    state = scores >= threshold
    rows, changed = np.arange(points.shape[0]), np.argmax(state == state[:, -1:], axis=1)
    changed = np.maximum(changed, 1)
    pick = np.stack((changed - 1, changed), axis=1)
    return points[rows[:, None], pick], scores[rows[:, None], pick]
