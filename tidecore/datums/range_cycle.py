"""The daily range, and its cycle from springs to neaps or from tropic to equatorial tides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.harmonics import Harmonics
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.roots.stationary import stationary_points
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, TimeSpan
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Epoch of the mean spring range: a whole nodal cycle, 6798 days.
EPOCH = TimeSpan(np.datetime64("2001-01-01", "us"), np.datetime64("2001-01-01", "us") + np.timedelta64(6798, "D"))

SPRINGS_NEAPS = "springs-neaps"
TROPIC_EQUATORIAL = "tropic-equatorial"
#: Form numbers between which the variance of the daily range decides which cycle there is.
_MIXED_DIURNAL, _DIURNAL = 1.5, 3.0
#: Span of that decision: two years halfway between the least and the largest diurnal tides of a nodal cycle.
_DECIDING = TimeSpan(EPOCH.start, EPOCH.start + np.timedelta64(738, "D"))
#: Speeds of MSf and Mf [degrees/h]: springs come every 14.765 days, tropic tides every 13.661 days.
_MSF, _MF = 1.0158958, 1.0980331

#: Half of 24 h 50 min.
_HALF_DAY_US = 12 * US_PER_HOUR + 25 * US_PER_MINUTE
_SMOOTHED_HOURS = 72
_APART_US = 7 * US_PER_DAY
#: A maximum must stand out by this [m] and this part of itself, on both sides, within so many hours.
_PROMINENCE_M, _PROMINENCE_PART = 0.001, 0.003
_REACH = 8 * 24
#: The range is known so far on either side of the span, springs and neaps 8 days less far.
_PAD_HOURS = 48 * 24
#: Growth of the daily range over a day [m] that counts as making.
_GROWTH_M = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class RangeCycle:
    """The daily range at whole UTC hours, with the springs and neaps of its cycle.

    Parameters
    ----------
    times_us : int64 array, shape ``(n,)``
        Whole hours [microseconds since 1970], the span asked for and 48 days on either side.
    daily_range : float64 array, shape ``(n,)``
        Highest minus lowest level in the 24 h 50 min around, mean of 3 days [m].
    springs_us, neaps_us : float64 arrays
        Maxima and minima of the daily range, at least 7 days apart [microseconds since 1970]; tropic and equatorial
        tides where that is the ``kind``. Empty where the range doesn't vary.
    kind : str
        ``"springs-neaps"`` or ``"tropic-equatorial"``.
    """

    times_us: IntArray
    daily_range: FloatArray
    springs_us: FloatArray
    neaps_us: FloatArray
    kind: str

    def daily_range_at(self, times_us: IntArray | FloatArray) -> FloatArray:
        """Return the daily range [m] at instants [microseconds since 1970], linear between hours.

        Raises
        ------
        InvalidSpan
            If an instant lies outside ``times_us``.
        """
        times: AnyArray = np.asarray(times_us)
        if times.size and not (times.min() >= self.times_us[0] and times.max() <= self.times_us[-1]):
            problem = f"from {times.min()} to {times.max()}"
            expected = f"instants from {self.times_us[0]} to {self.times_us[-1]}"
            raise InvalidSpan(Fault("times_us", problem, expected))
        hours = (times - self.times_us[0]) / US_PER_HOUR
        before = np.minimum(hours.astype(np.intp), max(self.times_us.size - 2, 0))
        rise = np.diff(self.daily_range)
        ranges: FloatArray = self.daily_range[before] + (hours - before) * rise[before]
        return ranges

    def days_from_springs(self, times_us: IntArray | FloatArray) -> FloatArray:
        """Return days to the nearest springs: negative before, positive after; NaN where the range doesn't vary."""
        times = np.asarray(times_us, dtype=np.float64)
        if not self.springs_us.size:
            return np.full(times.shape, np.nan)
        middles = 0.5 * (self.springs_us[1:] + self.springs_us[:-1])
        nearest = self.springs_us[np.searchsorted(middles, times)]
        days: FloatArray = (times - nearest) / US_PER_DAY
        return days

    def making(self, times_us: IntArray | FloatArray) -> BoolArray:
        """Return where the tides are making: the daily range grows over the day around; else they take off."""
        times = np.asarray(times_us, dtype=np.float64)
        half = 12 * US_PER_HOUR
        grown: BoolArray = self.daily_range_at(times + half) - self.daily_range_at(times - half) > _GROWTH_M
        return grown

    def inside(self, instants_us: FloatArray, span: TimeSpan) -> FloatArray:
        """Return those of ``springs_us`` or ``neaps_us`` that lie in ``span``."""
        return instants_us[(instants_us >= span.start_us) & (instants_us < span.end_us)]


def range_cycle(harmonics: Harmonics, start: np.datetime64, end: np.datetime64) -> RangeCycle:
    """Return the daily range over a span, with its springs and neaps.

    Parameters
    ----------
    harmonics : Harmonics
        The tide.
    start, end : datetime64
        Half-open span [UTC].

    Returns
    -------
    RangeCycle
        Anchored to whole UTC hours and padded, so that an instant's value never depends on the span. Springs are
        the maxima that stand out by 1 mm and 0.3% of themselves, the highest first, at least 7 days apart.

    Raises
    ------
    InvalidSpan
        If the end is not after the start, or one of them is outside 1700 to 2200.

    Notes
    -----
    The range of each hour is exact: the largest of the turning points inside its 24 h 50 min and of the levels at both
    ends. The kind is springs-neaps for a form number under 1.5 and tropic-equatorial from 3 on. Between them it is the
    cycle whose line, MSf (14.77 d) or Mf (13.66 d), explains more of the variance of the daily range in a least
    squares fit of both over 738 days from 2001-01-01.
    """
    span = TimeSpan(start, end)
    times, ranges = _daily_range(harmonics, span, _PAD_HOURS)
    return RangeCycle(times, ranges, _peaks(times, ranges), _peaks(times, -ranges), _kind(harmonics))


def epoch_cycle(harmonics: Harmonics) -> RangeCycle:
    """Return the range cycle over the 6798 days from 2001-01-01, a whole nodal cycle."""
    return range_cycle(harmonics, EPOCH.start, EPOCH.end)


def mean_spring_range(harmonics: Harmonics, cycle: RangeCycle | None = None) -> float:
    """Return the mean daily range at springs (tropic tides) [m] over the 6798 days from 2001-01-01.

    Parameters
    ----------
    harmonics : Harmonics
        The tide.
    cycle : RangeCycle, optional
        The one of `epoch_cycle`, if it is there already.

    Returns
    -------
    float
        Where the range doesn't vary, the mean of it.
    """
    cycle = epoch_cycle(harmonics) if cycle is None else cycle
    springs = cycle.inside(cycle.springs_us, EPOCH)
    return float(np.mean(cycle.daily_range_at(springs) if springs.size else cycle.daily_range))


def _kind(harmonics: Harmonics) -> str:
    """Return which cycle the range of this tide follows."""
    form = harmonics.form_number
    if not form >= _MIXED_DIURNAL:
        return SPRINGS_NEAPS
    if form >= _DIURNAL:
        return TROPIC_EQUATORIAL
    times, ranges = _daily_range(harmonics, _DECIDING, 0)
    angles = np.radians(np.outer((times - times[0]) / US_PER_HOUR, [_MSF, _MF]))
    columns = np.column_stack([np.ones(times.size), np.cos(angles), np.sin(angles)])
    _, *lines = np.linalg.lstsq(columns, ranges, rcond=None)[0]
    springs, tropic = np.hypot(lines[:2], lines[2:])
    return TROPIC_EQUATORIAL if tropic > springs else SPRINGS_NEAPS


def _daily_range(harmonics: Harmonics, span: TimeSpan, pad_hours: int) -> tuple[IntArray, FloatArray]:
    """Return whole hours that cover the span and its padding, and the smoothed daily range at each."""
    half = _SMOOTHED_HOURS // 2
    first = span.start_us // US_PER_HOUR - pad_hours
    count = -(-span.end_us // US_PER_HOUR) + pad_hours - first + 1
    raw_first, raw_count = first - half, count + 2 * half
    # The window of hour i reaches from 35 min into hour i - 13 to 25 min into hour i + 12.
    heights = harmonics.pieces((raw_first - 13) * US_PER_HOUR, (raw_first + raw_count + 12) * US_PER_HOUR)
    late, early = heights.at_places(np.array([1.0 / 6.0, -1.0 / 6.0])).T
    begins, ends = late[:raw_count], early[25 : 25 + raw_count]
    highest, lowest = _turning_range(heights, raw_first * US_PER_HOUR - _HALF_DAY_US, raw_count)
    ranges = np.maximum(np.maximum(begins, ends), highest) - np.minimum(np.minimum(begins, ends), lowest)
    times = (first + np.arange(count, dtype=np.int64)) * US_PER_HOUR
    return times, _mean_of_days(ranges)


def _turning_range(heights: PiecewisePolynomial, begin_us: int, count: int) -> tuple[FloatArray, FloatArray]:
    """Return the highest and lowest turning point in every window of 24 h 50 min, the first at ``begin_us``."""
    turning = stationary_points(heights)
    found = []
    for sign in (1.0, -1.0):
        chosen = turning.maximum if sign > 0 else ~turning.maximum
        times, values = turning.times_us[chosen], sign * turning.values[chosen]
        largest = np.full(count, -np.inf)
        first = _count_before(times, begin_us, count)
        last = _count_before(times, begin_us + 2 * _HALF_DAY_US, count)
        held = np.flatnonzero(last > first)
        if held.size:
            bounds = np.column_stack([first[held], last[held]]).reshape(-1)
            largest[held] = np.maximum.reduceat(np.append(values, -np.inf), bounds)[::2]
        found.append(sign * largest)
    return found[0], found[1]


def _count_before(times_us: FloatArray, begin_us: int, count: int) -> IntArray:
    """Return how many of the sorted times come before ``begin_us`` and each hour after it."""
    hour = np.ceil((times_us - begin_us) / US_PER_HOUR).astype(np.int64)
    arrivals = np.bincount(np.maximum(hour[hour < count], 0), minlength=count)
    return np.cumsum(arrivals)


def _mean_of_days(ranges: FloatArray) -> FloatArray:
    """Return the mean over 72 hours around each hour that has them, both ends counted half.

    Sums are built in one order for every hour, so that a value doesn't depend on where the array begins.
    """
    day = 24
    of_day = ranges[: ranges.size - day + 1].copy()
    for k in range(1, day):
        of_day += ranges[k : ranges.size - day + 1 + k]
    count = ranges.size - _SMOOTHED_HOURS
    total = of_day[:count] + of_day[day : day + count] + of_day[2 * day : 2 * day + count]
    total += 0.5 * (ranges[_SMOOTHED_HOURS:] - ranges[:count])
    mean: FloatArray = total / _SMOOTHED_HOURS
    return mean


def _peaks(times_us: IntArray, values: FloatArray) -> FloatArray:
    """Return the maxima that stand out, at least 7 days apart, the highest first; placed between the hours."""
    inner = values[_REACH:-_REACH]
    top = _REACH + np.flatnonzero(
        (inner > values[_REACH - 1 : -_REACH - 1]) & (inner >= values[_REACH + 1 : 1 - _REACH])
    )
    top = top[_prominence(values, top) > np.maximum(_PROMINENCE_M, _PROMINENCE_PART * np.abs(values[top]))]
    top = top[_highest_first(times_us[top], values[top])]
    before, at, after = values[top - 1], values[top], values[top + 1]
    shift = 0.5 * (after - before) / (2.0 * at - before - after)
    refined: FloatArray = times_us[top] + shift * US_PER_HOUR
    return refined


def _prominence(values: FloatArray, top: IntArray) -> FloatArray:
    """Return how far each maximum stands over the least value on its way to a higher one, within 8 days."""
    drops = []
    for direction in (-1, 1):
        way = values[top[:, None] + direction * np.arange(1, _REACH + 1)]
        reached = np.logical_or.accumulate(way > values[top, None], axis=1)
        drops.append(values[top] - np.where(reached, np.inf, way).min(axis=1, initial=np.inf))
    least: FloatArray = np.minimum(drops[0], drops[1])
    return least


def _highest_first(times_us: IntArray, values: FloatArray) -> BoolArray:
    """Return which maxima are chosen if the highest of those left is, again and again, and those within 7 days go.

    Done in rounds: whatever is the highest within 7 days goes in, which comes to the same.
    """
    chosen = np.zeros(times_us.size, dtype=np.bool_)
    left = np.arange(times_us.size)
    while left.size:
        gaps = _near_pairs(times_us[left])
        highest = np.ones(left.size, dtype=np.bool_)
        for k, near in enumerate(gaps, start=1):
            later = values[left[k:]] > values[left[:-k]]
            highest[k:] &= ~near | later
            highest[:-k] &= ~near | ~later
        gone = highest.copy()
        for k, near in enumerate(gaps, start=1):
            gone[k:] |= near & highest[:-k]
            gone[:-k] |= near & highest[k:]
        chosen[left[highest]] = True
        left = left[~gone]
    return chosen


def _near_pairs(times_us: IntArray) -> list[BoolArray]:
    """Return for k = 1, 2, ... which times lie within 7 days of the k-th after them, as long as any does."""
    gaps = []
    for k in range(1, times_us.size):
        near = times_us[k:] - times_us[:-k] < _APART_US
        if not near.any():
            break
        gaps.append(near)
    return gaps
