"""The hazards of an outing at a mark, from walking in to walking out, and what of the time they leave."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from tidecore.calendars import clipped, difference, merged
from tidecore.errors import Fault, InvalidSpan
from tidecore.safety.air import air_lines, people_lines
from tidecore.safety.decks import deck_lines
from tidecore.safety.line import Line
from tidecore.safety.looking import Look, look_at, walk_us
from tidecore.safety.outing import OutingFacts
from tidecore.safety.report import HazardReport, report_of
from tidecore.safety.telling import tell
from tidecore.safety.thresholds import DEFAULTS, Thresholds
from tidecore.safety.water import water_lines
from tidecore.shore.dangers import DANGER, NONE
from tidecore.timebase import US_PER_MINUTE, from_microseconds, instant
from tidecore.timeline import Timeline
from tidecore.timeline.sources import Sources
from tidecore.units import AnyArray, BoolArray, IntArray

NOBODY = OutingFacts()


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """A line that is a hazard anywhere, and its stretches of one grade: first places, places after the last, codes."""

    line: Line
    begins: list[int]
    ends: list[int]
    codes: list[int]

    def meeting(self, start: int, stop: int) -> Iterator[tuple[slice, int, int]]:
        """Yield where a stretch meets a part of the look, its code, and where it ends itself."""
        for k in range(bisect_right(self.ends, start), bisect_left(self.begins, stop)):
            yield slice(max(self.begins[k], start), min(self.ends[k], stop)), self.codes[k], self.ends[k]


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class _Graded:
    """The lines of a mark over the span of a timeline, and where one of them is a danger."""

    look: Look
    lines: tuple[Line, ...]
    danger: BoolArray

    @cached_property
    def telling(self) -> tuple[_Told, ...]:
        """The lines that are a hazard anywhere; a search that only keeps clear of danger tells none."""
        row, begins, ends, codes = _stretches(np.stack([line.codes for line in self.lines]))
        bounds = np.searchsorted(row, np.arange(len(self.lines) + 1)).tolist()
        parts = [one.tolist() for one in (begins, ends, codes)]
        places = zip(self.lines, pairwise(bounds), strict=True)
        return tuple(_Told(line, *(part[i:k] for part in parts)) for line, (i, k) in places if k > i)


def assess(
    timeline: Timeline,
    start: np.datetime64 | str,
    end: np.datetime64 | str,
    thresholds: Thresholds = DEFAULTS,
    facts: OutingFacts = NOBODY,
) -> HazardReport:
    """Return the hazards of an outing.

    Parameters
    ----------
    timeline : Timeline
        The mark, with its tide, its sky and the conditions given; names and step do not matter.
    start, end : datetime64 or ISO text
        From the beginning of the walk in to the end of the walk out [UTC]; see `outing_span`.
    thresholds : Thresholds
        From when on a hazard is one.
    facts : OutingFacts
        Who goes, and what he knows.

    Returns
    -------
    HazardReport
        A hazard a stretch of time and grade. A safety input that is unknown and matters at this kind of mark is a
        hazard of grade ``"not_assessed"``.

    Raises
    ------
    InvalidSpan
        If the outing does not lie in the span of the timeline with a walk of half a day around it, or runs backwards.

    Notes
    -----
    Looked at every five minutes; a stretch begins with the instant before the first that has it and ends with the one
    after the last, so that none is cut short.
    """
    outing = ticks(instant(start, "start")), ticks(instant(end, "end"))
    return assess_all(timeline, [outing], thresholds, facts)[0]


def assess_all(
    timeline: Timeline,
    outings: Sequence[tuple[int, int]],
    thresholds: Thresholds = DEFAULTS,
    facts: OutingFacts = NOBODY,
) -> list[HazardReport]:
    """Return the hazards of several outings [microseconds since 1970], each as `assess` has them; raises as it does."""
    graded = _graded(timeline.sources, thresholds, facts)
    times = graded.look.times_us
    for first, last in outings:
        if not (times[0] <= first < last <= times[-1]):
            span, ends = timeline.span, from_microseconds(np.array([first, last], dtype=np.int64))
            problem = f"{ends[0]} to {ends[1]} leaves the timeline from {span.start} to {span.end}, or runs backwards"
            raise InvalidSpan(Fault("start", problem, "an outing in the span of the timeline"))
    firsts, lasts = np.array(outings, dtype=np.int64).reshape(-1, 2).T
    # The instants that hold each outing.
    starts, stops = np.searchsorted(times, firsts, side="right") - 1, np.searchsorted(times, lasts) + 1
    changed, loosened = thresholds.changed, thresholds.loosened_in_words
    reports = []
    for start, stop, outing in zip(starts.tolist(), stops.tolist(), outings, strict=True):
        hazards = [
            tell(told.line, graded.look, code, part, whole, *outing)
            for told in graded.telling
            for part, code, whole in told.meeting(start, stop)
        ]
        reports.append(report_of(hazards, changed, loosened))
    return reports


def outing_span(
    timeline: Timeline, arrive: np.datetime64, leave: np.datetime64, facts: OutingFacts = NOBODY
) -> tuple[np.datetime64, np.datetime64]:
    """Return when the walk in begins and the walk out ends of a stay from ``arrive`` to ``leave`` [UTC].

    The walk in takes as long as the way back; where that is not known it takes no time.
    """
    walk = np.timedelta64(walk_us(timeline.sources, facts.pace), "us")
    return arrive - walk, leave + walk


def danger_spans(timeline: Timeline, thresholds: Thresholds = DEFAULTS, facts: OutingFacts = NOBODY) -> IntArray:
    """Return when an outing must not be under way: spans of danger over the span of a timeline and half a day around.

    Returns
    -------
    int64 array, shape ``(n, 2)``
        Microseconds since 1970, ascending and apart.
    """
    graded = _graded(timeline.sources, thresholds, facts)
    times = graded.look.times_us
    _, begins, ends, _ = _stretches(graded.danger[None, :])
    first, last = np.maximum(begins - 1, 0), np.minimum(ends, times.size - 1)
    return merged(np.column_stack((times[first], times[last])))


def danger_shares(
    timeline: Timeline, thresholds: Thresholds = DEFAULTS, facts: OutingFacts = NOBODY
) -> dict[str, float]:
    """Return for which part of a timeline's span each kind of hazard is a danger, those that never are left out."""
    graded = _graded(timeline.sources, thresholds, facts)
    times = graded.look.times_us
    inside = (times >= timeline.span.start_us) & (times < timeline.span.end_us)
    if not inside.any():
        return {}
    shares = {line.kind: float(np.mean(line.codes[inside] == DANGER)) for line in graded.lines}
    return {kind: share for kind, share in shares.items() if share > 0.0}


def safe_stays(timeline: Timeline, thresholds: Thresholds = DEFAULTS, facts: OutingFacts = NOBODY) -> IntArray:
    """Return when one may be at the mark with the walk in and out clear of danger: spans as `danger_spans`."""
    return clear_of(timeline, danger_spans(timeline, thresholds, facts), facts)


def clear_of(timeline: Timeline, dangers: IntArray, facts: OutingFacts = NOBODY, reach_us: int = 0) -> IntArray:
    """Return the part of a timeline's span, and so far beyond it, that leaves the walk in and out clear of spans."""
    walk = walk_us(timeline.sources, facts.pace)
    around = merged(dangers + np.array([-walk, walk], dtype=np.int64))
    ends = timeline.span.start_us - reach_us, timeline.span.end_us + reach_us
    return difference(np.array([ends], dtype=np.int64), around)


def safe_span(
    timeline: Timeline,
    arrive: np.datetime64,
    leave: np.datetime64,
    least_min: float,
    thresholds: Thresholds = DEFAULTS,
    facts: OutingFacts = NOBODY,
) -> tuple[np.datetime64, np.datetime64] | None:
    """Return the longest part of a stay that dangers leave, the first of equals; None where it is under ``least_min``.

    The walk in and out of what is left lies clear of danger too.
    """
    rows = clipped(safe_stays(timeline, thresholds, facts), ticks(arrive), ticks(leave))
    if not len(rows):
        return None
    longest = rows[int(np.argmax(rows[:, 1] - rows[:, 0]))]
    if longest[1] - longest[0] < least_min * US_PER_MINUTE:
        return None
    start, end = from_microseconds(longest)
    return start, end


def graded_lines(timeline: Timeline, thresholds: Thresholds, facts: OutingFacts) -> tuple[Look, tuple[Line, ...]]:
    """Return what is looked at over the span of a timeline and around it, and each kind of hazard along it."""
    graded = _graded(timeline.sources, thresholds, facts)
    return graded.look, graded.lines


def _graded(sources: Sources, thresholds: Thresholds, facts: OutingFacts) -> _Graded:
    """Return the lines of a mark, worked out once for each set of thresholds and facts."""
    kept, key = sources.once(_kept), (thresholds, facts)
    if key not in kept:
        look = sources.once(look_at)
        water = tuple(water_lines(look, thresholds, facts))
        cut_off = next((line.codes for line in water if line.kind == "cut_off"), np.zeros(len(look), dtype=np.int8))
        decks = deck_lines(look, thresholds, facts)
        lines = (*water, *decks, *air_lines(look, thresholds, facts), *people_lines(look, facts, cut_off))
        danger = np.zeros(len(look), dtype=np.bool_)
        for line in lines:
            danger |= line.codes == DANGER
        kept[key] = _Graded(look, lines, danger)
    return kept[key]


def _kept(_sources: Sources) -> dict[tuple[Thresholds, OutingFacts], _Graded]:
    return {}


def _stretches(rows: AnyArray) -> tuple[IntArray, IntArray, IntArray, AnyArray]:
    """Return the stretches of equal codes that are a hazard by rows: row, first place, place after the last, code."""
    count, flat = rows.shape[1], rows.ravel()
    begins = np.ones(rows.shape, dtype=np.bool_)
    np.not_equal(rows[:, 1:], rows[:, :-1], out=begins[:, 1:])
    first = np.flatnonzero(begins)
    last = np.append(first[1:], flat.size)
    there = flat[first] != NONE
    first, last = first[there], last[there]
    row = first // count
    return row, first - row * count, last - row * count, flat[first]


def ticks(time: np.datetime64) -> int:
    """Return an instant in microseconds since 1970."""
    return int(time.astype("datetime64[us]").astype(np.int64))
