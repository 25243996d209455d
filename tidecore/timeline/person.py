"""Factors of the person: whether he is free, and how much daylight he has left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tidecore.calendars import holds_at
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline.factor import Factor
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

#: Altitude of the sun's centre at the start and end of civil twilight [degrees].
_TWILIGHT_DEGREE = -6.0
#: More daylight than this is not told [h].
MOST_DAYLIGHT_H = 24.0


def free_time(frame: Frame) -> AnyArray:
    """Return whether it is free time."""
    free = frame.sources.free_us
    if free is None:
        return np.full(len(frame), -1, dtype=np.int8)
    return holds_at(free, frame.times_us).astype(np.int8)


def daylight_left(frame: Frame) -> FloatArray:
    """Return the time until the end of civil twilight [h], 0 from then until it begins again."""
    ends = frame.sources.sky_times_us("last_light")
    until = np.full(len(frame), MOST_DAYLIGHT_H)
    if ends.size:
        k = np.searchsorted(ends, frame.times_us, side="right")
        inside = k < ends.size
        until[inside] = (ends[k[inside]] - frame.times_us[inside]) / US_PER_HOUR
    begins = frame.sources.sky_times_us("first_light")
    light = frame.sun_altitude > _TWILIGHT_DEGREE
    if ends.size or begins.size:
        # By the events, so that it ends and begins with them to the microsecond.
        events = np.concatenate((ends, begins))
        order = np.argsort(events, kind="stable")
        last = np.searchsorted(events[order], frame.times_us, side="right") - 1
        light = np.where(last >= 0, (order >= ends.size)[np.maximum(last, 0)], light)
    return np.where(light, np.minimum(until, MOST_DAYLIGHT_H), 0.0)


def _edges(sources: Sources) -> IntArray:
    return np.empty(0, dtype=np.int64) if sources.free_us is None else sources.free_us.ravel()


def _twilights(sources: Sources) -> IntArray:
    ends = sources.sky_times_us("last_light")
    longest = ends - round(MOST_DAYLIGHT_H * US_PER_HOUR)
    return np.concatenate((ends, sources.sky_times_us("first_light"), longest))


FACTORS = (
    Factor(
        "free_time",
        "person",
        "",
        "boolean",
        "Whether it is free time, by the clocks of the mark; unknown where nobody said when that is.",
        "from the caller: weekly hours and exceptions",
        free_time,
        _edges,
    ),
    Factor(
        "daylight_left",
        "person",
        "h",
        "number",
        "Time until last light (end of civil twilight), at most 24 h; 0 from then to first light.",
        "positions of sun and moon over the mark",
        daylight_left,
        _twilights,
    ),
)
