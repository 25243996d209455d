"""From constituents to high and low waters, classified."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tidecore.extremes.grouping import LEAST_RISE_M, LONGEST_LULL_US, TideGroups, group_tides, too_small
from tidecore.extremes.rates import STAND_PART, find_stands, peak_rates
from tidecore.extremes.table import Extremes
from tidecore.harmonics import Harmonics
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.roots.stationary import StationaryPoints, stationary_points
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: Ranges under this [m] are no tide.
NO_TIDE_M = 0.05
#: Ranks of two waters in a lunar day that are nearer than this [m] are the same.
_SAME_RANK_M = 0.03
#: The span is padded by the first of these [us] that holds tides which stand by themselves at both sides.
_PADS_US = (5 * US_PER_DAY, 20 * US_PER_DAY, 80 * US_PER_DAY, LONGEST_LULL_US)
#: So many rises and falls must lie further than this [us] from the span, on either side of it.
_SETTLED = 3
_REACH_US = 2 * US_PER_DAY
#: A level that never moves so far [m] turns by rounding alone.
_LEAST_LEVEL_M = 1e-6
#: Node factors make a constituent at most about so much larger.
_NODAL_GROWTH = 2.0


def find_extremes(harmonics: Harmonics, start: np.datetime64, end: np.datetime64) -> Extremes:
    """Return the high and low waters of a span, secondary ones included.

    Turning points are found completely, then classified. Neighbours that differ by less than 3 cm or lie less than
    2 h apart are merged. Separate peaks at most 8 h apart are one tide where the form number is under 0.25 or both
    fall in one M2 cycle. The water stands where the rate stays under a tenth of the tide's peak for over 1.5 h.

    Parameters
    ----------
    harmonics : Harmonics
        The tide.
    start, end : datetime64
        Half-open span [UTC].

    Returns
    -------
    Extremes
        What is said of an extreme never depends on the span: the search is padded as far as tides hang together, up
        to 400 days. Where the level makes no tide for longer than that, extremes are secondary and ``no_tide``.

    Raises
    ------
    InvalidSpan
        If the end is not after the start, or one of them is outside 1700 to 2200.

    Notes
    -----
    Two high waters in one lunar day are HH and LH; one, or two equal within 3 cm, H; low waters alike. A lunar day is
    two M2 cycles, counted from 1970. A diurnal day holds one high water and gets no second.

    References
    ----------
    National Ocean Service (2003), Computational techniques for tidal datums handbook, NOAA Special Publication NOS
    CO-OPS 2 (the 3 cm and 2 h of the merging; from memory).
    """
    span = TimeSpan(start, end)
    heights, turning = _settled_turning_points(harmonics, span)
    cycles = harmonics.m2_cycles(np.rint(turning.times_us).astype(np.int64))
    groups = group_tides(turning.times_us, turning.values, turning.maximum, cycles, harmonics.form_number)
    return _classify(turning, groups, cycles, heights.derivative(), span)


def _settled_turning_points(harmonics: Harmonics, span: TimeSpan) -> tuple[PiecewisePolynomial, StationaryPoints]:
    """Return heights and turning points of the span, padded far enough that padding more would change nothing."""
    pads: tuple[int, ...] = _PADS_US
    largest = 2.0 * _NODAL_GROWTH * float(np.sum(harmonics.amplitude))
    if largest < LEAST_RISE_M:
        pads = _PADS_US[:1]  # no rise can ever be large enough
    for pad in pads:
        heights = harmonics.pieces(span.start_us - pad, span.end_us + pad)
        turning = stationary_points(heights)
        tides = np.flatnonzero(~too_small(turning.times_us, turning.values))
        before = np.count_nonzero(turning.times_us[tides + 1] < span.start_us - _REACH_US) if tides.size else 0
        after = np.count_nonzero(turning.times_us[tides] > span.end_us + _REACH_US) if tides.size else 0
        if min(before, after) >= _SETTLED:
            break
    if largest < _LEAST_LEVEL_M:
        none = turning.times_us[:0]
        turning = StationaryPoints(none, none, none, turning.maximum[:0])
    return heights, turning


def _classify(
    turning: StationaryPoints, groups: TideGroups, cycles: FloatArray, rates: PiecewisePolynomial, span: TimeSpan
) -> Extremes:
    """Return what every turning point inside the span is."""
    high = turning.maximum
    owner = groups.primary
    primary = owner == np.arange(owner.size)
    tide_id = _number_tides(high, primary, owner, cycles)
    rank = np.full(owner.size, "", dtype="<U2")
    for kind, sign, names in ((high, 1.0, ("HH", "LH", "H")), (~high, -1.0, ("LL", "HL", "L"))):
        chosen = np.flatnonzero(primary & kind)
        rank[chosen] = rank_waters(tide_id[chosen] // 2, sign * turning.values[chosen], names)
    no_tide = np.ones(owner.size, dtype=np.bool_)
    no_tide[primary] = lacks_tide(turning.values[primary])
    no_tide = np.where(owner >= 0, no_tide[owner], True)
    time = from_microseconds(turning.times_us)
    inside = (time >= span.start) & (time < span.end)
    stand_start, stand_end = _stands(turning.times_us, owner, np.flatnonzero(inside), no_tide, rates)
    return Extremes(
        time=time[inside],
        height=turning.values[inside],
        kind=np.where(high[inside], "high", "low").astype("<U4"),
        primary=primary[inside],
        tide_id=tide_id[inside],
        double=groups.double[inside],
        rank=rank[inside],
        curvature=turning.curvature[inside],
        no_tide=no_tide[inside],
        stand_start=stand_start,
        stand_end=stand_end,
    )


def _number_tides(high: BoolArray, primary: BoolArray, owner: IntArray, cycles: FloatArray) -> IntArray:
    """Return the tide number of every turning point."""
    own = np.where(high, np.rint(cycles), np.floor(cycles)).astype(np.int64)
    before = np.maximum.accumulate(np.where(primary & high, np.arange(high.size), -1))
    of_primary = np.where(before >= 0, own[before], own)
    return np.where(owner >= 0, of_primary[owner], own)


def rank_waters(days: IntArray, values: FloatArray, names: tuple[str, str, str]) -> NDArray[np.str_]:
    """Return the rank of waters, the largest value of each day first, then the others, then one alone or equal."""
    if not days.size:
        return np.empty(0, dtype="<U2")
    first = np.flatnonzero(np.append(True, days[1:] != days[:-1]))
    sizes = np.diff(np.append(first, days.size))
    top = np.repeat(np.maximum.reduceat(values, first), sizes)
    bottom = np.repeat(np.minimum.reduceat(values, first), sizes)
    ranked = np.where(values == top, names[0], names[1])
    return np.where(top - bottom <= _SAME_RANK_M, names[2], ranked)


def lacks_tide(heights: FloatArray) -> BoolArray:
    """Return which primaries have no neighbour that differs by the least range of a tide."""
    ranges = np.abs(np.diff(heights))
    largest: FloatArray = np.maximum(np.append(0.0, ranges), np.append(ranges, 0.0))
    return largest < NO_TIDE_M


def _stands(
    times_us: FloatArray, owner: IntArray, chosen: IntArray, no_tide: BoolArray, rates: PiecewisePolynomial
) -> tuple[UtcTimes, UtcTimes]:
    """Return start and end of the stand around each chosen turning point, NaT where there is none."""
    tides = np.flatnonzero(owner == np.arange(owner.size))
    peaks = peak_rates(rates, times_us[tides])
    # Place of the primary among the primaries; a tide needs a neighbour on either side to have bounds.
    place = np.searchsorted(tides, owner[chosen])
    bounded = (owner[chosen] >= 0) & ~no_tide[chosen] & (place > 0) & (place < tides.size - 1)
    limits = np.full(chosen.size, np.nan)
    earliest, latest = times_us[chosen].copy(), times_us[chosen].copy()
    at = place[bounded]
    limits[bounded] = STAND_PART * np.maximum(peaks[at - 1], peaks[at])
    earliest[bounded], latest[bounded] = times_us[tides[at - 1]], times_us[tides[at + 1]]
    start, end = find_stands(rates, times_us[chosen], limits, earliest, latest)
    none = np.isnan(start)
    nat = np.datetime64("NaT", "us")
    stand_start = np.where(none, nat, from_microseconds(np.where(none, 0.0, start)))
    stand_end = np.where(none, nat, from_microseconds(np.where(none, 0.0, end)))
    return stand_start, stand_end
