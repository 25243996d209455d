"""Whether offsets make a tide, over a whole nodal cycle."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tidecore.datums.range_cycle import EPOCH
from tidecore.errors import Fault, InvalidInput
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.offsets.tables import place_heights, place_times
from tidecore.place import MarkOffsets
from tidecore.timebase import US_PER_MINUTE, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

#: Primary waters lie at least so far apart [minutes], so that lags which differ by less never fold.
_LEAST_GAP_MIN = 120.0
#: Waters of a nodal cycle are kept for so many stations: half a megabyte each.
_STATIONS_KEPT = 16


# Harmonics are equal to themselves alone, and so they are keys.
@lru_cache(maxsize=_STATIONS_KEPT)
def epoch_waters(harmonics: Harmonics) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return the primary high and low waters of the 6798 days from 2001-01-01.

    Instants [microseconds since 1970], heights [m], and which are high; kept for the stations asked for last.
    """
    primary = find_extremes(harmonics, EPOCH.start, EPOCH.end).primaries()
    return primary.times_us(), primary.height, primary.kind == "high"


def needs_check(offsets: MarkOffsets | None, lags_min: tuple[float, float] | None) -> bool:
    """Return whether it takes the station's tide to say that offsets and slack lags make one."""
    return offsets is not None or (lags_min is not None and abs(lags_min[0] - lags_min[1]) >= _LEAST_GAP_MIN)


def check_offsets(
    harmonics: Harmonics, offsets: MarkOffsets | None, lags_min: tuple[float, float] | None = None
) -> None:
    """Refuse offsets and slack lags that make no tide at any time in 18.6 years, all faults at once.

    Parameters
    ----------
    harmonics : Harmonics
        The tide of the station.
    offsets : MarkOffsets or None
        The tables of the place, None where it has the tide of the station.
    lags_min : (float, float), optional
        Minutes after the place's own high and low water at which the stream turns.

    Raises
    ------
    InvalidInput
        If a water comes at or before the one before it, a high water is at or below the low water beside it, or the
        stream turns at or before its turn before. A fault each, with the first such pair and how many there are.
    """
    if not needs_check(offsets, lags_min):
        return
    times, heights, high = epoch_waters(harmonics)
    faults = []
    if offsets is not None:
        if times.size < 2:
            faults.append(Fault("offsets", "the station has no high and low waters", "no offsets without a tide"))
        at_place, levels = place_times(offsets, times, high), place_heights(offsets, heights, high)[0]
        faults += _out_of_order(times, at_place, high) + _upside_down(times, levels, high)
        if faults:
            raise InvalidInput(faults)
        times = at_place
    if lags_min is not None:
        faults += _folded(times, high, lags_min)
    if faults:
        raise InvalidInput(faults)


def _named(times_us: IntArray, high: BoolArray, k: int) -> str:
    return f"the {'HW' if high[k] else 'LW'} of {from_microseconds(times_us[k])}Z"


def _out_of_order(times_us: IntArray, at_place: IntArray, high: BoolArray) -> list[Fault]:
    found = np.flatnonzero(np.diff(at_place) <= 0)
    if not found.size:
        return []
    k = int(found[0])
    early, late = _named(times_us, high, k), _named(times_us, high, k + 1)
    problem = f"put {late} at the station at or before {early} at the place, and {found.size - 1} more like that"
    return [Fault("offsets", problem, "differences of time under which every water comes after the one before it")]


def _upside_down(times_us: IntArray, levels: FloatArray, high: BoolArray) -> list[Fault]:
    rise = np.diff(levels) * np.where(high[1:], 1.0, -1.0)
    found = np.flatnonzero(rise <= 0.0)
    if not found.size:
        return []
    k = int(found[0])
    top, bottom = (k, k + 1) if high[k] else (k + 1, k)
    problem = (
        f"put {_named(times_us, high, top)} at {levels[top]:.2f} m, at or below {_named(times_us, high, bottom)} at "
        f"{levels[bottom]:.2f} m, and {found.size - 1} more like that"
    )
    return [Fault("offsets", problem, "differences of height under which every HW is above the LWs beside it")]


def _folded(times_us: IntArray, high: BoolArray, lags_min: tuple[float, float]) -> list[Fault]:
    after_hw, after_lw = lags_min
    turns = times_us + np.rint(np.where(high, after_hw, after_lw) * US_PER_MINUTE).astype(np.int64)
    found = np.flatnonzero(np.diff(turns) <= 0)
    if not found.size:
        return []
    k = int(found[0])
    problem = (
        f"of {after_hw:g} min after HW and {after_lw:g} min after LW put the turn after {_named(times_us, high, k)} at "
        f"or past that after {_named(times_us, high, k + 1)}, and {found.size - 1} more like that"
    )
    return [Fault("slack_lags", problem, "lags under which every slack comes before the next")]
