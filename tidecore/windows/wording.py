"""Times and scores in the words of a reason: clocks of the mark, lengths, lists."""

from __future__ import annotations

import math
import zoneinfo
from collections.abc import Iterable

from tidecore.timeline.wall_clock import shown_minute


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


def short_score(score: float) -> str:
    """Return a score that falls short, as ``0.49``: rounded down, so that it is not told as the one that is needed."""
    return f"{math.floor(100.0 * score + 1e-9) / 100.0:.2f}"
