"""Where windows are weighed: the instants that their integrals rest on, the scores there, and the integrals."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray
from tidecore.windows.rounds import Question, Search
from tidecore.windows.scoring import Scores, score_memberships
from tidecore.windows.spans import EDGE_TOLERANCE_US, Judgement, Samples, Span
from tidecore.windows.tracks import distinct

#: Scores nearer than this are equal, and losses below it none.
EQUAL = 1e-9
#: Where the score is further than this from a straight line between two samples, whole minutes are looked at.
_BENT = 0.004
#: Whole minutes on both sides of the ends of a best hour.
_ABOUT_MIN = 3
_HOUR_MIN = US_PER_HOUR // US_PER_MINUTE
#: Turns in which a sharp top is closed in on.
_TURNS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Slices:
    """Instants of all windows in ascending order, those of window ``k`` from ``bounds[k]`` to before ``bounds[k + 1]``.

    ``weights`` make the integral over a window of values at its instants.
    """

    times_us: IntArray
    bounds: IntArray
    weights: FloatArray
    lengths: FloatArray

    @classmethod
    def of(cls, times_us: IntArray, spans: list[Span]) -> Slices:
        """Return the trapezoidal rule over spans; the last instant of each stands for its end, no part of it."""
        starts = np.searchsorted(times_us, np.array([span.start_us for span in spans]))
        bounds = np.append(starts, times_us.size)
        ends = times_us.astype(np.float64)
        ends[bounds[1:] - 1] = [span.end_us for span in spans]
        half = 0.5 * np.diff(ends)
        half[bounds[1:-1] - 1] = 0.0
        weights = np.append(half, 0.0) + np.append(0.0, half)
        lengths = np.add.reduceat(weights, starts)
        # A window of one instant.
        alone = np.flatnonzero(lengths == 0.0)
        weights[starts[alone]] = lengths[alone] = 1.0
        return cls(times_us, bounds, weights, lengths)

    def sums(self, values: FloatArray) -> FloatArray:
        """Return the integral of ``values`` over each window, along the last axis."""
        return np.asarray(np.add.reduceat(values * self.weights, self.bounds[:-1], axis=-1))

    def means(self, values: FloatArray) -> FloatArray:
        """Return the mean of ``values`` over each window, along the last axis."""
        return np.asarray(self.sums(values) / self.lengths)


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class Weighed:
    """Windows of one rule: the scores at their instants, and by them what the windows are worth."""

    scores: Scores
    slices: Slices

    @cached_property
    def peaks(self) -> IntArray:
        """The place of the highest score of each window, the first of equals."""
        return first_best(self.scores.score, self.slices.bounds)

    @cached_property
    def losses(self) -> FloatArray:
        """The mean loss of each leaf over each window, shape ``(leaves, windows)``."""
        return self.slices.means(self.scores.losses)

    @cached_property
    def limiting(self) -> list[str | None]:
        """The factor whose terms cost most in each window, the first of equals; None if nothing was lost."""
        by_factor: dict[str, FloatArray] = {}
        for leaf, losses in zip(self.scores.rule.tree.leaves, self.losses, strict=True):
            known = by_factor.get(leaf.factor)
            by_factor[leaf.factor] = losses if known is None else known + losses
        names, each = list(by_factor), np.array(list(by_factor.values()))
        worst = zip(each.argmax(axis=0).tolist(), each.max(axis=0).tolist(), strict=True)
        return [names[k] if loss > EQUAL else None for k, loss in worst]


def weigh(judged: Judgement, spans: list[Span], samples: Samples) -> Search[Weighed]:
    """Search for what the spans in which a rule holds are worth.

    Means are integrals by the trapezoidal rule over every sample of the search, which holds both sides of every jump,
    the middles between them, and whole minutes where the score bends: within 1e-3 of the truth.
    """
    times, scores = yield from _scored(judged, spans, samples)
    return Weighed(scores, Slices.of(times, spans))


def _scored(judged: Judgement, spans: list[Span], samples: Samples) -> Search[tuple[IntArray, Scores]]:
    """Return the instants over which windows are integrated, in all of which the rule holds, and the scores there."""
    # The rule still holds so far before the edge that was found.
    ends = np.array([(span.start_us, max(span.start_us, span.end_us - EDGE_TOLERANCE_US - 1)) for span in spans])
    samples_us, suits = _about(samples, ends)
    within = np.searchsorted(ends[:, 0], samples_us, side="right") - 1
    sampled = samples_us[(within >= 0) & (samples_us < ends[within, 1])]
    times = distinct(np.concatenate((ends.ravel(), sampled)))
    starts = np.searchsorted(times, ends[:, 0])
    gaps = np.diff(times)
    wide = gaps > US_PER_MINUTE
    wide[starts[1:] - 1] = False
    middles = times[:-1][wide] + gaps[wide] // 2
    times = distinct(np.concatenate((times, middles)))
    # What the search has sampled is known already.
    at = np.minimum(np.searchsorted(samples_us, times), samples_us.size - 1)
    new = samples_us[at] != times
    found = yield from _judged(judged, times[new])
    memberships = {k: one[at] for k, one in suits.items()}
    for k, one in memberships.items():
        one[new] = found[k]
    for turn in range(_TURNS):
        score = judged.scorer.score(memberships, times.size)
        more = [_tops(times, score, np.searchsorted(times, ends[:, 0]))]
        more.append(_bends(times, score, middles) if turn == 0 else _hour_ends(times, score, spans))
        fresh = distinct(np.concatenate(more))
        fresh = fresh[times[np.minimum(np.searchsorted(times, fresh), times.size - 1)] != fresh]
        if fresh.size:
            found = yield from _judged(judged, fresh)
            times = np.concatenate((times, fresh))
            order = np.argsort(times)
            times = times[order]
            memberships = {k: np.concatenate((memberships[k], found[k]))[order] for k in memberships}
    return times, score_memberships(judged.rule, judged.scorer.memberships(memberships, times.size))


def _about(samples: Samples, ends: IntArray) -> tuple[IntArray, dict[int, FloatArray]]:
    """Return the samples from the first of some spans to the last, and how well each leaf that changes suits there."""
    first, last = np.searchsorted(samples.times_us, (ends[0, 0], ends[-1, 1])).tolist()
    part = slice(min(first, samples.times_us.size - 1), last + 1)
    return samples.times_us[part], {k: one[part] for k, one in samples.suits.items()}


def _judged(judged: Judgement, times_us: IntArray) -> Search[dict[int, FloatArray]]:
    """Return how well every leaf that changes suits at instants, by its place."""
    columns = yield Question(judged.names, times_us)
    return judged.memberships(columns)


def _bends(times: IntArray, score: FloatArray, middles: IntArray) -> IntArray:
    """Return the whole minutes on both sides of middles that lie off the line between their neighbours."""
    k = np.searchsorted(times, middles)
    off = np.abs(score[k] - 0.5 * (score[k - 1] + score[k + 1])) > _BENT
    first, last = -(-times[k[off] - 1] // US_PER_MINUTE), times[k[off] + 1] // US_PER_MINUTE
    found = [np.arange(one, other + 1) for one, other in zip(first.tolist(), last.tolist(), strict=True)]
    return np.concatenate(found).astype(np.int64) * US_PER_MINUTE if found else np.empty(0, dtype=np.int64)


def _hour_ends(times: IntArray, score: FloatArray, spans: list[Span]) -> IntArray:
    """Return the whole minutes about both ends of the best hours: where they lie shows in these alone."""
    starts, _, fits = best_starts(spans, Slices.of(times, spans), score)
    starts = starts[fits]
    near = (np.arange(-_ABOUT_MIN, _ABOUT_MIN + 1) * US_PER_MINUTE)[:, None]
    found = np.concatenate(((starts + near).ravel(), (starts + US_PER_HOUR + near).ravel()))
    limits = np.array([[span.start_us, span.end_us - EDGE_TOLERANCE_US - 1] for span in spans], dtype=np.int64)
    k = np.searchsorted(limits[:, 0], found, side="right") - 1
    return np.asarray(found[(k >= 0) & (found < limits[k, 1])])


def first_best(values: FloatArray, bounds: IntArray) -> IntArray:
    """Return the place of the highest value from each bound to before the next, the first of equals."""
    tops = np.maximum.reduceat(values, bounds[:-1])
    equal = np.flatnonzero(values >= np.repeat(tops, np.diff(bounds)) - EQUAL)
    return np.asarray(equal[np.searchsorted(equal, bounds[:-1])])


def _tops(times: IntArray, score: FloatArray, starts: IntArray) -> IntArray:
    """Return where sharp tops of windows may be: of the parabola, of the lines on both sides, and between samples."""
    bounds = np.append(starts, times.size)
    best = first_best(score, bounds)
    first, last = bounds[:-1], bounds[1:] - 1
    inner = (best - 1 >= first) & (best + 1 <= last)
    best, first, last = best[inner], first[inner], last[inner]
    sharp = (score[best] < 1.0 - EQUAL) & (score[best + 1] < score[best] - EQUAL)
    best, first, last = best[sharp], first[sharp], last[sharp]
    at = times.astype(np.float64)
    left, right = at[best] - at[best - 1], at[best + 1] - at[best]
    rise, fall = (score[best] - score[best - 1]) / left, (score[best] - score[best + 1]) / right
    vertex = at[best] + 0.5 * (rise * right - fall * left) / (rise + fall)
    # Of two lines that meet: through the two samples before and the two after, the top itself on either side.
    outer_left, outer_right = np.maximum(best - 2, first), np.minimum(best + 2, last)
    with np.errstate(divide="ignore", invalid="ignore"):
        up = (score[best - 1] - score[outer_left]) / (at[best - 1] - at[outer_left])
        down = (score[best + 1] - score[outer_right]) / (at[outer_right] - at[best + 1])
        after = at[best] + (score[best + 1] + down * right - score[best]) / (rise + down)
        before = at[best] - (score[best - 1] + up * left - score[best]) / (up + fall)
    found = np.concatenate((vertex, after, before, at[best] - 0.5 * left, at[best] + 0.5 * right))
    low, high = np.tile(at[best - 1], 5), np.tile(at[best + 1], 5)
    keep = (found > low) & (found < high)
    return distinct(np.rint(found[keep]).astype(np.int64))


def best_starts(spans: list[Span], slices: Slices, score: FloatArray) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return when the best 60 minutes of each window start, their mean score, and whether there are any."""
    ends = np.array([[span.start_us, span.end_us] for span in spans], dtype=np.int64)
    times = slices.times_us.astype(np.float64)
    times[slices.bounds[1:] - 1] = ends[:, 1]
    steps = 0.5 * (score[1:] + score[:-1]) * np.diff(times)
    # Time between windows is worth nothing: the less is summed up, the more digits its differences have.
    steps[slices.bounds[1:-1] - 1] = 0.0
    total = np.append(0.0, np.cumsum(steps))
    first, last = -(-ends[:, 0] // US_PER_MINUTE), (ends[:, 1] - US_PER_HOUR) // US_PER_MINUTE
    counts = np.maximum(last - first + 1, 0)
    fits = counts > 0
    bounds = np.append(0, np.cumsum(counts))
    # An hour ends where another starts: each whole minute is looked at once.
    lengths = np.where(fits, counts + _HOUR_MIN, 0)
    begins = np.cumsum(lengths) - lengths
    minutes = (np.arange(lengths.sum()) + np.repeat(first - begins, lengths)) * US_PER_MINUTE
    until = np.interp(minutes, times, total)
    at = np.arange(bounds[-1]) + np.repeat(begins - bounds[:-1], counts)
    starts, means = minutes[at], (until[at + _HOUR_MIN] - until[at]) / US_PER_HOUR
    best_starts, best_means = np.zeros(len(spans), dtype=np.int64), np.zeros(len(spans))
    if fits.any():
        best = first_best(means, np.append(bounds[:-1][fits], bounds[-1]))
        best_starts[fits], best_means[fits] = starts[best], means[best]
    return best_starts, best_means, fits
