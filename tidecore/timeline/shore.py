"""Factors of the shore: where the water stands on the ground of the mark, and whether it can be fished."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore import largest_over_r2
from tidecore.shore.fishability import (
    FISHABLE,
    HOLDING,
    HOLDS_M_PER_S,
    LITTLE_HOLDS_M_PER_S,
    REACH_WIND_M_PER_S,
    SURF,
    UNFISHABLE_SEA_M,
    WEED,
)
from tidecore.shore.turning_back import PACK_UP_MIN, SILL_MARGIN_M, SPARE_MIN
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import shore_columns as columns
from tidecore.timeline.factor import Breaks, Factor, pick
from tidecore.timeline.given import rests_on
from tidecore.timeline.passes import value_passes
from tidecore.timeline.shore_columns import LONGEST_LEFT_MIN, WAVES_IN_MARGIN
from tidecore.timeline.shore_reasons import why_unknown
from tidecore.timeline.shore_sea import WAVES, WIND, given_breaks, number
from tidecore.timeline.tide_levels import ALLOWANCE_M, level_passes, sill_covered
from tidecore.timeline.water_state import weed_breaks
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

_PROFILE = "the mark's profile, or the plane beach of its slope, and the tide without surge"
_COMMON = "common practice"


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
    return np.concatenate((_at_ground(sources), given_breaks(sources, *WAVES), _at_sector(sources)))


def _at_sector(sources: Sources) -> IntArray:
    """Return when the sea turns into the exposure of the mark, or out of it."""
    breaks, sector = given_breaks(sources, "wave_from_degree"), sources.setting.sector
    if sector is None or not breaks.size:
        return np.empty(0, dtype=np.int64)

    def beyond(frame: Frame, edge: float) -> FloatArray:
        # Where the angle from the edge wraps round it seems to pass 0 too; such a break does no harm.
        return (number(frame, "wave_from_degree") - edge + 180.0) % 360.0 - 180.0

    passed = [_passes(sources, partial(beyond, edge=edge), 0.0, breaks, ("from", edge)) for edge in sector]
    return np.concatenate(passed)


def _passes(
    sources: Sources, value: Callable[[Frame], FloatArray], threshold: float, breaks: IntArray, key: Hashable
) -> IntArray:
    """Return when what hangs on the conditions and ``key`` alone passes a threshold: marks that share both share it."""
    if sources.conditions is None or not breaks.size:
        return np.empty(0, dtype=np.int64)
    span = sources.span.start_us, sources.span.end_us
    return sources.conditions.once(("passes", key, span), lambda: value_passes(sources, value, (threshold,), breaks))


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
    breaks = given_breaks(sources, "wave_height_m", "wave_from_degree")
    high = _passes(sources, partial(number, variable="wave_height_m"), UNFISHABLE_SEA_M, breaks, "wave_height_m")
    return np.concatenate((breaks, high, _at_sector(sources)))


def _at_weed(sources: Sources) -> IntArray:
    return np.concatenate((given_breaks(sources, "weed"), weed_breaks(sources)))


def _at_wind(sources: Sources) -> IntArray:
    return given_breaks(sources, *WIND)


def _at_all(sources: Sources) -> IntArray:
    breaks = _at_wind(sources)
    facing = sources.setting.facing_degree
    wind = _passes(sources, columns.crosswind, REACH_WIND_M_PER_S, breaks, ("crosswind", facing))
    return np.concatenate((_at_holding(sources), _at_surf(sources), _at_weed(sources), breaks, wind))


def _number(
    name: str, unit: str, meaning: str, provenance: str, compute: Callable[[Frame], AnyArray], breaks: Breaks
) -> Factor:
    return Factor(name, "shore", unit, "number", meaning, provenance, compute, breaks, why_unknown=why_unknown(name))


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
        name,
        "shore",
        "",
        "category",
        meaning,
        provenance,
        column,
        breaks,
        categories,
        of_the_stream=of_the_stream,
    )


#: What of the conditions a factor rests on.
_GIVEN = {
    "run_up": WAVES,
    "dry_margin": WAVES,
    "surf": ("wave_height_m", "wave_from_degree"),
    "weed": ("weed", "wave_height_m"),
    "crosswind": WIND,
    "fishable": ("wave_height_m", "wave_from_degree", "weed", *WIND),
}


def _resting(factor: Factor) -> Factor:
    """Return the factor with what says where its values come from, and why some are unknown."""
    told = replace(factor, why_unknown=why_unknown(factor.name))
    if factor.name not in _GIVEN:
        return told
    variables, provenance = _GIVEN[factor.name], factor.provenance
    return replace(told, rests_on=lambda sources: f"{provenance}; {rests_on(sources, variables)}")


_ENTRIES = (
    _number(
        "waterline",
        "m",
        "Where still water meets the land, its most landward crossing of the ground, seaward from the fixed point of "
        "the profile (on a plane beach from the zero of its ground); unknown off the profile.",
        _PROFILE,
        columns.waterline,
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
        columns.water_behind,
        _at_ground,
    ),
    _number(
        "run_up",
        "m",
        "Height above still water that 2 % of waves run up to, set-up included; only on sand (slope 0.01 to 0.2) and "
        "shingle, where the sea that reaches the mark is known by height, period and place.",
        "Stockdon et al. 2006 on sand, Poate et al. 2016 on shingle, by the mean slope within the reach of the waves",
        columns.run_up,
        _at_ground_and_sea,
    ),
    _number(
        "dry_margin",
        "m",
        f"Ground at the peg less the level that the largest run-up of {WAVES_IN_MARGIN} waves wets, without surge; "
        "negative where the peg is wetted, unknown where the run-up is.",
        f"{_PROFILE}; the run-up times {float(largest_over_r2(WAVES_IN_MARGIN)):.2f} (Rayleigh); as wet as at any "
        "lower level of the same sea",
        columns.margin,
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
        columns.to_turn_back,
        _at_sill,
    ),
    _category(
        "holding",
        f"Whether a grip lead of 150 to 170 g holds at 80 to 100 m: to {HOLDS_M_PER_S:g} m/s of stream; little holds "
        f"over {LITTLE_HOLDS_M_PER_S:g}. Unknown where the mark has no rates of its stream.",
        f"stream_speed; thresholds: {_COMMON}",
        columns.holding_codes,
        HOLDING,
        _at_holding,
        True,
    ),
    _category(
        "surf",
        f"A sea over {UNFISHABLE_SEA_M:g} m is unfishable for most, where it comes to the mark by its exposure.",
        f"wave_height and wave_from; threshold: {_COMMON}",
        columns.surf_codes,
        SURF,
        _at_surf,
    ),
    _category(
        "weed",
        "Drifting weed: as it was seen (none, odd_strand, every_cast, unfishable) or, where nobody saw, how likely it "
        "is (low, likely, high).",
        "weed seen, else weed_risk",
        columns.weed_codes,
        WEED,
        _at_weed,
    ),
    _number(
        "crosswind",
        "m/s",
        "Part of the wind that hinders a cast straight out: the whole wind where it blows on to the shore, the part "
        f"across where it blows off it; over {REACH_WIND_M_PER_S:g} m/s it cuts reach by a third.",
        f"wind_speed, wind_from and the mark's facing; threshold: {_COMMON}",
        columns.crosswind,
        _at_wind,
    ),
    _category(
        "fishable",
        "Whether the water can be fished, as bad as the worst of holding, surf, weed and crosswind: no where nothing "
        "holds, the surf is too high or weed unfishable; hard where holding is marginal, weed comes every cast or is "
        f"likely, or the wind hinders by more than {REACH_WIND_M_PER_S:g} m/s. Unknown where one of them is, unless "
        "another says no. It says nothing of safety.",
        f"holding, surf, weed and crosswind; {_COMMON}",
        columns.fishable_codes,
        FISHABLE,
        _at_all,
        True,
    ),
)

FACTORS = tuple(_resting(factor) for factor in _ENTRIES)
