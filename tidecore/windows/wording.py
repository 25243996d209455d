"""Times and factors in the words of a reason: clocks of the mark, and plain names of what is told."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable

from tidecore.timeline.wall_clock import shown_minute

#: What an angler calls a factor; any other by its name with blanks.
_CALLED = {
    "hours_from_hw": "time from high water",
    "hours_from_lw": "time from low water",
    "flow_index": "run of the tide",
    "flow_strength": "run of the tide",
    "range": "size of the tide",
    "range_ratio": "size of the tide",
    "height": "height of the tide",
    "sun_altitude": "height of the sun",
    "moon_altitude": "height of the moon",
    "wave_height": "height of the waves",
    "wind_speed": "wind",
    "wind_onshore": "onshore wind",
    "clarity": "clarity of the water",
    "weed_risk": "weed",
    "access_open": "access",
    "calendar_day": "season",
    "named_phase": "state of the tide",
    "making": "making or taking off of the tides",
    "hours_since_sea_peak": "time since the sea peaked",
    "sea_trend": "trend of the sea",
    "minutes_to_turn_back": "time left to turn back",
}
#: Times from an event are told as such, whatever their unit.
_FROM = "minutes_from_"


def factor_words(name: str) -> str:
    """Return a factor in plain words."""
    called = f"time from {name.removeprefix(_FROM)}" if name.startswith(_FROM) else name
    return _CALLED.get(name, called.replace("_", " "))


def clock(zone: zoneinfo.ZoneInfo, time_us: int) -> str:
    """Return what a clock in a zone shows, to the minute, as ``18:05``; ``01:30+01:00`` in an hour that comes twice."""
    return shown_minute(zone, time_us)[11:]


def day_and_clock(zone: zoneinfo.ZoneInfo, time_us: int) -> str:
    """Return date and time of a zone, as ``2026-10-24 18:05``."""
    return shown_minute(zone, time_us)


def listed(words: Iterable[str]) -> str:
    """Return words as a list of a sentence: ``a``, ``a and b``, ``a, b and c``."""
    each = list(dict.fromkeys(words))
    return " and ".join([", ".join(each[:-1]), each[-1]] if len(each) > 1 else each)


def hours_words(hours: float) -> str:
    """Return a length of time as ``45 min`` or ``3 h 05 min``."""
    minutes = round(60.0 * hours)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes % 60 else f"{minutes // 60} h"
