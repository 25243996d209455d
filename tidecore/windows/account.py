"""What a window is worth: its means, its peak and best hour, and what each factor gave or took."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tidecore.rules import Preference, Requirement, SpeciesRule
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND, from_microseconds
from tidecore.timeline import KeyTime, Timeline, find_factor
from tidecore.units import FloatArray, IntArray
from tidecore.windows.scoring import Scores, score_at
from tidecore.windows.spans import EDGE_TOLERANCE_US, Samples, Span
from tidecore.windows.window import BestHour, Contribution, Role, UnknownTerm, Window

#: Scores nearer than this are equal, and losses below it none.
_EQUAL = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Slices:
    """Instants of one window, first to last, and the weights that make the integral over it of values at them."""

    times_us: IntArray
    weights: FloatArray

    @classmethod
    def of(cls, times_us: IntArray, span: Span) -> _Slices:
        """Return the trapezoidal rule over a span; the last instant stands for its end, which is no part of it."""
        if times_us.size == 1:
            return cls(times_us, np.array([float(span.end_us - span.start_us)]))
        ends = times_us.astype(np.float64)
        ends[-1] = span.end_us
        half = 0.5 * np.diff(ends)
        return cls(times_us, np.append(half, 0.0) + np.append(0.0, half))

    def mean(self, values: FloatArray) -> float:
        """Return the mean of ``values`` over the window."""
        return float(self.weights @ values / self.weights.sum())


def account(rule: SpeciesRule, timeline: Timeline, spans: list[Span], samples: Samples) -> list[Window]:
    """Return the windows of the spans in which a rule holds, each with its account.

    Means are integrals by the trapezoidal rule over whole minutes, both ends, and every sample of the search, which
    holds both sides of every jump: within 1e-4 of the truth, 1e-3 where a factor crosses a whole ramp in a minute.
    """
    if not spans:
        return []
    instants = [_instants(span, samples.times_us) for span in spans]
    scores = score_at(rule, timeline, np.concatenate(instants))
    bounds = np.cumsum([0, *(times.size for times in instants)])
    events = timeline.events()
    events_us = np.array([event.time for event in events], dtype="datetime64[us]").view(np.int64)
    parts = [slice(first, last) for first, last in pairwise(bounds.tolist())]
    peaks = _peaks(rule, timeline, instants, [scores.score[part] for part in parts])
    windows = []
    for k, (span, part) in enumerate(zip(spans, parts, strict=True)):
        mine = Scores(
            rule, scores.score[part], scores.memberships[:, part], scores.losses[:, part], scores.excluded[part]
        )
        first, last = np.searchsorted(events_us, (span.start_us, span.end_us))
        windows.append(_window(timeline, span, _Slices.of(instants[k], span), mine, peaks[k], events[first:last]))
    return windows


def _instants(span: Span, samples_us: IntArray) -> IntArray:
    """Return the instants over which a window is integrated, in all of which the rule holds."""
    # The rule still holds so far before the edge that was found.
    last = max(span.start_us, span.end_us - EDGE_TOLERANCE_US - 1)
    minutes = np.arange(-(-span.start_us // US_PER_MINUTE), last // US_PER_MINUTE + 1, dtype=np.int64) * US_PER_MINUTE
    sampled = samples_us[(samples_us >= span.start_us) & (samples_us < last)]
    return np.unique(np.concatenate((minutes, sampled, np.array([span.start_us, last], dtype=np.int64))))


def _peaks(
    rule: SpeciesRule, timeline: Timeline, instants: list[IntArray], scores: list[FloatArray]
) -> list[tuple[float, int]]:
    """Return the highest score of each window and the first instant that has it, sharp tops sought to the second."""
    peaks, around = [], []
    for times, score in zip(instants, scores, strict=True):
        k = int(np.argmax(score >= score.max() - _EQUAL))
        peaks.append((float(score[k]), int(times[k])))
        left, right = max(k - 1, 0), min(k + 1, times.size - 1)
        flat = score[k] >= 1.0 - _EQUAL or score[right] >= score[k] - _EQUAL
        around.append(np.arange(times[left] + 1, 0 if flat else times[right], US_PER_SECOND, dtype=np.int64))
    finer = score_at(rule, timeline, np.concatenate(around)).score
    first = 0
    for k, times in enumerate(around):
        score = finer[first : first + times.size]
        first += times.size
        if times.size and score.max() > peaks[k][0]:
            best = int(np.argmax(score >= score.max() - _EQUAL))
            peaks[k] = (float(score[best]), int(times[best]))
    return peaks


def _window(
    timeline: Timeline,
    span: Span,
    slices: _Slices,
    scores: Scores,
    peak: tuple[float, int],
    inside: tuple[KeyTime, ...],
) -> Window:
    """Return the account of one window."""
    start, end, peak_time = from_microseconds(np.array([span.start_us, span.end_us, peak[1]]))
    contributions = _contributions(scores, slices)
    looks = any(find_factor(name).of_the_stream for name in scores.rule.factor_names)
    return Window(
        start=start,
        end=end,
        starts_before=span.starts_before,
        ends_after=span.ends_after,
        peak_score=peak[0],
        peak_time=peak_time,
        mean_score=slices.mean(scores.score),
        limiting_factor=_limiting(contributions),
        contributions=contributions,
        best_hour=_best_hour(span, slices, scores.score),
        key_times=inside,
        unknowns=unknown_terms(scores, slices.weights, timeline),
        flow_reliable=timeline.flow_reliable if looks else None,
    )


def _contributions(scores: Scores, slices: _Slices) -> tuple[Contribution, ...]:
    """Return what each term gave and took."""
    found = []
    for term, membership, losses in zip(scores.rule.terms, scores.memberships, scores.losses, strict=True):
        known = ~np.isnan(membership)
        weight = float(slices.weights[known].sum())
        mean = float(slices.weights[known] @ membership[known]) / weight if weight > 0.0 else None
        found.append(Contribution(term.factor, role_of(term), mean, slices.mean(losses)))
    return tuple(found)


def role_of(term: Requirement) -> Role:
    """Return whether a term gates or weighs."""
    return "prefer" if isinstance(term, Preference) else "require"


def _limiting(contributions: tuple[Contribution, ...]) -> str | None:
    """Return the factor that cost most over all its terms, the first of equals; None if nothing was lost."""
    losses: dict[str, float] = {}
    for given in contributions:
        losses[given.factor] = losses.get(given.factor, 0.0) + given.mean_loss
    worst = max(losses, key=lambda name: losses[name])
    return worst if losses[worst] > _EQUAL else None


def _best_hour(span: Span, slices: _Slices, score: FloatArray) -> BestHour:
    """Return the best 60 minutes of a window."""
    times = slices.times_us.astype(np.float64)
    times[-1] = span.end_us
    total = np.append(0.0, np.cumsum(0.5 * (score[1:] + score[:-1]) * np.diff(times)))
    first = -(-span.start_us // US_PER_MINUTE)
    starts = np.arange(first, (span.end_us - US_PER_HOUR) // US_PER_MINUTE + 1, dtype=np.int64) * US_PER_MINUTE
    if not starts.size:
        start, end = from_microseconds(np.array([span.start_us, span.end_us]))
        return BestHour(start, end, slices.mean(score), True)
    means = (np.interp(starts + US_PER_HOUR, times, total) - np.interp(starts, times, total)) / US_PER_HOUR
    best = int(np.argmax(means >= means.max() - _EQUAL))
    start, end = from_microseconds(starts[best] + np.array([0, US_PER_HOUR]))
    return BestHour(start, end, float(means[best]), False)


def unknown_terms(scores: Scores, weights: FloatArray, timeline: Timeline) -> tuple[UnknownTerm, ...]:
    """Return the terms whose factor is unknown for a part of the time, weighed, and why."""
    found = []
    for term, unknown in zip(scores.rule.terms, scores.unknown, strict=True):
        if unknown.any():
            share = float(weights[unknown].sum() / weights.sum())
            found.append(UnknownTerm(term.factor, role_of(term), term.unknown, share, _why(term, timeline)))
    return tuple(found)


def _why(term: Requirement, timeline: Timeline) -> str:
    """Return why a factor is unknown."""
    factor = find_factor(term.factor)
    if factor.compute is None:
        return factor.provenance
    if factor.of_the_stream and not timeline.flow_reliable and role_of(term) == "require":
        return "the mark has no slack lags, so it is not known when the stream turns"
    if factor.group == "tide":
        return "no tide: a range under 5 cm, or no high or low water within two days"
    return "no such event within a day"
