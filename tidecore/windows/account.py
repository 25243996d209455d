"""What a window is worth: its means, its peak and best hour, and what each factor gave or took; or that in brief."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tidecore.rules import Season, Suitability, suitability
from tidecore.timebase import US_PER_HOUR, from_microseconds
from tidecore.timeline import KeyTime, find_factor
from tidecore.units import FloatArray
from tidecore.windows.axis import Axis
from tidecore.windows.rounds import Search
from tidecore.windows.seasons import touched
from tidecore.windows.spans import Judgement, Samples, Span
from tidecore.windows.unknowns import unknown_factors, unknown_terms
from tidecore.windows.weighing import Slices, Weighed, best_starts, weigh
from tidecore.windows.window import BestHour, BriefWindow, Contribution, GroupContribution, Window


def account(judged: Judgement, axis: Axis, spans: list[Span], samples: Samples) -> Search[list[Window]]:
    """Return the windows of the spans in which a rule holds, each with its account."""
    if not spans:
        return []
    weighed = yield from weigh(judged, spans, samples)
    scores, slices, best = weighed.scores, weighed.slices, weighed.peaks
    peaks = from_microseconds(axis.own(slices.times_us[best]))
    score_means, best_hours = slices.means(scores.score), _best_hours(axis, spans, slices, scores.score)
    contributions, groups = _contributions(weighed), _groups(weighed)
    timelines = [axis.timelines[span.place] for span in spans]
    places = dict.fromkeys(span.place for span in spans)
    settings = [setting for place in places for setting in _settings(judged, axis, spans, place)]
    unknowns = unknown_terms(scores, timelines, slices.bounds, slices.weights)
    return [
        Window(
            start=setting.start,
            end=setting.end,
            starts_before=span.starts_before,
            ends_after=span.ends_after,
            peak_score=float(scores.score[best[k]]),
            peak_time=peaks[k],
            mean_score=float(score_means[k]),
            limiting_factor=weighed.limiting[k],
            contributions=contributions[k],
            groups=groups[k],
            best_hour=best_hours[k],
            key_times=setting.key_times,
            unknowns=unknowns[k],
            flow_reliable=setting.flow_reliable,
            suitability=setting.suitability,
            release_only=setting.release_only,
        )
        for k, (span, setting) in enumerate(zip(spans, settings, strict=True))
    ]


def account_briefly(judged: Judgement, axis: Axis, spans: list[Span], samples: Samples) -> Search[list[BriefWindow]]:
    """Return of the same windows what `account` has, in brief."""
    if not spans:
        return []
    weighed = yield from weigh(judged, spans, samples)
    scores, slices, best = weighed.scores, weighed.slices, weighed.peaks
    return list(
        map(
            BriefWindow,
            slices.means(scores.score).tolist(),
            scores.score[best].tolist(),
            axis.own(slices.times_us[best]).tolist(),
            weighed.limiting,
            unknown_factors(scores, slices.bounds),
        )
    )


class _Setting(NamedTuple):
    """What a window has of its mark and its hours, whatever the score."""

    start: np.datetime64
    end: np.datetime64
    key_times: tuple[KeyTime, ...]
    flow_reliable: bool | None
    suitability: Suitability
    release_only: tuple[Season, ...]


def _settings(judged: Judgement, axis: Axis, spans: list[Span], place: int) -> list[_Setting]:
    """Return the settings of the spans at one mark, in their order."""
    rule, timeline = judged.rule, axis.timelines[place]
    ends_us = np.array([[span.start_us, span.end_us] for span in spans if span.place == place]) - axis.shift_us(place)
    events, events_us = axis.events(place)
    ends, inside = from_microseconds(ends_us), np.searchsorted(events_us, ends_us).tolist()
    looks = any(find_factor(name).of_the_stream for name in rule.factor_names)
    flow_reliable, suits = timeline.flow_reliable if looks else None, suitability(rule, timeline.mark)
    release_only = touched(rule.release_only_seasons, timeline.mark, ends_us)
    return [
        _Setting(ends[k, 0], ends[k, 1], events[first:last], flow_reliable, suits, release_only[k])
        for k, (first, last) in enumerate(inside)
    ]


def _contributions(weighed: Weighed) -> list[tuple[Contribution, ...]]:
    """Return what each term gave and took in each window."""
    scores, losses = weighed.scores, weighed.losses.tolist()
    means = _known_means(scores.memberships, weighed.slices)
    rows = []
    for leaf, mean, lost in zip(scores.rule.tree.leaves, means, losses, strict=True):
        factor, role, path = leaf.factor, leaf.role, leaf.path
        rows.append([Contribution(factor, role, one, other, path) for one, other in zip(mean, lost, strict=True)])
    return list(zip(*rows, strict=True))


def _groups(weighed: Weighed) -> list[tuple[GroupContribution, ...]]:
    """Return what each group gave and took in each window."""
    scores, slices = weighed.scores, weighed.slices
    groups = scores.rule.tree.groups
    if not groups:
        return [()] * slices.lengths.size
    means = _known_means(scores.group_memberships, slices)
    lost = [weighed.losses[node.leaves[0] : node.leaves[1]].sum(axis=0).tolist() for node, _ in groups]
    return [
        tuple(
            GroupContribution(node.path, node.mode, role, means[row][k], lost[row][k])
            for row, (node, role) in enumerate(groups)
        )
        for k in range(slices.lengths.size)
    ]


def _known_means(memberships: FloatArray, slices: Slices) -> list[list[float | None]]:
    """Return the mean of each row over each window, over the time in which it is known; None where it never is."""
    unknown = np.isnan(memberships)
    if not unknown.any():
        return slices.means(memberships).tolist()  # type: ignore[no-any-return]
    weights = slices.sums((~unknown).astype(np.float64))
    sums = slices.sums(np.where(unknown, 0.0, memberships))
    means = (sums / np.where(weights > 0.0, weights, 1.0)).tolist()
    return [
        [mean if weight > 0.0 else None for mean, weight in zip(*row, strict=True)]
        for row in zip(means, weights.tolist(), strict=True)
    ]


def _best_hours(axis: Axis, spans: list[Span], slices: Slices, score: FloatArray) -> list[BestHour]:
    """Return the best 60 minutes of each window, the window itself where none fits."""
    starts_us, means, fits = best_starts(spans, slices, score)
    ends_us = np.where(fits, starts_us + US_PER_HOUR, [span.end_us for span in spans])
    starts_us = np.where(fits, starts_us, [span.start_us for span in spans])
    means = np.where(fits, means, slices.means(score)).tolist()
    starts, ends = (from_microseconds(axis.own(times)) for times in (starts_us, ends_us))
    whole = (~fits).tolist()
    return [BestHour(starts[k], ends[k], means[k], whole[k]) for k in range(len(spans))]
