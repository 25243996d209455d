"""The hazards of an outing at a mark, from walking in to walking out, and what of the time they leave."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.calendars import clipped, difference, merged
from tidecore.errors import Fault, InvalidSpan
from tidecore.safety.air import air_lines, people_lines
from tidecore.safety.decks import deck_lines
from tidecore.safety.line import Line
from tidecore.safety.looking import Look, look_at, walk_us
from tidecore.safety.outing import OutingFacts
from tidecore.safety.report import Hazard, HazardReport, report_of
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
    """A line that is a hazard anywhere, and its stretches of one grade: first place, place after the last, code."""

    line: Line
    stretches: tuple[tuple[int, int, int], ...]

    def meeting(self, starts: IntArray, stops: IntArray) -> Iterator[tuple[int, slice, int, int]]:
        """Yield which of some parts of the look a stretch meets, where it does, its code, and where it ends itself."""
        begins, ends = (np.array([one[k] for one in self.stretches], dtype=np.int64) for k in (0, 1))
        firsts, lasts = np.searchsorted(ends, starts, side="right"), np.searchsorted(begins, stops)
        parts = zip(starts.tolist(), stops.tolist(), firsts.tolist(), lasts.tolist(), strict=True)
        for k, (start, stop, first, last) in enumerate(parts):
            for begin, end, code in self.stretches[first:last]:
                yield k, slice(max(begin, start), min(end, stop)), code, end


@dataclass(frozen=True, slots=True, eq=False)
class _Graded:
    """The lines of a mark over the span of a timeline, and where one of them is a danger.

    ``telling`` are the lines that are a hazard anywhere; ``changed`` and ``loosened`` name thresholds of the account.
    """

    look: Look
    lines: tuple[Line, ...]
    danger: BoolArray
    telling: tuple[_Told, ...]
    changed: tuple[str, ...]
    loosened: dict[str, str]


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
    outing = _ticks(instant(start, "start")), _ticks(instant(end, "end"))
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
    found: list[list[Hazard]] = [[] for _ in outings]
    for told in graded.telling:
        for k, part, code, whole in told.meeting(starts, stops):
            found[k].append(tell(told.line, graded.look, code, part, whole, *outings[k]))
    return [report_of(hazards, graded.changed, graded.loosened) for hazards in found]


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
    times, last = graded.look.times_us, len(graded.look) - 1
    spans = [(times[max(a - 1, 0)], times[min(b, last)]) for a, b, _ in _stretches(graded.danger.astype(np.int8))]
    return merged(np.array(spans, dtype=np.int64).reshape(-1, 2))


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
    rows = clipped(safe_stays(timeline, thresholds, facts), _ticks(arrive), _ticks(leave))
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
        telling = tuple(_Told(line, told) for line in lines if (told := _stretches(line.codes)))
        loosened = dict(zip(thresholds.loosened, thresholds.said(), strict=True))
        kept[key] = _Graded(look, lines, danger, telling, thresholds.changed, loosened)
    return kept[key]


def _kept(_sources: Sources) -> dict[tuple[Thresholds, OutingFacts], _Graded]:
    return {}


def _stretches(codes: AnyArray) -> tuple[tuple[int, int, int], ...]:
    """Return the stretches of equal codes that are a hazard: first place, place after the last, code."""
    bounds = np.concatenate(([0], np.flatnonzero(codes[1:] != codes[:-1]) + 1, [codes.size]))
    rows = zip(bounds[:-1].tolist(), bounds[1:].tolist(), codes[bounds[:-1]].tolist(), strict=True)
    return tuple(row for row in rows if row[2] != NONE)


def _ticks(time: np.datetime64) -> int:
    return int(time.astype("datetime64[us]").astype(np.int64))
