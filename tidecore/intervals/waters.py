"""High and low waters as a record shows them, beside those of the tide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.extremes import Extremes
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray

#: Either side of the tide's own extreme, the record that a cubic is laid through [us].
_REACH_US = 2 * US_PER_HOUR
#: Values a cubic takes at least, and the longest gap among them [us]; a coarser record has none to spare.
_LEAST_VALUES = 4
_LONGEST_GAP_US = 65 * US_PER_MINUTE
#: A tide is told from the weather where its range is over so many standard deviations of the residual.
RANGE_OVER_SD = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class ObservedWaters:
    """Extremes that the record shows: which rows of the table, their times and heights."""

    rows: IntArray
    times_us: FloatArray
    heights: FloatArray


def tellable(extremes: Extremes, residual_sd: float) -> BoolArray:
    """Return which extremes have a time that a record could show: primary, no stand, range over 3 residual sds."""
    primary = np.flatnonzero(extremes.primary)
    steps = np.abs(np.diff(extremes.height[primary]))
    out = np.zeros(len(extremes), dtype=np.bool_)
    if steps.size:
        before, after = np.append(steps[:1], steps), np.append(steps, steps[-1:])
        out[primary] = np.minimum(before, after) > RANGE_OVER_SD * residual_sd
    result: BoolArray = out & np.isnat(extremes.stand_start) & ~extremes.no_tide
    return result


def observed_waters(extremes: Extremes, times_us: IntArray, levels: FloatArray) -> ObservedWaters:
    """Return what a record shows of extremes: the turning point of a cubic through the two hours on either side.

    An extreme with a gap around it, or whose cubic turns nowhere within the two hours, is left out.
    """
    centres = extremes.times_us()
    begins = np.searchsorted(times_us, centres - _REACH_US)
    ends = np.searchsorted(times_us, centres + _REACH_US, side="right")
    rows, found_times, found_heights = [], [], []
    for row in np.flatnonzero(extremes.primary & (ends - begins >= _LEAST_VALUES)):
        some = slice(int(begins[row]), int(ends[row]))
        hours = (times_us[some] - centres[row]) / US_PER_HOUR
        edges = np.concatenate(((-2.0,), hours, (2.0,)))
        if float(np.max(np.diff(edges))) * US_PER_HOUR > _LONGEST_GAP_US:
            continue
        turned = _turning(hours, levels[some], bool(extremes.kind[row] == "high"))
        if turned is None:
            continue
        rows.append(int(row))
        found_times.append(float(centres[row]) + turned[0] * US_PER_HOUR)
        found_heights.append(turned[1])
    return ObservedWaters(np.array(rows, dtype=np.int64), np.array(found_times), np.array(found_heights))


def _turning(hours: FloatArray, levels: FloatArray, high: bool) -> tuple[float, float] | None:
    """Return hours and level of the maximum (minimum) inside the two hours of a cubic through the values."""
    powers = np.vander(hours, 4, increasing=True)
    a, b, c, d = np.linalg.lstsq(powers, levels, rcond=None)[0].tolist()
    root = c * c - 3.0 * d * b
    if root < 0.0:
        return None
    # Of the two turning points the maximum has the negative second derivative; each is written without cancellation.
    signed = -(root**0.5) if high else root**0.5
    if c * signed < 0.0:
        if d == 0.0:
            return None
        at = (signed - c) / (3.0 * d)
    elif c + signed == 0.0:
        return None
    else:
        at = -b / (c + signed)
    if not abs(at) < _REACH_US / US_PER_HOUR:
        return None
    return at, a + at * (b + at * (c + at * d))
