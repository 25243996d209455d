"""Whether a mark may be reached and fished: its access calendar by the clock, and gale closures by the sea."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from tidecore.calendars import WeeklyHours, holds_at, spans
from tidecore.place import AccessEntry, closed_by_clock
from tidecore.timeline.factor import UNKNOWN_BOOLEAN, Factor
from tidecore.timeline.frame import Frame
from tidecore.timeline.given import rests_on, why_unknown
from tidecore.timeline.sea_and_air import FACTORS as SEA_AND_AIR
from tidecore.timeline.sources import MARGIN_US
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timebase import TimeSpan
    from tidecore.timeline.sources import Sources

#: What a gale closure goes by: the field of the entry and the factor.
_BY_THE_SEA = tuple(
    (field, next(factor for factor in SEA_AND_AIR if factor.name == name))
    for field, name in (("wind_over_m_per_s", "wind_speed"), ("wave_height_over_m", "wave_height"))
)
#: The same field and the variable of conditions.
_VARIABLES = {"wind_over_m_per_s": "wind_speed_m_per_s", "wave_height_over_m": "wave_height_m"}
_CALENDAR = "the access calendar of the mark, by the clocks of its time zone"
_CALENDARS_KEPT = 256
_REACH_DAYS = MARGIN_US / 86_400_000_000 + 1.0


def access_open(frame: Frame) -> AnyArray:
    """Return whether a mark is open: 1, 0, or -1 where nobody said or a gale closure hangs on what is unknown."""
    entries = frame.sources.mark.access
    if not entries:
        return np.full(len(frame), UNKNOWN_BOOLEAN, dtype=np.int8)
    shut, unsure = np.zeros(len(frame), dtype=np.bool_), np.zeros(len(frame), dtype=np.bool_)
    for one in entries:
        if one.by_the_sea:
            there = holds_at(_times_of(frame.sources, one), frame.times_us)
            over, known = _over(frame, one)
            shut |= there & over
            unsure |= there & ~over & ~known
    shut |= holds_at(_closed(frame.sources), frame.times_us)
    return np.where(shut, 0, np.where(unsure, UNKNOWN_BOOLEAN, 1)).astype(np.int8)


def access_breaks(sources: Sources) -> IntArray:
    """Return the instants at which a mark opens or closes, or at which that becomes known or unknown."""
    entries = sources.mark.access
    if not entries:
        return np.empty(0, dtype=np.int64)
    found = [_closed(sources).ravel()]
    for one in entries:
        if one.by_the_sea:
            found.append(_times_of(sources, one).ravel())
            found.extend(_passings(sources, one))
    return np.unique(np.concatenate(found))


def _over(frame: Frame, entry: AccessEntry) -> tuple[BoolArray, BoolArray]:
    """Return where wind or waves are over what an entry names, and where all that it names is known."""
    over, known = np.zeros(len(frame), dtype=np.bool_), np.ones(len(frame), dtype=np.bool_)
    for field, factor in _BY_THE_SEA:
        limit = getattr(entry, field)
        if limit is not None:
            values = _values(frame, factor)
            over |= values > limit
            known &= ~np.isnan(values)
    return over, known


def _values(frame: Frame, factor: Factor) -> FloatArray:
    return factor.unknown(len(frame)) if factor.compute is None else factor.compute(frame)


def _passings(sources: Sources, entry: AccessEntry) -> Iterator[IntArray]:
    """Yield the breaks of the wind and the waves that an entry names, and the instants at which they pass its limits.

    Between two breaks they change evenly, so that they pass a limit once at most.
    """
    for field, factor in _BY_THE_SEA:
        limit = getattr(entry, field)
        if limit is None or factor.compute is None or factor.breaks is None:
            continue
        reach = sources.span.padded(_REACH_DAYS)
        breaks = factor.breaks(sources)
        inside = breaks[(breaks > reach.start_us) & (breaks < reach.end_us)]
        edges = np.unique(np.concatenate(([reach.start_us], inside, [reach.end_us])))
        yield edges[1:-1]
        yield _first_over_or_under(sources, factor, limit, edges)


def _first_over_or_under(sources: Sources, factor: Factor, limit: float, edges: IntArray) -> IntArray:
    """Return, for each stretch between two edges in which a factor passes a limit, the first instant behind it."""

    def over(times_us: IntArray) -> BoolArray:
        return np.asarray(_values(Frame(sources, times_us), factor) > limit)

    low, high = edges[:-1], edges[1:] - 1
    at_start = over(low)
    passed = at_start != over(high)
    low, high, at_start = low[passed], high[passed], at_start[passed]
    while low.size and (high - low).max() > 1:
        middle = (low + high) // 2
        same = over(middle) == at_start
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.asarray(high)


def _closed(sources: Sources) -> IntArray:
    """Return when a mark is closed by the clock, over the span of a timeline and what it may be asked beyond."""
    return _kept_closed(sources.mark.access, sources.mark.time_zone, sources.span.padded(_REACH_DAYS))


def _times_of(sources: Sources, entry: AccessEntry) -> IntArray:
    return spans(entry, sources.mark.zone, sources.span.padded(_REACH_DAYS))


@lru_cache(maxsize=_CALENDARS_KEPT)
def _kept_closed(entries: tuple[AccessEntry, ...], zone_name: str, reach: TimeSpan) -> IntArray:
    zone = zoneinfo.ZoneInfo(zone_name)

    def find(patterns: Sequence[WeeklyHours]) -> IntArray:
        return spans(patterns, zone, reach)

    always = np.array([[reach.start_us, reach.end_us]], dtype=np.int64)
    found = closed_by_clock(entries, always, find)
    found.flags.writeable = False
    return found


def _sea_variables(sources: Sources) -> list[str]:
    """Return the variables of conditions that the gale closures of a mark go by."""
    entries = sources.mark.access
    return [name for field, name in _VARIABLES.items() if any(getattr(one, field) is not None for one in entries)]


def _rests_on(sources: Sources) -> str:
    if not sources.mark.access:
        return "the access calendar of the mark: there is none"
    variables = _sea_variables(sources)
    return f"{_CALENDAR}; gale closures: {rests_on(sources, variables)}" if variables else _CALENDAR


def _why_unknown(sources: Sources) -> str:
    if not sources.mark.access:
        return "the mark has no access calendar"
    return f"whether a gale closes it: {why_unknown(sources, _sea_variables(sources))}"


FACTORS = (
    Factor(
        "access_open",
        "shore",
        "",
        "boolean",
        "Whether the mark may be reached and fished: no closed entry of its access calendar holds, and an open one of "
        "each kind that has any. Gale closures hold while the mean wind or the significant wave height is over what "
        "they name, and leave it unknown where that is unknown. Unknown at a mark without a calendar.",
        f"{_CALENDAR}; conditions for gale closures",
        access_open,
        access_breaks,
        rests_on=_rests_on,
        why_unknown=_why_unknown,
    ),
)
