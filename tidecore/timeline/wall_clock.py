"""What the clocks at a mark show."""

from __future__ import annotations

import datetime
import zoneinfo

import numpy as np

from tidecore.timebase import US_PER_DAY, US_PER_SECOND
from tidecore.units import IntArray, UtcTimes

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
    The zone is asked twice a UTC day, and on the days on which its offset changes at every instant. An offset that
    changed and changed back within one UTC day would be missed; no zone is known that did.
    """
    if not times_us.size:
        return times_us.view("datetime64[us]")
    days, which = np.unique(times_us // US_PER_DAY, return_inverse=True)
    midnights = {day: _offset_us(zone, day * US_PER_DAY) for day in {*days.tolist(), *(days + 1).tolist()}}
    at_start = np.array([midnights[day] for day in days.tolist()], dtype=np.int64)
    at_end = np.array([midnights[day] for day in (days + 1).tolist()], dtype=np.int64)
    offsets = at_start[which]
    changing = np.flatnonzero((at_start != at_end)[which])
    offsets[changing] = [_offset_us(zone, ticks) for ticks in times_us[changing].tolist()]
    return (times_us + offsets).view("datetime64[us]")


def _offset_us(zone: zoneinfo.ZoneInfo, ticks: int) -> int:
    offset = (_EPOCH + datetime.timedelta(microseconds=ticks)).astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds()) * US_PER_SECOND
