"""Gathering bait: an outing of its own, to low water below a level, in daylight, some days before a session."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.calendars import clipped, difference, intersection, merged
from tidecore.errors import Fault, InvalidInput
from tidecore.safety import CAREFUL, Care, HazardReport
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, TimeSpan, from_microseconds, instant
from tidecore.timeline import Timeline, factors
from tidecore.units import FloatArray, IntArray
from tidecore.windows.wording import day_and_clock, hours_words

#: Shortest time on the ground that is worth the way [min]; common practice.
LEAST_MIN = 45.0
#: Bait is gathered so many days before [days], the earliest and the latest; common practice.
DAYS_BEFORE = (3.0, 1.0)
#: Height and light are looked at so often; between, they are as good as straight [microseconds].
_LOOK_US = US_PER_MINUTE
#: Altitude of the sun's centre at sunrise and sunset [degrees].
_HORIZON = -0.8333
#: Said of every outing.
_LAW = "Check the local rules for gathering before you go."


@dataclass(frozen=True, slots=True)
class BaitOuting:
    """When the ground lies bare, half-open span [UTC], and the low water that bares it.

    ``below_h`` is the integral of how far the water is below the level [m h]: outings are ranked by it.
    ``low_water_height`` is above the datum of the timeline [m]. ``hazards`` are those of the walk there, of the time
    on the ground and of the walk back, for whoever goes down to the edge of the water.
    """

    start: np.datetime64
    end: np.datetime64
    low_water: np.datetime64
    low_water_height: float
    below_h: float
    reasons: tuple[str, ...]
    hazards: HazardReport

    @property
    def duration_h(self) -> float:
        """Time on the ground [h]."""
        return float((self.end - self.start) / np.timedelta64(1, "h"))


def days_before(session_start: np.datetime64 | str) -> TimeSpan:
    """Return the span, one to three days before a session, in which its bait is gathered."""
    start = instant(session_start, "session_start")
    first, last = (np.timedelta64(round(days * US_PER_DAY), "us") for days in DAYS_BEFORE)
    return TimeSpan(start - first, start - last)


def find_bait_outings(
    timeline: Timeline,
    below_m: float,
    *,
    in_daylight: bool = True,
    least_min: float = LEAST_MIN,
    travel_min: float = 0.0,
    care: Care = CAREFUL,
) -> list[BaitOuting]:
    """Return when bait can be gathered at a mark, the most of depth and time below the level first.

    Parameters
    ----------
    timeline : Timeline
        The mark and the span; in the free time that it was built with, if it was, and while access is not closed.
    below_m : float
        The water must be below this level [m above the datum of the timeline].
    in_daylight : bool
        Whether the sun must be up.
    least_min : float
        Shortest time on the ground [min].
    travel_min : float
        The way there, and the way back [min], both in the free time.
    care : Care
        How hazards are minded: danger cuts outings, with the walk there and back, and removes what is left too short,
        unless it is asked to be shown.

    Raises
    ------
    InvalidInput
        If the level is no number, or a time is negative.
    """
    _check(below_m, least_min, travel_min)
    span = timeline.span
    even = np.arange(span.start_us // _LOOK_US * _LOOK_US, span.end_us + _LOOK_US, _LOOK_US, dtype=np.int64)
    times = np.unique(np.clip(even, span.start_us, span.end_us))
    columns = timeline.at(times, ("height", "sun_altitude"))
    height: FloatArray = columns["height"]
    bare = _above(times, below_m - height)
    if in_daylight:
        bare = intersection(bare, _above(times, columns["sun_altitude"] - _HORIZON))
    free = timeline.sources.free_us
    if free is not None:
        way = round(travel_min * US_PER_MINUTE)
        inside = clipped(free, span.start_us, span.end_us) + np.array([way, -way], dtype=np.int64)
        bare = intersection(bare, merged(inside))
    if "access_open" in factors():
        access = timeline.at(times, ("access_open",))["access_open"]
        shut = np.column_stack((times[:-1], times[1:]))[access[:-1] == 0]
        bare = difference(bare, merged(shut))
    care = _gathering(care)
    clear = care.kept_clear(timeline)
    if clear is not None:
        bare = intersection(bare, np.array(clear, dtype=np.int64).reshape(-1, 2))
    turns = timeline.sources.turns
    low_us, low_m = turns.low_us, turns.heights[~turns.high]
    found = []
    for start, end in bare.tolist():
        if end - start >= least_min * US_PER_MINUTE and low_us.size:
            k = int(np.argmin(np.abs(low_us - (start + end) // 2)))
            low = int(low_us[k]), float(low_m[k])
            found.append(_outing(timeline, (start, end), low, times, below_m - height, care))
    return sorted(found, key=lambda one: (-round(one.below_h, 9), one.start))


def bait_dangers(timeline: Timeline, care: Care = CAREFUL) -> tuple[str, ...]:
    """Return in a sentence what time of the span is left out of bait outings for danger; none where nothing is."""
    return _gathering(care).said(timeline)


def _gathering(care: Care) -> Care:
    return replace(care, facts=replace(care.facts, gathering=True))


def _check(below_m: float, least_min: float, travel_min: float) -> None:
    faults = []
    if not np.isfinite(below_m):
        faults.append(Fault("below_m", f"is {below_m!r}", "a level in metres"))
    for name, value in (("least_min", least_min), ("travel_min", travel_min)):
        if not 0.0 <= value <= 1440.0:
            faults.append(Fault(name, f"is {value!r}", "minutes from 0 to 1440"))
    if faults:
        raise InvalidInput(faults)


def _above(times: IntArray, values: FloatArray) -> IntArray:
    """Return when straight lines between values are above 0, spans as rows."""
    up = values > 0.0
    k = np.flatnonzero(up[1:] != up[:-1])
    part = values[k] / (values[k] - values[k + 1])
    edges = times[k] + np.rint(part * (times[k + 1] - times[k])).astype(np.int64)
    first, last = ([times[0]] if up[0] else []), ([times[-1]] if up[-1] else [])
    return np.concatenate((first, edges, last)).astype(np.int64).reshape(-1, 2)


def _outing(
    timeline: Timeline, span: tuple[int, int], low: tuple[int, float], times: IntArray, below: FloatArray, care: Care
) -> BaitOuting:
    (start, end), (low_us, low_m) = span, low
    inside = times[(times > start) & (times < end)]
    axis = np.concatenate(([start], inside, [end]))
    depth = np.interp(axis, times, below)
    worth = float(np.sum(np.diff(axis) * 0.5 * (depth[1:] + depth[:-1])) / US_PER_HOUR)
    zone, hours = timeline.mark.zone, (end - start) / US_PER_HOUR
    when = "in it" if start <= low_us < end else "before it" if low_us < start else "after it"
    reasons = (
        f"{timeline.mark.name}: bare for {hours_words(hours)} from {day_and_clock(zone, start)} to "
        f"{day_and_clock(zone, end)}; low water of {low_m:.1f} m above {timeline.datum} at "
        f"{day_and_clock(zone, low_us)}, {when}.",
        "Go out with the ebb, and be on the way back before the flood comes over the ground behind you.",
        _LAW,
    )
    begin, stop, lowest = from_microseconds(np.array([start, end, low_us], dtype=np.int64))
    return BaitOuting(begin, stop, lowest, low_m, worth, reasons, care.stay(timeline, begin, stop))
