"""High and low waters at a place, and the warp between the station's curve and its own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.extremes import Extremes, find_extremes
from tidecore.extremes.search import lacks_tide, rank_waters
from tidecore.harmonics import Harmonics
from tidecore.offsets.tables import place_heights, place_times
from tidecore.offsets.warp import Warp
from tidecore.place import LONGEST_DIFFERENCE_MIN, MarkOffsets
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE, TimeSpan, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: Waters of the station are sought so far [us] outside the span, further if the span is not held between two.
_PADS_US = (2 * US_PER_DAY, 12 * US_PER_DAY, 48 * US_PER_DAY, 400 * US_PER_DAY)
#: Waters of the place lie at most so far [us] from those of the station.
_LONGEST_US = round(LONGEST_DIFFERENCE_MIN * US_PER_MINUTE)


@dataclass(frozen=True, slots=True, eq=False)
class PlaceTide:
    """High and low waters at a place in a span, and by what its curve is the station's.

    Parameters
    ----------
    extremes : Extremes
        Those at the place in the span, secondary ones included: instants and heights are warped, ranks are found anew
        from the heights at the place, and so is ``no_tide`` of primary ones; a stand is the station's, warped. The
        curvature of a primary water, which differs from one side to the other, is the mean of both.
    station_us : int64 array, shape ``(len(extremes),)``
        When each of them comes at the station [microseconds since 1970].
    held : bool array, shape ``(len(extremes),)``
        True where a difference of height was held, see `tidecore.offsets.place_heights`; for a secondary one, that of
        the primary before it.
    warp : Warp
        The primary waters, from before the span to after it.
    """

    extremes: Extremes
    station_us: IntArray
    held: BoolArray
    warp: Warp


def place_tide(harmonics: Harmonics, offsets: MarkOffsets, start: np.datetime64, end: np.datetime64) -> PlaceTide:
    """Return the tide of a place around a span.

    Parameters
    ----------
    harmonics : Harmonics
        The tide of the station.
    offsets : MarkOffsets
        The tables of the place.
    start, end : datetime64
        Half-open span at the place [UTC].

    Returns
    -------
    PlaceTide
        What is said of an instant never depends on the span. Where the station makes no tide for 400 days the warp
        may not reach over the span.

    Raises
    ------
    InvalidInput
        If a water would come at or before the one before it, or a high water at or below a low water beside it.
    InvalidSpan
        If the end is not after the start, or one of them is outside 1700 to 2200.
    """
    span = TimeSpan(start, end)
    for pad in _PADS_US:
        ends = from_microseconds(np.array([span.start_us - pad - _LONGEST_US, span.end_us + pad + _LONGEST_US]))
        found = find_extremes(harmonics, ends[0], ends[1])
        warp, held = _warp_of(found.primaries(), offsets)
        if warp.place_us.size > 3 and warp.place_us[1] <= span.start_us and warp.place_us[-2] >= span.end_us:
            break
    return _at_place(found, warp, held, span)


def _warp_of(primaries: Extremes, offsets: MarkOffsets) -> tuple[Warp, BoolArray]:
    """Return the warp of primary waters, and where a difference of height was held; refused if it makes no tide."""
    times, high = primaries.times_us(), primaries.kind == "high"
    at_place = place_times(offsets, times, high)
    levels, held = place_heights(offsets, primaries.height, high)
    wrong = (np.diff(at_place) <= 0) | (np.diff(levels) * np.where(high[1:], 1.0, -1.0) <= 0.0)
    if wrong.any():
        k = int(np.flatnonzero(wrong)[0])
        problem = f"make no tide between the waters of {primaries.time[k]}Z and {primaries.time[k + 1]}Z at the station"
        expected = "offsets under which waters keep their order and every HW is above the LWs beside it"
        raise InvalidInput(Fault("offsets", problem, expected))
    return Warp(times, at_place, primaries.height, levels), held


def _at_place(found: Extremes, warp: Warp, held: BoolArray, span: TimeSpan) -> PlaceTide:
    """Return the station's waters as they come at the place, those in the span."""
    ticks = found.times_us()
    if warp.place_us.size < 2:
        return PlaceTide(found.select(slice(0)), ticks[:0], np.zeros(0, dtype=np.bool_), warp)
    inside = (ticks >= warp.station_us[0]) & (ticks <= warp.station_us[-1])
    found, ticks = found.select(inside), ticks[inside]
    last = warp.station_us.size - 2
    before, after = (
        np.clip(np.searchsorted(warp.station_us, ticks, side=side) - 1, 0, last) for side in ("left", "right")
    )
    primary = found.primary
    heights = warp.map_heights(found.height, after)
    heights[primary] = warp.place_heights
    bend = 0.5 * (_bend(warp, before) + _bend(warp, after))
    rank, no_tide = found.rank.copy(), found.no_tide.copy()
    for kind, sign, names in (("high", 1.0, ("HH", "LH", "H")), ("low", -1.0, ("LL", "HL", "L"))):
        chosen = np.flatnonzero(primary & (found.kind == kind))
        rank[chosen] = rank_waters(found.tide_id[chosen] // 2, sign * heights[chosen], names)
    no_tide[primary] = lacks_tide(warp.place_heights)
    at_place = replace(
        found,
        time=from_microseconds(warp.place_moments(ticks)),
        height=heights,
        rank=rank,
        curvature=found.curvature * bend,
        no_tide=no_tide,
        stand_start=_moved(found.stand_start, warp),
        stand_end=_moved(found.stand_end, warp),
    )
    kept = np.flatnonzero((at_place.time >= span.start) & (at_place.time < span.end))
    owner = np.maximum(np.cumsum(primary) - 1, 0)
    return PlaceTide(at_place.select(kept), ticks[kept], held[owner[kept]], warp)


def _bend(warp: Warp, half: IntArray) -> FloatArray:
    """Return by how much stronger than at the station the curve bends in each half tide."""
    bend: FloatArray = warp.scale(half) * warp.stretch(half) ** 2
    return bend


def _moved(times: UtcTimes, warp: Warp) -> UtcTimes:
    """Return instants at the station as they come at the place; NaT where there is none."""
    moved = warp.place_moments(np.where(np.isnat(times), warp.station_us[0], times.view(np.int64)))
    moved = np.where(np.isnan(moved), 0.0, moved)
    return np.where(np.isnat(times), np.datetime64("NaT", "us"), from_microseconds(moved))
