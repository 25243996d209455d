"""Tables of a secondary place: when and how high its waters come, by those of its station."""

from __future__ import annotations

import numpy as np

from tidecore.place import HeightDifferences, HeightRatio, MarkOffsets, WaterOffsets
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray


def place_times(offsets: MarkOffsets, times_us: IntArray, high: BoolArray) -> IntArray:
    """Return when the high and low waters of a station come at the place.

    Parameters
    ----------
    offsets : MarkOffsets
        The tables of the place.
    times_us : int64 array, shape ``(n,)``
        High and low waters at the station [microseconds since 1970].
    high : bool array, shape ``(n,)``
        Which are high waters.

    Returns
    -------
    int64 array, shape ``(n,)``
        [microseconds since 1970]

    Notes
    -----
    The difference is looked up by the hour that a clock in the tables' standard zone shows at the station's own high
    (low) water. It is linear between the hours of the table, and from the last on to the first of the next day.

    Examples
    --------
    A station's HW at 06:38, with 35 min at 0 and 12 h and 23 min at 6 and 18 h, comes 24 min later:

    >>> times = [{"clock_h": h, "later_min": m} for h, m in ((0, 35), (6, 23), (12, 35), (18, 23))]
    >>> water = {"times": times}
    >>> offsets = MarkOffsets.parse({"standard_zone": "+00:00", "high_water": water, "low_water": water})
    >>> at_station = np.array(["2026-03-01T06:38"], dtype="datetime64[us]").view(np.int64)
    >>> place_times(offsets, at_station, np.array([True])).view("datetime64[us]").astype("datetime64[m]")
    array(['2026-03-01T07:02'], dtype='datetime64[m]')
    """
    clock_h = ((times_us + offsets.zone_min * US_PER_MINUTE) % US_PER_DAY) / US_PER_HOUR
    later = np.where(high, _later_min(offsets.high_water, clock_h), _later_min(offsets.low_water, clock_h))
    moved: IntArray = times_us + np.rint(later * US_PER_MINUTE).astype(np.int64)
    return moved


def _later_min(water: WaterOffsets, clock_h: FloatArray) -> FloatArray:
    """Return the difference of time [minutes] by the clock."""
    hours = np.array([one.clock_h for one in water.times])
    later: FloatArray = np.interp(clock_h, hours, [one.later_min for one in water.times], period=24.0)
    return later


def place_heights(offsets: MarkOffsets, heights: FloatArray, high: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Return how high the high and low waters of a station come at the place, and where a difference was held.

    Parameters
    ----------
    offsets : MarkOffsets
        The tables of the place.
    heights : float64 array, shape ``(n,)``
        High and low waters at the station [m above its datum].
    high : bool array, shape ``(n,)``
        Which are high waters.

    Returns
    -------
    heights : float64 array, shape ``(n,)``
        [m above the datum of the place]
    held : bool array, shape ``(n,)``
        True where the station's height lies more than half the step from neaps to springs outside the two, so that
        the difference is that of the furthest height up to which the table is followed.

    Examples
    --------
    >>> high = {"kind": "differences", "springs": {"station_height_m": 4.2, "higher_m": 1.1},
    ...         "neaps": {"station_height_m": 3.4, "higher_m": 0.8}}
    >>> times = [{"clock_h": 0, "later_min": 0}]
    >>> offsets = MarkOffsets.parse({"standard_zone": "+00:00", "high_water": {"times": times, "heights": high},
    ...                              "low_water": {"times": times}})
    >>> at_place, held = place_heights(offsets, np.array([4.2, 3.8, 4.7]), np.array([True, True, True]))
    >>> at_place.round(4).tolist(), held.tolist()
    ([5.3, 4.75, 5.95], [False, False, True])
    """
    highs, held_highs = _mapped(offsets.high_water.heights, heights)
    lows, held_lows = _mapped(offsets.low_water.heights, heights)
    return np.where(high, highs, lows), np.where(high, held_highs, held_lows)


def _mapped(stated: HeightDifferences | HeightRatio | None, heights: FloatArray) -> tuple[FloatArray, BoolArray]:
    if stated is None:
        return heights, np.zeros(heights.shape, dtype=np.bool_)
    if isinstance(stated, HeightRatio):
        return stated.ratio * heights, np.zeros(heights.shape, dtype=np.bool_)
    springs, neaps = stated.springs, stated.neaps
    step = springs.station_height_m - neaps.station_height_m
    part = (heights - neaps.station_height_m) / step
    followed = np.clip(part, -0.5, 1.5)
    higher = neaps.higher_m + followed * (springs.higher_m - neaps.higher_m)
    # A rounding beyond the end of the line is no height beyond it.
    return heights + higher, np.abs(part - 0.5) > 1.0 + 1e-9
