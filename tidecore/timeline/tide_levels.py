"""When the tide at a mark passes levels that matter: those of its ground, and of the sill of its way back."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from tidecore.conditions import Conditions
from tidecore.intervals import height_bounds
from tidecore.offsets import WarpedHeight
from tidecore.roots.brackets import refine
from tidecore.shore.turning_back import SILL_MARGIN_M, LookedAlong, look_along, spans_over
from tidecore.timebase import from_microseconds
from tidecore.timeline.surge import surge_at
from tidecore.units import FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.sources import Sources, TideTables

#: Level of the interval whose upper bound counts for the way back: 95 % stay under it.
LEVEL = 0.9
#: What the upper level lies over the tide where the model has no record to tell it from [m]. A convention: weather
#: moves the level by as much on many coasts.
ALLOWANCE_M = 0.5

_NONE: IntArray = np.empty(0, dtype=np.int64)
_TOLERANCE_US = 1000.0
#: Levels along spans that are kept for the next mark: some 100 kB a month each.
_KEPT = 32


def level_passes(sources: Sources, levels: FloatArray) -> IntArray:
    """Return when the tide passes levels [m above the datum], in any order [microseconds since 1970].

    Between two neighbouring turning points, secondary ones included, the level only rises or only falls, so that
    every passage lies in a bracket of its own.
    """
    turns = sources.extremes.times_us()
    if turns.size < 2 or not levels.size:
        return _NONE
    heights = sources.curve(turns)
    low, high = np.minimum(heights[:-1], heights[1:]), np.maximum(heights[:-1], heights[1:])
    piece, which = np.nonzero((low[:, None] < levels) & (levels < high[:, None]))
    if not piece.size:
        return _NONE
    wanted = levels[which]
    found = refine(lambda at: sources.curve(at) - wanted, turns[piece], turns[piece + 1], _TOLERANCE_US)
    return np.rint(found).astype(np.int64)


def upper_level(tables: TideTables, times_us: IntArray | FloatArray) -> FloatArray:
    """Return the level that 95 % of waters stay under [m above the datum], the surge of whoever asks not in it.

    The tide with the upper bound of its 90 % interval; with half a metre on it where the model has no record to tell
    an interval from. NaN where the tide is.
    """
    height, times = tables.curve(times_us), np.asarray(times_us, dtype=np.float64)
    found = tables.model.calibration
    if found is None:
        return height + ALLOWANCE_M
    inside, at_station = ~np.isnan(height), times
    if isinstance(tables.curve, WarpedHeight):
        half, inside = tables.curve.warp.half_tides(times)
        at_station = times.copy()
        at_station[inside] = tables.curve.warp.station_times(times[inside], half[inside])
    instants = from_microseconds(at_station[inside])
    harmonics = tables.model.harmonics
    above = np.full(height.shape, np.nan)
    above[inside] = height_bounds(found, harmonics, instants, LEVEL).upper - harmonics.heights(instants)
    upper: FloatArray = height + above
    return upper


@lru_cache(maxsize=_KEPT)
def levels_every(tables: TideTables, start_us: int, end_us: int, step_us: int) -> tuple[FloatArray, FloatArray]:
    """Return the tide and its upper level every so often, the end left out; marks that follow one tide share them."""
    times = np.arange(start_us, end_us, step_us, dtype=np.int64)
    return tables.curve(times), upper_level(tables, times)


@dataclass(frozen=True, slots=True)
class UpperLevel:
    """`upper_level` with the surge that is given or that of the pressure [m above the datum], as a function of time.

    Equal ones are the same water: marks that follow one tide under one sky look along it once.
    """

    tables: TideTables
    conditions: Conditions | None
    surge_m: float | None

    def __call__(self, times_us: FloatArray) -> FloatArray:
        """Return the level at instants [microseconds since 1970]."""
        return upper_level(self.tables, times_us) + surge_at(self.conditions, times_us, self.surge_m)

    def over(self, sill: float, start_us: int, end_us: int) -> IntArray:
        """Return when it stands at a sill [m above the datum] or over it, see `tidecore.shore.covered_spans`."""
        return spans_over(self, _along(self, start_us, end_us), sill)


@lru_cache(maxsize=_KEPT)
def _along(level: UpperLevel, start_us: int, end_us: int) -> LookedAlong:
    return look_along(level, start_us, end_us)


def sill_covered(sources: Sources) -> IntArray:
    """Return when the upper level is within 0.3 m of the lowest sill of the way back, shape ``(n, 2)``, ascending.

    Over all of the tables, whose ends cut the spans; without surge. The uncertainty of the zero of the ground counts
    as water.
    """
    setting, tables = sources.setting, sources.tables
    if setting.way is None or setting.way.lead_min is None or np.isnan(setting.zero_m):
        return np.empty((0, 2), dtype=np.int64)
    sill = setting.way.sill_m - SILL_MARGIN_M - (setting.uncertainty_m - setting.zero_m)
    return UpperLevel(tables, None, None).over(sill, tables.start_us, tables.end_us)
