"""Factors of the shore: where the water stands on the ground of the mark, and whether it can be fished."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore import dry_margin, fishable, largest_over_r2, minutes_to_turn_back
from tidecore.shore.fishability import (
    FISHABLE,
    HOLDING,
    HOLDS_M_PER_S,
    LITTLE_HOLDS_M_PER_S,
    REACH_WIND_M_PER_S,
    SURF,
    UNFISHABLE_SEA_M,
    WEED,
    Fishable,
    hindering_wind,
    holding,
    surf,
    weed,
)
from tidecore.shore.turning_back import PACK_UP_MIN, SILL_MARGIN_M, SPARE_MIN
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline.factor import UNKNOWN_BOOLEAN, Breaks, Factor, pick
from tidecore.timeline.passes import value_passes
from tidecore.timeline.sea_at_mark import (
    WAVE_FACTORS,
    given,
    given_breaks,
    run_up_at_mark,
    sea_at_mark,
    seen_weed,
    seen_weed_breaks,
)
from tidecore.timeline.tide_levels import ALLOWANCE_M, level_passes, sill_covered
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

#: The dry margin is that of the largest run-up of so many waves: two hours or so.
WAVES_IN_MARGIN = 1000
#: Longest time to turning back that is told, either way [min].
LONGEST_LEFT_MIN = 1440.0

_PROFILE = "the mark's profile, or the plane beach of its slope, and the tide without surge"
_COMMON = "common practice"


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
    found = frame.once(run_up_at_mark)
    return np.full(len(frame), np.nan) if found is None else found.r2


def margin(frame: Frame) -> FloatArray:
    """Return the vertical dry margin at the peg."""
    setting, known = frame.sources.setting, frame.once(run_up_at_mark)
    if setting.beach is None or setting.peg_m is None or known is None:
        return np.full(len(frame), np.nan)
    largest = float(largest_over_r2(WAVES_IN_MARGIN))
    waves = frame.once(sea_at_mark).waves
    return dry_margin(setting.beach, setting.peg_m, frame.still_level, waves, largest, known).vertical


def to_turn_back(frame: Frame) -> FloatArray:
    """Return the minutes left until turning back."""
    sources = frame.sources
    way = sources.setting.way
    if way is None or way.lead_min is None or np.isnan(sources.setting.zero_m):
        return np.full(len(frame), np.nan)
    left = minutes_to_turn_back(frame.times_us, sources.once(sill_covered), way.lead_min, LONGEST_LEFT_MIN)
    return np.where(np.isnan(frame.height), np.nan, left)


def _holding(frame: Frame) -> AnyArray:
    return holding(frame.stream_speed)


def _surf(frame: Frame) -> AnyArray:
    sea = frame.once(sea_at_mark)
    return surf(sea.waves.height, sea.reaches)


def _weed(frame: Frame) -> AnyArray:
    return weed(seen_weed(frame), given(frame, "weed_risk"))


def crosswind(frame: Frame) -> FloatArray:
    """Return the part of the wind that hinders a cast straight out; NaN where the mark's facing is unknown."""
    facing = frame.sources.setting.facing_degree
    if facing is None:
        return np.full(len(frame), np.nan)
    return hindering_wind(given(frame, "wind_speed"), given(frame, "wind_from"), facing)


def fishable_of(frame: Frame) -> Fishable:
    """Return whether the water can be fished, and what makes it so."""
    return fishable(_holding(frame), _surf(frame), _weed(frame), crosswind(frame))


def _categories(codes: Callable[[Frame], AnyArray], names: tuple[str, ...]) -> Callable[[Frame], AnyArray]:
    def column(frame: Frame) -> AnyArray:
        return pick(names, codes(frame).astype(np.int64))

    return column


def _at_ground(sources: Sources) -> IntArray:
    """Return when the edge of the water passes a corner of the ground, or the peg, and when the tide turns."""
    setting = sources.setting
    if setting.beach is None:
        return np.empty(0, dtype=np.int64)
    levels = np.concatenate((setting.beach.levels, setting.beach.lowest_so_far))
    if setting.peg_m is not None:
        peg = setting.beach.level_of_reach(np.array([setting.peg_m]))
        levels = np.concatenate((levels, peg[np.isfinite(peg)]))
    passed = level_passes(sources, np.unique(levels) + setting.zero_m)
    return np.concatenate((passed, sources.extremes.times_us()))


def _at_ground_and_sea(sources: Sources) -> IntArray:
    return np.concatenate((_at_ground(sources), given_breaks(sources, *WAVE_FACTORS)))


def _at_sill(sources: Sources) -> IntArray:
    """Return when the sill falls dry again, and when the time left comes down from the longest that is told."""
    way = sources.setting.way
    if way is None or way.lead_min is None:
        return np.empty(0, dtype=np.int64)
    covered = sources.once(sill_covered)
    reach = np.array([LONGEST_LEFT_MIN, -LONGEST_LEFT_MIN]) + way.lead_min
    corners = covered[:, :1] - np.rint(reach * US_PER_MINUTE).astype(np.int64)
    return np.concatenate((covered[:, 1], corners.ravel()))


def _at_holding(sources: Sources) -> IntArray:
    if sources.mark.stream_rates is None:
        return np.empty(0, dtype=np.int64)
    slacks = np.concatenate((sources.slack_points_us, sources.turns.times_us))
    speeds = (HOLDS_M_PER_S, LITTLE_HOLDS_M_PER_S)
    return value_passes(sources, lambda frame: np.abs(frame.stream_speed), speeds, slacks)


def _at_surf(sources: Sources) -> IntArray:
    breaks = given_breaks(sources, "wave_height", "wave_from")
    if not breaks.size:
        return breaks
    passed = value_passes(sources, lambda frame: frame.once(sea_at_mark).waves.height, (UNFISHABLE_SEA_M,), breaks)
    return np.concatenate((breaks, passed))


def _at_weed(sources: Sources) -> IntArray:
    return np.concatenate((given_breaks(sources, "weed_risk"), seen_weed_breaks(sources)))


def _at_wind(sources: Sources) -> IntArray:
    return given_breaks(sources, "wind_speed", "wind_from")


def _at_all(sources: Sources) -> IntArray:
    breaks = _at_wind(sources)
    wind = value_passes(sources, crosswind, (REACH_WIND_M_PER_S,), breaks) if breaks.size else breaks
    return np.concatenate((_at_holding(sources), _at_surf(sources), _at_weed(sources), breaks, wind))


def _number(
    name: str, unit: str, meaning: str, provenance: str, compute: Callable[[Frame], AnyArray], breaks: Breaks
) -> Factor:
    return Factor(name, "shore", unit, "number", meaning, provenance, compute, breaks)


def _category(
    name: str,
    meaning: str,
    provenance: str,
    codes: Callable[[Frame], AnyArray],
    categories: tuple[str, ...],
    breaks: Breaks,
    of_the_stream: bool = False,
) -> Factor:
    column = _categories(codes, categories)
    return Factor(
        name, "shore", "", "category", meaning, provenance, column, breaks, categories, of_the_stream=of_the_stream
    )


FACTORS = (
    _number(
        "waterline",
        "m",
        "Where still water meets the land, its most landward crossing of the ground, seaward from the fixed point of "
        "the profile (on a plane beach from the zero of its ground); unknown off the profile.",
        _PROFILE,
        waterline,
        _at_ground,
    ),
    Factor(
        "water_behind",
        "shore",
        "",
        "boolean",
        "Whether water stands between the peg and the land; where the mark names no peg, whether it stands behind any "
        "dry ground of the profile.",
        _PROFILE,
        water_behind,
        _at_ground,
    ),
    _number(
        "run_up",
        "m",
        "Height above still water that 2 % of waves run up to, set-up included; only on sand (slope 0.01 to 0.2) and "
        "shingle, where the sea that reaches the mark is known by height, period and place.",
        "Stockdon et al. 2006 on sand, Poate et al. 2016 on shingle, by the mean slope within the reach of the waves",
        run_up,
        _at_ground_and_sea,
    ),
    _number(
        "dry_margin",
        "m",
        f"Ground at the peg less the level that the largest run-up of {WAVES_IN_MARGIN} waves wets, without surge; "
        "negative where the peg is wetted, unknown where the run-up is.",
        f"{_PROFILE}; the run-up times {float(largest_over_r2(WAVES_IN_MARGIN)):.2f} (Rayleigh); as wet as at any "
        "lower level of the same sea",
        margin,
        _at_ground_and_sea,
    ),
    _number(
        "minutes_to_turn_back",
        "min",
        f"Time left until turning back: until the level that 95 % of waters stay under is within {SILL_MARGIN_M:g} m "
        f"of the lowest sill of the way back, less the walk, {PACK_UP_MIN:g} min to pack up and {SPARE_MIN:g} min. "
        f"Negative once it is too late, until the sill falls dry; held between -{LONGEST_LEFT_MIN:g} and "
        f"{LONGEST_LEFT_MIN:g}.",
        "the mark's way back, the tide and the upper bound of its 90 % interval, or "
        f"{ALLOWANCE_M:g} m where the model has no record (a convention); walks by bed: {_COMMON}",
        to_turn_back,
        _at_sill,
    ),
    _category(
        "holding",
        f"Whether a grip lead of 150 to 170 g holds at 80 to 100 m: to {HOLDS_M_PER_S:g} m/s of stream; little holds "
        f"over {LITTLE_HOLDS_M_PER_S:g}. Unknown where the mark has no rates of its stream.",
        f"stream_speed; thresholds: {_COMMON}",
        _holding,
        HOLDING,
        _at_holding,
        True,
    ),
    _category(
        "surf",
        f"A sea over {UNFISHABLE_SEA_M:g} m is unfishable for most, where it comes to the mark by its exposure.",
        f"wave_height and wave_from; threshold: {_COMMON}",
        _surf,
        SURF,
        _at_surf,
    ),
    _category(
        "weed",
        "Drifting weed: as it was seen (none, odd_strand, every_cast, unfishable) or, where nobody saw, how likely it "
        "is (low, likely, high).",
        "weed seen, else weed_risk",
        _weed,
        WEED,
        _at_weed,
    ),
    _number(
        "crosswind",
        "m/s",
        "Part of the wind that hinders a cast straight out: the whole wind where it blows on to the shore, the part "
        f"across where it blows off it; over {REACH_WIND_M_PER_S:g} m/s it cuts reach by a third.",
        f"wind_speed, wind_from and the mark's facing; threshold: {_COMMON}",
        crosswind,
        _at_wind,
    ),
    _category(
        "fishable",
        "Whether the water can be fished, as bad as the worst of holding, surf, weed and crosswind: no where nothing "
        "holds, the surf is too high or weed unfishable; hard where holding is marginal, weed comes every cast or is "
        f"likely, or the wind hinders by more than {REACH_WIND_M_PER_S:g} m/s. Unknown where one of them is, unless "
        "another says no. It says nothing of safety.",
        f"holding, surf, weed and crosswind; {_COMMON}",
        lambda frame: fishable_of(frame).codes,
        FISHABLE,
        _at_all,
        True,
    ),
)
