"""Factors of the season: the calendar of the mark's own zone."""

from __future__ import annotations

import zoneinfo
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from tidecore.timebase import US_PER_DAY
from tidecore.timeline.factor import Factor
from tidecore.timeline.wall_clock import local_times
from tidecore.units import FloatArray, IntArray, UtcTimes

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame

_CALENDAR = "the calendar of the mark's time zone"
_ZONE = attrgetter("mark.zone")


def day_of_year(frame: Frame) -> FloatArray:
    """Return the local day of the year, 1 on 1 January, 365 or 366 on 31 December."""
    days = frame.local_times.astype("datetime64[D]")
    new_year = days.astype("datetime64[Y]").astype("datetime64[D]")
    passed: FloatArray = (days - new_year).astype(np.float64)
    return passed + 1.0


def calendar_day(frame: Frame) -> FloatArray:
    """Return the local day of the calendar with 29 February counted in every year, 1 to 366."""
    return _calendar_days(frame.local_times).astype(np.float64)


def local_days(zone: zoneinfo.ZoneInfo, times_us: IntArray) -> IntArray:
    """Return what `calendar_day` is at instants in a time zone."""
    return _calendar_days(local_times(zone, times_us))


def _calendar_days(local: UtcTimes) -> IntArray:
    numbers = local.view(np.int64) // US_PER_DAY
    if not numbers.size:
        return numbers
    # Many instants fall on few days.
    first, last = int(numbers.min()), int(numbers.max())
    few = last - first < numbers.size
    days = np.arange(first, last + 1, dtype=np.int64) if few else numbers
    found = _numbered(days.astype("datetime64[D]"))
    return found[numbers - first] if few else found


def _numbered(days: UtcTimes) -> IntArray:
    """Return the calendar day of each date."""
    years = days.astype("datetime64[Y]")
    passed = (days - years.astype("datetime64[D]")).astype(np.int64) + 1
    year = years.astype(np.int64) + 1970
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    return np.asarray(passed + (~leap & (passed >= 60)))


def month(frame: Frame) -> FloatArray:
    """Return the local month, 1 to 12."""
    months = frame.local_times.astype("datetime64[M]").astype(np.int64) % 12 + 1
    return months.astype(np.float64)


FACTORS = (
    Factor(
        "day_of_year",
        "season",
        "d",
        "number",
        "Day of the year at the mark, a whole number: 1 on 1 January, 365 or 366 on 31 December.",
        _CALENDAR,
        day_of_year,
        period=366.0,
        hangs_on=_ZONE,
    ),
    Factor(
        "calendar_day",
        "season",
        "d",
        "number",
        "Day of the calendar at the mark, a whole number: 1 on 1 January, 61 on 1 March and 366 on 31 December in "
        "every year; 60, 29 February, comes in leap years alone.",
        _CALENDAR,
        calendar_day,
        period=366.0,
        hangs_on=_ZONE,
    ),
    Factor(
        "month",
        "season",
        "1",
        "number",
        "Month at the mark, a whole number: 1 in January to 12 in December.",
        _CALENDAR,
        month,
        period=12.0,
        hangs_on=_ZONE,
    ),
)
