"""What the clocks at a mark show."""

from __future__ import annotations

import datetime
import zoneinfo
from functools import lru_cache

import numpy as np

from tidecore.timebase import US_PER_DAY, US_PER_SECOND
from tidecore.units import IntArray, UtcTimes

#: Days of which the offsets at both midnights are kept together, by zone.
_BLOCK_DAYS = 64
_EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)


def local_times(zone: zoneinfo.ZoneInfo, times_us: IntArray) -> UtcTimes:
    """Return what a clock in ``zone`` shows.

    Parameters
    ----------
    zone : ZoneInfo
        A time zone.
    times_us : int64 array, shape ``(n,)``
        Instants [microseconds since 1970].

    Returns
    -------
    datetime64[us] array, shape ``(n,)``
        Wall-clock times.

    Notes
    -----
    The zone is asked twice a UTC day, and on the days on which its offset changes for the second of the change. Of two
    changes within one UTC day one would be missed; no zone is known that had two.
    """
    if not times_us.size:
        return times_us.view("datetime64[us]")
    days = times_us // US_PER_DAY
    first, last = int(days.min()) // _BLOCK_DAYS, int(days.max()) // _BLOCK_DAYS
    blocks = [_midnights(zone, block) for block in range(first, last + 1)]
    at_start, at_end = blocks[0] if len(blocks) == 1 else (np.concatenate(one) for one in zip(*blocks, strict=True))
    which = days - first * _BLOCK_DAYS
    offsets = at_start[which]
    # No more than a few days of a span are days of a change.
    for day in (np.flatnonzero(at_start != at_end) + first * _BLOCK_DAYS).tolist():
        changed = (days == day) & (times_us >= _change_us(zone, day))
        offsets[changed] = at_end[day - first * _BLOCK_DAYS]
    return (times_us + offsets).view("datetime64[us]")


def shown_minute(zone: zoneinfo.ZoneInfo, time_us: int) -> str:
    """Return what a clock in ``zone`` shows, as ``2026-10-24 18:05``; in an hour that comes twice with its offset.

    The minute is the one that the instant is in, to the second as instants are published: never the minute after.
    """
    seconds = (time_us + US_PER_SECOND // 2) // US_PER_SECOND
    moment = (_EPOCH + datetime.timedelta(seconds=seconds)).astimezone(zone)
    text = moment.isoformat(sep=" ", timespec="minutes")
    again = moment.replace(fold=1 - moment.fold)
    # The two folds of a time differ but where it comes twice; what is skipped no clock shows.
    return text if again.utcoffset() != moment.utcoffset() else text[:16]


def shown_from(zone: zoneinfo.ZoneInfo, now_us: int, time_us: int) -> str:
    """Return what a clock in ``zone`` shows at an instant up to a day after another, as ``18:05``.

    With the weekday where the clock has shown as much on the day before: a bare time would be read as of that day.
    """
    now, shown = shown_minute(zone, now_us), shown_minute(zone, time_us)
    again = shown[:10] != now[:10] and shown[11:16] >= now[11:16]
    return f"{weekday(shown)} {shown[11:]}" if again else shown[11:]


def weekday(shown: str) -> str:
    """Return the weekday of what `shown_minute` told, as ``Thu``."""
    return f"{datetime.date.fromisoformat(shown[:10]):%a}"


@lru_cache(maxsize=256)
def _midnights(zone: zoneinfo.ZoneInfo, block: int) -> tuple[IntArray, IntArray]:
    """Return the offsets at the start and at the end of each UTC day of a block [microseconds]."""
    first = block * _BLOCK_DAYS
    offsets = [_offset_us(zone, day * US_PER_DAY) for day in range(first, first + _BLOCK_DAYS + 1)]
    found = np.array(offsets, dtype=np.int64)
    found.flags.writeable = False
    return found[:-1], found[1:]


@lru_cache(maxsize=256)
def _change_us(zone: zoneinfo.ZoneInfo, day: int) -> int:
    """Return the first second of a UTC day at which its clocks have the offset of its end [microseconds since 1970]."""
    low, high = day * US_PER_DAY, (day + 1) * US_PER_DAY
    after = _offset_us(zone, high)
    while high - low > US_PER_SECOND:
        middle = (low + high) // 2 // US_PER_SECOND * US_PER_SECOND
        low, high = (low, middle) if _offset_us(zone, middle) == after else (middle, high)
    return high


def _offset_us(zone: zoneinfo.ZoneInfo, ticks: int) -> int:
    offset = (_EPOCH + datetime.timedelta(microseconds=ticks)).astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds()) * US_PER_SECOND
