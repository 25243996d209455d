"""The columns of the shore: where the water stands on the ground of a mark, and whether it can be fished."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore import dry_margin, largest_over_r2, minutes_to_turn_back
from tidecore.shore.fishability import FISHABLE, SURF, UNKNOWN, Fishable, fishable, hindering_wind, holding, surf, weed
from tidecore.timeline.factor import UNKNOWN_BOOLEAN
from tidecore.timeline.shore_sea import number, sea_reaches, shore_run_up, shore_sea, text
from tidecore.timeline.tide_levels import sill_covered
from tidecore.timeline.water_state import weed_risk
from tidecore.units import AnyArray, FloatArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame

#: The dry margin is that of the largest run-up of so many waves: two hours or so.
WAVES_IN_MARGIN = 1000
#: Longest time to turning back that is told, either way [min].
LONGEST_LEFT_MIN = 1440.0


def waterline(frame: Frame) -> FloatArray:
    """Return where the still water meets the ground; NaN off the profile."""
    ground = frame.sources.setting.beach
    if ground is None:
        return np.full(len(frame), np.nan)
    edge = ground.waterline(frame.still_level)
    return np.where(np.isfinite(edge), edge, np.nan)


def water_behind(frame: Frame) -> AnyArray:
    """Return whether water stands between the peg and the land or, without a peg, behind any dry ground."""
    setting = frame.sources.setting
    ground, still = setting.beach, frame.still_level
    if ground is None or (setting.peg_m is not None and np.isnan(ground.level_at(setting.peg_m))):
        return np.full(len(frame), UNKNOWN_BOOLEAN, dtype=np.int8)
    cut = ground.isolates(still) if setting.peg_m is None else ground.water_behind(still, setting.peg_m)
    return np.where(np.isnan(still), UNKNOWN_BOOLEAN, cut).astype(np.int8)


def run_up(frame: Frame) -> FloatArray:
    """Return R2; NaN where there is no estimate."""
    found = frame.once(shore_run_up)
    return np.full(len(frame), np.nan) if found is None else found.r2


def margin(frame: Frame) -> FloatArray:
    """Return the vertical dry margin at the peg."""
    setting, known = frame.sources.setting, frame.once(shore_run_up)
    if setting.beach is None or setting.peg_m is None or known is None:
        return np.full(len(frame), np.nan)
    largest = float(largest_over_r2(WAVES_IN_MARGIN))
    waves = frame.once(shore_sea).waves
    return dry_margin(setting.beach, setting.peg_m, frame.still_level, waves, largest, known).vertical


def to_turn_back(frame: Frame) -> FloatArray:
    """Return the minutes left until turning back."""
    sources = frame.sources
    way = sources.setting.way
    if way is None or way.lead_min is None or np.isnan(sources.setting.zero_m):
        return np.full(len(frame), np.nan)
    left = minutes_to_turn_back(frame.times_us, sources.once(sill_covered), way.lead_min, LONGEST_LEFT_MIN)
    return np.where(np.isnan(frame.height), np.nan, left)


def holding_codes(frame: Frame) -> AnyArray:
    """Return codes of `HOLDING`."""
    return holding(frame.stream_speed)


def surf_codes(frame: Frame) -> AnyArray:
    """Return codes of `SURF`."""
    return surf(number(frame, "wave_height_m"), frame.once(sea_reaches))


def weed_codes(frame: Frame) -> AnyArray:
    """Return codes of `WEED`."""
    return weed(text(frame, "weed"), weed_risk(frame))


def crosswind(frame: Frame) -> FloatArray:
    """Return the part of the wind that hinders a cast straight out; NaN where the mark's facing is unknown."""
    facing = frame.sources.setting.facing_degree
    if facing is None:
        return np.full(len(frame), np.nan)
    return hindering_wind(number(frame, "wind_speed_m_per_s"), number(frame, "wind_from_degree"), facing)


def fishable_codes(frame: Frame) -> AnyArray:
    """Return codes of `FISHABLE`: those of `fishable_of`."""
    holds = holding_codes(frame)
    if (holds != UNKNOWN).any():
        return fishable_of(frame).codes
    # Where it is never known whether a lead holds nothing but a no is known, and wind and proxies of weed say none.
    no = (surf_codes(frame) == SURF.index("unfishable")) | (text(frame, "weed") == "unfishable")
    return np.where(no, FISHABLE.index("no"), UNKNOWN).astype(np.int8)


def fishable_of(frame: Frame) -> Fishable:
    """Return whether the water can be fished, and what makes it so."""
    return fishable(holding_codes(frame), surf_codes(frame), weed_codes(frame), crosswind(frame))
