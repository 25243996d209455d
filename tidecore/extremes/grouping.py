"""Which turning points belong to one tide, and which of them is its high or low water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_SECOND
from tidecore.units import BoolArray, FloatArray, IntArray

#: A high and a low water that differ by less [m], or lie less apart [us], are wiggles of one tide (NOAA practice).
LEAST_RISE_M = 0.03
LEAST_GAP_US = 2 * US_PER_HOUR
#: Separate peaks of one tide are at most so far apart [us].
_DOUBLE_US = 8 * US_PER_HOUR
#: Below this form number every pair of close peaks is one tide.
_SEMIDIURNAL = 0.25
#: Where the level never makes a tide for so long [us], there is none to speak of.
LONGEST_LULL_US = 400 * US_PER_DAY
#: Height differences nearer than this [m] are equal; gaps nearer than a second are.
_TIE_M = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class TideGroups:
    """For each turning point the index of the ``primary`` extreme of its tide, and whether it is a ``double``.

    A primary has its own index; -1 stands where there is no tide to belong to.
    """

    primary: IntArray
    double: BoolArray


def too_small(times_us: FloatArray, heights: FloatArray) -> BoolArray:
    """Return which pairs of neighbouring turning points are too near in height or time to be two extremes."""
    return (np.abs(np.diff(heights)) < LEAST_RISE_M) | (np.diff(times_us) < LEAST_GAP_US)


def group_tides(
    times_us: FloatArray, heights: FloatArray, maximum: BoolArray, cycles: FloatArray, form_number: float
) -> TideGroups:
    """Merge turning points into tides.

    First pairs too near in height or time are taken out, then double waters are joined. A pair is taken out when no
    neighbouring pair differs less in height (then in time), which gives what taking them out one at a time gives,
    the smallest first: pairs act on each other only through their neighbours, so that a tide comes out the same
    whatever span is looked at. Where a pair is too near in time alone, and one beside it that is not differs less, the
    latter goes in its place: else the higher high water (lower low water) would not stay.

    Parameters
    ----------
    times_us, heights, maximum : arrays, shape ``(n,)``
        Complete turning points [microseconds since 1970, m], alternating.
    cycles : float64 array, shape ``(n,)``
        M2 cycles since 1970, whole numbers at the high waters of M2.
    form_number : float
        (K1 + O1) / (M2 + S2).
    """
    double = np.zeros(times_us.size, dtype=np.bool_)
    inside = _outside_lulls(times_us, heights, maximum)
    parent = np.where(inside, np.arange(times_us.size), -1)
    alive = np.flatnonzero(inside)
    alive = _merge_small(alive, times_us, heights, parent)
    # A high water belongs to the cycle from M2 low to M2 low around it, a low water to that from high to high.
    holding = np.where(maximum, np.rint(cycles), np.floor(cycles))
    one_tide = np.ones(times_us.size) if form_number < _SEMIDIURNAL else holding
    _join_doubles(alive, times_us, heights, one_tide, parent, double)
    return TideGroups(_follow(parent), double)


def _follow(parent: IntArray) -> IntArray:
    """Return the end of the chain that each index begins."""
    while True:
        further = np.where(parent >= 0, parent[parent], -1)
        if np.array_equal(further, parent):
            return parent
        parent = further


def _outside_lulls(times_us: FloatArray, heights: FloatArray, maximum: BoolArray) -> BoolArray:
    """Return which turning points are not inside a stretch without any tide that is open at an end or very long."""
    tides = np.flatnonzero(~too_small(times_us, heights))
    inside = np.zeros(times_us.size, dtype=np.bool_)
    if not tides.size:
        return inside
    inside[tides[0] : tides[-1] + 2] = True
    for k in np.flatnonzero(times_us[tides[1:]] - times_us[tides[:-1] + 1] > LONGEST_LULL_US):
        first, last = int(tides[k]) + 1, int(tides[k + 1])
        inside[first + 1 : last] = False
        inside[first] = maximum[first] != maximum[last]
    return inside


def _better_right(differences: FloatArray, gaps: FloatArray) -> BoolArray:
    """Return for each pair but the last whether the pair after it goes first: smaller, else shorter, else later."""
    change, shorter = np.diff(differences), np.diff(gaps) < -US_PER_SECOND
    return (change < -_TIE_M) | ((np.abs(change) <= _TIE_M) & shorter)


def _way_down(differences: FloatArray, better_right: BoolArray) -> IntArray:
    """Return for each pair the neighbouring pair that goes before it, or the pair itself if none does."""
    pairs = np.arange(differences.size)
    right = np.append(better_right, False)
    left = np.append(False, ~better_right)
    nearer_right = np.append(np.inf, differences[:-1]) > np.append(differences[1:], np.inf)
    step = np.where(right & left, np.where(nearer_right, 1, -1), right.astype(np.int64) - left)
    return pairs + step


def _merge_small(alive: IntArray, times_us: FloatArray, heights: FloatArray, parent: IntArray) -> IntArray:
    """Take out pairs too near in height or time until there is none; return who is left, note who joined whom."""
    while alive.size > 1:
        h, t = heights[alive], times_us[alive]
        gaps = np.diff(t)
        small = np.flatnonzero(too_small(t, h) & (gaps <= LONGEST_LULL_US))
        if not small.size:
            break
        differences = np.abs(np.diff(h))
        down = _way_down(differences, _better_right(differences, gaps))
        while not np.array_equal(further := down[small], small):
            small = further
        lowest = np.zeros(differences.size, dtype=np.bool_)
        lowest[small] = True
        alive = _take_out(np.flatnonzero(lowest), alive, parent)
    return alive


def _take_out(pairs: IntArray, alive: IntArray, parent: IntArray) -> IntArray:
    """Take pairs of neighbours out: the first joins the extreme after the pair, the second the one before it."""
    bounded = np.concatenate(([-1], alive, [-1]))
    parent[alive[pairs]] = bounded[pairs + 3]
    parent[alive[pairs + 1]] = bounded[pairs]
    return np.delete(alive, np.concatenate((pairs, pairs + 1)))


def _join_doubles(
    alive: IntArray,
    times_us: FloatArray,
    heights: FloatArray,
    one_tide: FloatArray,
    parent: IntArray,
    double: BoolArray,
) -> None:
    """Join separate peaks of one tide, one pair at a time in each neighbourhood, and mark both."""
    while alive.size > 2:
        h, t, cycle = heights[alive], times_us[alive], one_tide[alive]
        apart = np.where(cycle[2:] == cycle[:-2], t[2:] - t[:-2], np.inf)
        # Pair k is extremes k and k + 1: it makes k and k + 2 one tide, and k - 1 and k + 1.
        after, before = np.append(apart, np.inf), np.append(np.inf, apart)
        close = np.minimum(after, before) <= _DOUBLE_US
        if not close.any():
            break
        differences, gaps = np.abs(np.diff(h)), np.diff(t)
        down = _way_down(differences, _better_right(differences, gaps))
        pairs = np.flatnonzero(close & (down == np.arange(down.size)))
        pairs = pairs[_first_of_near(pairs, differences)]
        if not pairs.size:
            break
        # Where both make one tide, the two nearer in height are the double water.
        larger_before = np.append(np.inf, differences)[pairs] >= np.append(differences, np.inf)[pairs + 1]
        forward = (after[pairs] <= _DOUBLE_US) & ((before[pairs] > _DOUBLE_US) | larger_before)
        double[alive[np.where(forward, pairs, pairs - 1)]] = True
        double[alive[np.where(forward, pairs + 2, pairs + 1)]] = True
        alive = _take_out(pairs, alive, parent)


def _first_of_near(pairs: IntArray, differences: FloatArray) -> BoolArray:
    """Return which of the pairs differ less than those that share a neighbour with them (equal: the earlier)."""
    first = np.ones(pairs.size, dtype=np.bool_)
    near = np.diff(pairs) == 2
    later = differences[pairs[1:]] < differences[pairs[:-1]] - _TIE_M
    first[1:] &= ~near | later
    first[:-1] &= ~near | ~later
    return first
