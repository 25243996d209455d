"""Scores as curves of time: those of single rules at a mark, the best of them, and exact integrals of what is drawn."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tidecore.calendars import holds_at
from tidecore.filters import Filter
from tidecore.rules import SpeciesRule
from tidecore.safety import CAREFUL, Care, clear_of
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.timeline import Timeline, factors
from tidecore.units import AnyArray, FloatArray, IntArray
from tidecore.windows.axis import Axis, axes
from tidecore.windows.found import Found
from tidecore.windows.groups import Group, search_groups
from tidecore.windows.rounds import Search, side_by_side
from tidecore.windows.search import held_by
from tidecore.windows.spans import find_spans
from tidecore.windows.tracks import distinct
from tidecore.windows.window import Window

#: Factors that come in steps are looked at so often between their breaks [microseconds].
_LOOK_US = 10 * US_PER_MINUTE
#: What the score counts where the mark is known to be so fishable; a convention.
FISHED = (("no", 0.0), ("hard", 0.5))


@dataclass(frozen=True, eq=False)
class Curve:
    """Straight lines between ``values`` at ascending ``times_us``; a jump is two instants a microsecond apart."""

    times_us: IntArray
    values: FloatArray

    def at(self, times_us: AnyArray) -> FloatArray:
        """Return the curve at instants."""
        found: FloatArray = np.interp(times_us, self.times_us, self.values)
        return found

    @cached_property
    def _totals(self) -> FloatArray:
        steps = np.diff(self.times_us) * (0.5 / US_PER_HOUR)
        return np.append(0.0, np.cumsum(steps * (self.values[1:] + self.values[:-1])))

    @cached_property
    def _slopes(self) -> FloatArray:
        return np.append(np.diff(self.values) / np.diff(self.times_us), 0.0)

    def total(self, times_us: AnyArray) -> FloatArray:
        """Return the integral from the first instant of the curve to each of ``times_us`` [h]."""
        at = np.clip(np.asarray(times_us, dtype=np.int64), self.times_us[0], self.times_us[-1])
        k = np.searchsorted(self.times_us, at, side="right") - 1
        since, value = at - self.times_us[k], self.values[k]
        here = self._slopes[k] * since + value
        found: FloatArray = self._totals[k] + since * (0.5 / US_PER_HOUR) * (value + here)
        return found

    def integral(self, start_us: int, end_us: int) -> float:
        """Return the integral over a span [h]."""
        return self.integrals(np.array([start_us], dtype=np.int64), np.array([end_us], dtype=np.int64))[0]

    def integrals(self, starts_us: IntArray, ends_us: IntArray) -> list[float]:
        """Return the integral over each of some spans [h]."""
        until = self.total(np.concatenate((starts_us, ends_us)))
        found: list[float] = np.maximum(until[starts_us.size :] - until[: starts_us.size], 0.0).tolist()
        return found

    def peak(self, start_us: int, end_us: int) -> tuple[float, int]:
        """Return the highest value in a span, ends included, and the first instant that has it [microseconds]."""
        first, last = np.searchsorted(self.times_us, [start_us, end_us]).tolist()
        times = np.concatenate(([start_us], self.times_us[first:last], [end_us]))
        values = self.at(times)
        best = int(np.argmax(values))
        return float(values[best]), int(times[best])


# No slots here and below: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class RuleCurve:
    """One rule at one mark: how the caller calls it, its windows by their numbers, and its score over the span."""

    key: str
    rule: SpeciesRule
    found: Found
    numbers: range
    score: Curve

    @property
    def windows(self) -> tuple[Window, ...]:
        """All its windows, in time order."""
        return self.found.windows(self.numbers)

    @cached_property
    def windows_us(self) -> IntArray:
        """Start and end of each window [microseconds since 1970], shape ``(n, 2)``."""
        return self.found.windows_us(self.numbers)


@dataclass(frozen=True, eq=False)
class MarkSearch:
    """What several rules find at one mark over the span of a timeline; made by `search_mark`.

    Parameters
    ----------
    key : str
        How the caller calls the mark.
    timeline : Timeline
        The mark and the span.
    curves : tuple of RuleCurve
        By their keys in ascending order, those alone whose ground the mark has or may have.
    care : Care
        How hazards are minded: outings keep out of time of danger.
    """

    key: str
    timeline: Timeline
    curves: tuple[RuleCurve, ...]
    care: Care = CAREFUL

    @cached_property
    def safe_us(self) -> IntArray:
        """When one may be at the mark with the walk in and out clear of danger, shape ``(n, 2)``."""
        return clear_of(self.timeline, self.care.dangers(self.timeline), self.care.facts)

    @cached_property
    def open_us(self) -> IntArray:
        """When one may be at the mark with the walk in and out while access is not known to be closed."""
        return clear_of(self.timeline, self.times_when("access_open", 0), self.care.facts)

    @cached_property
    def best(self) -> Curve:
        """The best score of all rules at each instant; half of it where the mark is known to be hard to fish, 0 where
        it is known not to fish.

        Within 0.01 of the true score: it is drawn in straight lines between the instants at which windows were
        looked for, at most ten minutes apart, with both sides of every jump.
        """
        span = self.timeline.span
        ends = np.array([span.start_us, span.end_us], dtype=np.int64)
        poor = [(part, self.times_when("fishable", grade)) for grade, part in FISHED if "fishable" in factors()]
        sides = [spans.ravel() - before for _, spans in poor for before in (0, 1)]
        times = distinct(np.concatenate([ends, *sides, *(one.score.times_us for one in self.curves)]))
        times = times[(times >= span.start_us) & (times <= span.end_us)]
        values = np.zeros(times.size)
        for one in self.curves:
            np.maximum(values, one.score.at(times), out=values)
        for part, spans in poor:
            values[holds_at(spans, times)] *= part
        return Curve(times, values)

    @cached_property
    def _stepped(self) -> dict[str, tuple[IntArray, AnyArray]]:
        return {}

    def times_when(self, name: str, value: str | int) -> IntArray:
        """Return when a factor that comes in steps has a value: spans as rows, ascending and apart.

        None where there is no such factor. Edges lie where the factor breaks; of one that does not say where it
        breaks, within ten minutes.
        """
        if name not in factors():
            return np.empty((0, 2), dtype=np.int64)
        span = self.timeline.span
        if name not in self._stepped:
            even = np.arange(span.start_us // _LOOK_US * _LOOK_US, span.end_us, _LOOK_US, dtype=np.int64)
            breaks = self.timeline.breaks_us((name,))
            times = distinct(np.concatenate((np.array([span.start_us], dtype=np.int64), even, breaks)))
            times = times[(times >= span.start_us) & (times < span.end_us)]
            self._stepped[name] = times, self.timeline.at(times, (name,))[name]
        times, column = self._stepped[name]
        holds = np.concatenate(([False], column == value, [False]))
        edges = np.flatnonzero(holds[1:] != holds[:-1])
        found: IntArray = np.append(times, span.end_us)[edges].reshape(-1, 2)
        return found


def search_mark(
    key: str,
    timeline: Timeline,
    rules: Mapping[str, SpeciesRule],
    care: Care | None = None,
    *,
    within: Filter | None = None,
) -> MarkSearch:
    """Return what rules find at a mark over the span of a timeline.

    Parameters
    ----------
    key : str
        How the caller calls the mark.
    timeline : Timeline
        The mark and the span.
    rules : mapping of str to SpeciesRule
        The rules by how the caller calls them; their order does not matter. What the mark knows better of a species is
        heeded. One that names beds, where the mark has only others and does not declare the species, is left out.
    care : Care, optional
        How hazards are minded; windows are those of the rules alone, outings keep out of time of danger.
    within : Filter, optional
        Windows lie in time in which it is true, and other time is worth nothing.
    """
    return search_marks({key: timeline}, rules, care, within=within)[key]


def search_marks(
    timelines: Mapping[str, Timeline],
    rules: Mapping[str, SpeciesRule],
    care: Care | None = None,
    *,
    within: Filter | None = None,
) -> dict[str, MarkSearch]:
    """Return what rules find at several marks, as `search_mark` does: timelines of one span are searched in one go."""
    keys, names = list(timelines), sorted(rules)
    curves: dict[str, dict[int, RuleCurve]] = {key: {} for key in keys}
    for marks, axis in axes([timelines[key] for key in keys]):
        groups = search_groups([rules[name] for name in names], axis)
        kept = {}
        for place in axis.everywhere:
            here = [group.judged.rule for group in groups if place in group.places]
            held = held_by(within, axis.timelines[place], here)
            if held is not None:
                kept[place] = held
        found = side_by_side(axis.at, [_searched(names[group.rule], group, axis, kept) for group in groups])
        for group, some in zip(groups, found, strict=True):
            for place, curve in zip(group.places, some, strict=True):
                curves[keys[marks[place]]][group.rule] = curve
    return {
        key: MarkSearch(key, timelines[key], tuple(curves[key][k] for k in sorted(curves[key])), care or CAREFUL)
        for key in keys
    }


def _searched(
    key: str, group: Group, axis: Axis, kept: Mapping[int, Sequence[tuple[int, int]]]
) -> Search[list[RuleCurve]]:
    """Search for the windows of one rule at marks that are alike to it, and draw its score at each."""
    judged, places = group.judged, group.places
    spans, samples = yield from find_spans(judged, axis, places, kept)
    # The search leaves out where nothing can hold; a session may fish on there.
    rest = np.ones(axis.even_us(places).size, dtype=np.bool_)
    rest[samples.steps] = False
    even = axis.even_us(places)[rest]
    score = judged.score({name: axis.even(name, places)[rest] for name in judged.names}, even.size)
    times, chosen = np.unique(np.concatenate((samples.times_us, even)), return_index=True)
    values, bounds = np.concatenate((samples.score, score))[chosen], np.searchsorted(axis.places(times), places)
    all_of_them, at = Found(judged, axis, spans, samples), [span.place for span in spans]
    found = []
    for place, first, last in zip(places, bounds.tolist(), [*bounds.tolist()[1:], times.size], strict=True):
        curve = Curve(times[first:last] - axis.shift_us(place), values[first:last])
        if place in kept:
            curve = _only(curve, np.array(kept[place], dtype=np.int64).reshape(-1, 2))
        numbers = range(bisect_left(at, place), bisect_right(at, place))
        found.append(RuleCurve(key, judged.rule, all_of_them, numbers, curve))
    return found


def _only(curve: Curve, spans: IntArray) -> Curve:
    """Return a curve that is 0 outside of some spans, with both sides of every jump."""
    edges = spans.ravel()
    times = np.unique(np.concatenate((curve.times_us, edges, edges - 1)))
    return Curve(times, np.where(holds_at(spans, times), curve.at(times), 0.0))
