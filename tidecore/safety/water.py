"""Hazards of the water: run-up at the peg, water behind, the way back, rock and walls, the shore break, wading."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tidecore.safety.line import COMMON, Line, verbatim
from tidecore.safety.looking import Look
from tidecore.safety.outing import OutingFacts
from tidecore.safety.thresholds import DEFAULTS, Thresholds
from tidecore.shore import Ground, WayBack
from tidecore.shore.beds import SAND
from tidecore.shore.dangers import (
    CAUTION,
    DANGER,
    INFO,
    NONE,
    NOT_ASSESSED,
    at_least,
    graded,
    on_ledge,
    overwash,
    shore_break,
    up_a_grade,
    wading,
)
from tidecore.shore.setting import NO_WAY, NO_ZERO
from tidecore.shore.turning_back import NAMED_MIN
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE
from tidecore.units import AnyArray, FloatArray

_ROCK, _WALL = "rock_ledge", "pier_or_wall"
#: Marks that the open sea comes to.
_OPEN = ("open_beach", _ROCK, _WALL)
#: Turning back is named so long before [microseconds].
_NAMED_US = round(NAMED_MIN * US_PER_MINUTE)
_RUN_UP = "Stockdon et al. 2006 on sand, Poate et al. 2016 on shingle; Rayleigh for the largest"
#: What the pressure lifts the sea by is told from so much on, by which the sentence is rounded [m].
_TOLD_SURGE_M = 0.005
_NOT_IN_TIME = "decide 24 to 48 h before, and again on arrival"


def water_lines(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    """Yield the hazards of the water at a mark."""
    yield from _sea(look)
    yield from _surge(look, limits, facts)
    yield from _ground(look)
    yield from _at_the_peg(look, limits, facts)
    yield from _behind(look, facts)
    yield from _way_back(look, limits, facts)
    yield from _survey(look, limits)
    yield from _rock(look, limits, facts)
    yield from _break(look, limits)
    yield from _wading(look, limits, facts)


def _everywhere(look: Look, code: int) -> AnyArray:
    return np.full(len(look), code, dtype=np.int8)


def _unless_no_sea(look: Look, codes: AnyArray) -> AnyArray:
    """Return codes without those that are not assessed for want of the sea, where that is said already."""
    if look.sources.mark.kind not in _OPEN:
        return codes
    return np.where((codes == NOT_ASSESSED) & np.isnan(look.sea.waves.height), NONE, codes).astype(np.int8)


def _sea(look: Look) -> Iterator[Line]:
    """Yield that the sea is not known, at marks that it comes to."""
    if look.sources.mark.kind not in _OPEN:
        return
    unknown = np.isnan(look.sea.waves.height)
    conditions = look.sources.conditions
    ends = np.empty(0, dtype=np.int64) if conditions is None else conditions.pieces("wave_height_m").runs()[1]
    over = ends.size > 0 and bool(unknown[look.times_us >= ends[-1]].any())
    why = "the forecast ends before" if over else "no forecast or observation covers it"
    said = f"Sea not assessed from {{since}}: {why}; {_NOT_IN_TIME}."
    yield Line("sea", graded(False, False, unknown), {NOT_ASSESSED: said}, "the conditions given")


def _surge(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    """Yield what the pressure lifts the sea, or that nobody knows, where levels of the ground are held against it."""
    setting, mark = look.sources.setting, look.sources.mark
    levels = setting.ground is not None or setting.way is not None or mark.ledge_height_m is not None
    if facts.surge_m is not None or np.isnan(setting.zero_m) or not levels:
        return
    lifted = look.pressure_surge
    much = at_least(lifted, limits.pressure_surge_caution_m)
    by = "by the inverse barometer (1 cm a hPa under 1013.25 hPa; high pressure is not counted as less water)"
    yield Line(
        "surge",
        graded(much, False, np.isnan(lifted), np.where(at_least(lifted, _TOLD_SURGE_M), INFO, NONE)),
        {
            INFO: f"Low pressure lifts the sea by up to {{value:.2f}} m {by}; what the wind adds is not in it.",
            CAUTION: f"A deep low lifts the sea by up to {{value:.2f}} m {by}, and its wind can add much more, which "
            "is not in it: heed surge and flood warnings.",
            NOT_ASSESSED: "Surge is not assessed: neither it nor the pressure of the air is known, and weather can "
            "bring the water higher and sooner than is said here.",
        },
        "the pressure given, inverse barometer; common practice",
        {INFO: lifted, CAUTION: lifted},
        {CAUTION: limits.pressure_surge_caution_m},
        "m",
    )


def _ground(look: Look) -> Iterator[Line]:
    """Yield what is not known of the ground of a beach, so that waves and troughs are not assessed."""
    setting, mark = look.sources.setting, look.sources.mark
    if setting.no_beach or (mark.kind != "open_beach" and setting.ground is None):
        return
    missing = setting.missing("dry_margin")
    if missing:
        said = f"Waves at the peg and water behind it are not assessed: {'; '.join(missing)}."
        yield Line("ground", _everywhere(look, NOT_ASSESSED), {NOT_ASSESSED: said}, "the mark")


def _at_the_peg(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    setting = look.sources.setting
    if setting.no_beach or setting.beach is None or setting.peg_m is None or facts.gathering:
        return
    sea = look.sea
    still = look.still + look.surge(facts)
    called_off = ~np.isnan(sea.waves.height) & (sea.reaches != 1)
    found = overwash(
        setting.beach,
        setting.peg_m,
        still,
        sea.waves.where(sea.reaches == 1),
        limits.peg_caution_m,
        limits.peg_danger_m,
    )
    codes = np.where(called_off & (found.codes < NOT_ASSESSED), NOT_ASSESSED, found.codes).astype(np.int8)
    # In estuaries nobody knows how much of the sea comes in; said only where it was told at the mark itself.
    codes = np.where(setting.inside & called_off & (codes == NOT_ASSESSED), NONE, codes).astype(np.int8)
    yield Line(
        "overwash",
        _unless_no_sea(look, codes),
        {
            CAUTION: "One wave in fifty runs up to {beside} the peg by the formula: stand further up.",
            NOT_ASSESSED: "How far waves run up to the peg is not assessed for a part of the time: bed, slope or sea "
            "are none that a formula covers.",
            DANGER: "The largest waves from {since} to {over} can come to the peg or over it (to {beside} it by the "
            "formula, which scatters): stand well above the wet line, or do not go.",
        },
        _RUN_UP,
        {CAUTION: found.margin, DANGER: found.margin_largest},
        {CAUTION: limits.peg_caution_m, DANGER: limits.peg_danger_m},
        "m",
        least_is_worst=True,
    )


def _behind(look: Look, facts: OutingFacts) -> Iterator[Line]:
    """Yield that water stands behind; by the level that 95 % of waters stay under."""
    setting = look.sources.setting
    ground = setting.beach
    if ground is None or setting.no_beach:
        return
    upper = look.upper + look.surge(facts)
    nowhere = np.zeros(len(look), dtype=np.bool_)
    if setting.peg_m is not None and not facts.gathering:
        danger, caution = ground.water_behind(upper, setting.peg_m), nowhere
    else:
        bank = ground.isolates(upper) if _has_bar(ground) else nowhere
        # Who gathers is as far out as the water leaves ground, wherever the peg is.
        danger, caution = (bank, nowhere) if facts.gathering else (nowhere, bank)
    between = "behind the banks of this ground" if facts.gathering else "between the peg and the land"
    yield Line(
        "water_behind",
        graded(caution, danger & ~np.isnan(upper), np.isnan(upper)),
        {
            CAUTION: "From {since} until {over} water can stand behind the banks of this ground: whoever is out on one "
            "is cut off.",
            NOT_ASSESSED: "Whether water stands behind the peg is not assessed: the tide is not known.",
            DANGER: f"From {{since}} until {{over}} water can stand {between}: be off it before. Whoever is cut off "
            "calls the coastguard and does not try to cross.",
        },
        "the profile, and the level that 95 % of waters stay under",
    )


def _way_back(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    setting = look.sources.setting
    way = setting.way
    if way is None or np.isnan(setting.zero_m):
        said = f"Being cut off is not assessed: {NO_WAY if way is None else NO_ZERO}."
        yield Line("cut_off", _everywhere(look, NOT_ASSESSED), {NOT_ASSESSED: said}, "the mark")
        return
    if way.walk_min is None:
        yield _no_walk(look, way, limits, facts)
        return
    lead_min = way.lead_with(limits.allowances(facts))
    assert lead_min is not None
    spare, lead = round(limits.spare_min * US_PER_MINUTE), round(lead_min * US_PER_MINUTE)
    codes = np.zeros(len(look), dtype=np.int8)
    left = np.full(len(look), np.nan)
    spans = look.covered(limits.sill_margin_m, facts, DEFAULTS.sill_margin_m)
    due, late = spans[:, 0] - lead, spans[:, 0] - spare
    places = (np.searchsorted(look.times_us, one) for one in (due - _NAMED_US, late, late - _STEP + 1, spans[:, 1]))
    told = 0
    for at, named, too_late, danger, dry in zip(due.tolist(), *(one.tolist() for one in places), strict=True):
        # The spans ascend: until the sill was dry before, all is told from when turning back was named.
        named = max(named, told)
        codes[named:too_late] = INFO
        codes[danger:dry] = DANGER
        left[named:dry] = (at - look.times_us[named:dry]) / US_PER_MINUTE
        told = max(told, dry)
    codes = np.where(np.isnan(look.upper), NOT_ASSESSED, codes).astype(np.int8)
    if facts.is_alone:
        codes = up_a_grade(codes, codes == INFO)
    walk_min = way.walk_min * facts.pace
    lowest = f"{verbatim(way.sill_name)}, {way.sill_m:.1f} m; the way takes {walk_min:.0f} min"
    ahead_said = f"{{turning}} {{turn_back}}: after it the water can cover the way back ({lowest})."
    yield Line(
        "cut_off",
        codes,
        {
            INFO: ahead_said,
            CAUTION: f"{{alone}} {{turn_back}}: then the water can cover the way back ({lowest}).",
            NOT_ASSESSED: "Being cut off is not assessed: the tide is not known.",
            DANGER: f"{{turning}} {{turn_back}}: until {{over}} the water can cut off the way back ({lowest}). "
            "Whoever is cut off calls the coastguard and does not try to cross.",
        },
        f"the way back as stated, the level that 95 % of waters stay under; {COMMON}",
        {INFO: left, CAUTION: left, DANGER: left},
        {INFO: 0.0, CAUTION: 0.0, DANGER: 0.0},
        "min",
        least_is_worst=True,
    )


def _no_walk(look: Look, way: WayBack, limits: Thresholds, facts: OutingFacts) -> Line:
    """Return that a way back takes nobody knows how long: that its sill is under water is known all the same."""
    codes = _everywhere(look, NOT_ASSESSED)
    for covered, dry in look.covered(limits.sill_margin_m, facts, DEFAULTS.sill_margin_m).tolist():
        codes[(look.times_us > covered - _STEP) & (look.times_us < dry)] = DANGER
    return Line(
        "cut_off",
        codes,
        {
            NOT_ASSESSED: f"When to turn back is not assessed: {verbatim(way.why)}.",
            DANGER: f"From {{since}} until {{over}} the water can cut off the way back ({verbatim(way.sill_name)}, "
            f"{way.sill_m:.1f} m): be off long before, for nobody knows how long the way takes. Whoever is cut off "
            "calls the coastguard and does not try to cross.",
        },
        f"the way back as stated, the level that 95 % of waters stay under; {COMMON}",
    )


#: The water reaches a sill at some instant between two: the earlier counts.
_STEP = 5 * US_PER_MINUTE


def _survey(look: Look, limits: Thresholds) -> Iterator[Line]:
    """Yield sills on sand whose survey is old, or older than a big sea."""
    sandy = [leg for leg in look.sources.mark.way_back if leg.bed in SAND or leg.bed == "shingle_to_sand"]
    if not sandy:
        return
    dates = [None if leg.surveyed is None else np.datetime64(leg.surveyed, "us") for leg in sandy]
    if any(date is None for date in dates):
        said = (
            "A sill on sand on the way back was never surveyed, so far as is stated: sand moves, look at it dry first."
        )
        yield Line("sill_survey", _everywhere(look, NOT_ASSESSED), {NOT_ASSESSED: said}, COMMON)
        return
    oldest = min(int(date.astype(np.int64)) for date in dates if date is not None)
    days = (look.times_us - oldest) / US_PER_DAY
    moved = np.zeros(len(look), dtype=np.bool_)
    conditions = look.sources.conditions
    if conditions is not None:
        sea = conditions.pieces("wave_height_m")
        # The sea goes one way within a piece: it is highest at an end of it, or where the survey cuts it.
        at = np.concatenate((sea.start_us, sea.end_us - 1, [oldest]))
        big = at[(sea.at(at) > limits.sill_big_sea_m) & (at >= oldest)]
        if big.size:
            moved = look.times_us >= big.min()
    said = "A sill on sand on the way back was surveyed {value:.0f} days before"
    yield Line(
        "sill_survey",
        graded((days > limits.sill_survey_days) | moved, False, False),
        {CAUTION: f"{said}, or a big sea has been over it since: sand moves, look at it dry first."},
        COMMON,
        {CAUTION: days},
        {CAUTION: limits.sill_survey_days},
        "d",
    )


def _rock(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    """Yield the sea on rock, piers and walls, where no run-up is told: by height and period."""
    kind = look.sources.mark.kind
    if kind not in (_ROCK, _WALL):
        return
    sea = look.sea
    thresholds = (limits.ledge_long_period_s, limits.ledge_long_period_height_m, limits.ledge_height_any_period_m)
    codes = _unless_no_sea(look, on_ledge(sea.waves.height, sea.waves.peak_period, sea.reaches, thresholds))
    if facts.is_alone and kind == _ROCK:
        codes = up_a_grade(codes, codes == INFO)
    watch = "Watch the sea for 20 to 30 min before going down."
    place = "this ledge" if kind == _ROCK else "this wall"
    yield Line(
        "waves_on_rock" if kind == _ROCK else "waves_on_wall",
        codes,
        {
            INFO: watch,
            CAUTION: f"Alone on rock. {watch}",
            NOT_ASSESSED: "Height, period or direction of the sea leave it open whether waves come over " + place + ": "
            "stay off it where you cannot tell.",
            DANGER: f"A sea of {{value:.1f}} m and {{period}} s from {{since}} to {{over}} sweeps {place}, large "
            "waves after quiet spells: stay off it.",
        },
        COMMON,
        {DANGER: sea.waves.height},
        {DANGER: _ledge_threshold(sea.waves.height, codes, limits)},
        "m",
        besides={"period": sea.waves.peak_period},
    )


def _ledge_threshold(height: FloatArray, codes: AnyArray, limits: Thresholds) -> float:
    """Return the height that a danger is held against: that of long periods where the sea is under the other."""
    there = height[codes == DANGER]
    low = there.size > 0 and bool(there.max() < limits.ledge_height_any_period_m)
    return limits.ledge_long_period_height_m if low else limits.ledge_height_any_period_m


def _break(look: Look, limits: Thresholds) -> Iterator[Line]:
    mark = look.sources.mark
    if mark.kind != "open_beach" or (mark.all_beds and "shingle" not in mark.all_beds):
        return
    sea = look.sea
    waves = (sea.waves.height, sea.waves.peak_period, sea.reaches)
    codes = shore_break(*waves, limits.shore_break_height_m, limits.shore_break_period_s)
    if not mark.all_beds:
        codes = np.where(codes == DANGER, NOT_ASSESSED, codes).astype(np.int8)
    yield Line(
        "shore_break",
        _unless_no_sea(look, codes),
        {
            NOT_ASSESSED: "Whether the sea breaks hard on the shore is not assessed: period, direction or bed are not "
            "known.",
            DANGER: "A sea of {value:.1f} m and {period} s breaks hard on steep shingle from {since} to {over}: do "
            "not go down to land a fish.",
        },
        COMMON,
        {DANGER: sea.waves.height},
        {DANGER: limits.shore_break_height_m},
        "m",
        besides={"period": sea.waves.peak_period},
    )


def _wading(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    mark, setting = look.sources.mark, look.sources.setting
    if mark.kind not in ("open_beach", "estuary") or facts.wading is False:
        return
    mud = "mud" in mark.all_beds
    height = look.sea.waves.height
    if setting.inside:
        # Nobody knows how much of the sea of outside comes in.
        height = np.where(look.sea.reaches == 1, height, np.nan)
    codes = wading(facts.wading, _flood_behind(look, facts), mud, height, limits.knee_m)
    yield Line(
        "wading",
        codes,
        {
            INFO: "Waves stand above the knee: do not wade.",
            CAUTION: "Do not wade here: " + ("the mud is soft." if mud else "the flood comes in behind a bar."),
            NOT_ASSESSED: "Whether it is fit to wade is not assessed, for sea or ground are not known: do not wade.",
            DANGER: "No wading: "
            + ("soft mud." if mud else "a flood behind a bar, or waves above the knee, from {since} to {over}."),
        },
        COMMON,
        {INFO: height, DANGER: height},
        {INFO: limits.knee_m, DANGER: limits.knee_m},
        "m",
    )


def _flood_behind(look: Look, facts: OutingFacts) -> AnyArray:
    """Return whether the tide floods behind a bar: 1, 0, or -1 where the ground is not known."""
    setting = look.sources.setting
    if setting.ground is None:
        return np.full(len(look), -1 if look.sources.mark.kind == "open_beach" else 0, dtype=np.int8)
    anywhere = setting.peg_m is None or facts.gathering
    if not (_has_bar(setting.ground) if anywhere else setting.trough_behind_m is not None):
        return np.zeros(len(look), dtype=np.int8)
    return (look.frame.rate > 0.0).astype(np.int8)


def _has_bar(ground: Ground) -> bool:
    """Return whether the ground rises anywhere on the way out to sea."""
    return bool((np.diff(ground.levels) > 0.0).any())
