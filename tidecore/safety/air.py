"""Hazards of air, light and people: thunder, mist, cold, cliffs, warnings, access, the dark, being alone, bathers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tidecore.conditions import WARNING_LEVELS
from tidecore.safety.line import COMMON, Line
from tidecore.safety.looking import Look
from tidecore.safety.outing import OutingFacts
from tidecore.safety.thresholds import Thresholds
from tidecore.shore.dangers import (
    CAUTION,
    DANGER,
    INFO,
    NONE,
    NOT_ASSESSED,
    at_least,
    cliff,
    cold_air,
    cold_water,
    graded,
    low_visibility,
    strong_gusts,
    thunder,
    wind_chill,
)
from tidecore.units import AnyArray, BoolArray

_WIND_CHILL = "joint wind chill index of 2001; thresholds from memory"
#: Beds that flats are made of.
_FLATS = frozenset({"clean_sand", "sand_with_bars_and_gutters", "mud", "mussel", "eelgrass", "channel_edge"})
#: What each of `WARNING_LEVELS` is graded.
_OF_LEVEL = np.array([NONE, CAUTION, CAUTION, DANGER, DANGER, NOT_ASSESSED], dtype=np.int8)


def air_lines(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    """Yield the hazards of warnings, air and cold at a mark."""
    yield _warnings(look)
    yield _thunder(look, limits)
    yield from _visibility(look, limits, facts)
    yield from look.shared(("cold", limits), lambda: tuple(_cold(look, limits)))
    yield from _cliff(look, limits)
    yield from _gusts(look, limits)
    yield from _access(look)


def people_lines(look: Look, facts: OutingFacts, cut_off: AnyArray) -> Iterator[Line]:
    """Yield the hazards of the dark, of being alone and of others; ``cut_off`` are the codes of that hazard."""
    rock = look.sources.mark.kind == "rock_ledge"
    yield _dark(look, facts, rock)
    yield _alone(look, facts, look.dark | rock | (cut_off != NONE))
    if facts.bathers is not False:
        there = np.full(len(look), bool(facts.bathers)) | look.bathing
        said = "People bathe within the casting arc from {since} to {until}: do not cast."
        yield Line("bathers", graded(False, there, False), {DANGER: said}, f"the access calendar; {COMMON}")


def _warnings(look: Look) -> Line:
    levels = look.warning_levels
    codes = _OF_LEVEL[levels]
    codes = np.where(look.warned_of_unknown, CAUTION, codes).astype(np.int8)
    return Line(
        "official_warning",
        codes,
        {
            CAUTION: "An official warning of {severity} severity is in force from {since} until {over}: it goes before "
            "anything said here.",
            NOT_ASSESSED: "Whether an official warning is in force is not known: ask the authority before going.",
            DANGER: "An official warning of {severity} severity is in force from {since} until {over}: it goes before "
            "anything said here.",
        },
        "official warnings on file, Common Alerting Protocol 1.2",
        named={"severity": (np.maximum(levels, 0), ("unsaid", *WARNING_LEVELS[1:]))},
    )


def _thunder(look: Look, limits: Thresholds) -> Line:
    probability = look.given("thunder_probability_percent")
    return Line(
        "thunder",
        thunder(probability, look.thunder_seen, look.warned_of_thunder, limits.thunder_caution_percent),
        {
            CAUTION: "Thunder is possible from {since} to {over} ({value:.0f} %): at the first sign rods down, off "
            "the water and the ridge, and wait 30 min after the last.",
            NOT_ASSESSED: "Thunder is not assessed: no forecast of it covers this time.",
            DANGER: "Thunder is observed or warned of from {since} to {over}: rods down, leave water and ridge, wait "
            "30 min after the last.",
        },
        f"the conditions and warnings given; {COMMON}",
        {CAUTION: probability},
        {CAUTION: limits.thunder_caution_percent},
        "%",
    )


def _visibility(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    if look.sources.mark.kind not in ("open_beach", "estuary"):
        return
    away, visibility = _from_shore_m(look, limits.flats_from_shore_m, facts), look.given("visibility_m")
    codes = low_visibility(visibility, away, limits.visibility_danger_m, limits.flats_from_shore_m)
    if np.isnan(away) and look.sources.mark.all_beds and not _FLATS & set(look.sources.mark.all_beds):
        # No flats: mist that nobody foretells is no matter there, but how far out one is in known mist is.
        codes = np.where(np.isnan(visibility), NONE, codes).astype(np.int8)
    yield Line(
        "visibility",
        codes,
        {
            NOT_ASSESSED: "Mist on the flats is not assessed: the visibility, or how far from the shore the mark lies, "
            "is not known.",
            DANGER: "Visibility falls to {value:.0f} m on flats far from the shore from {since} to {over}: be ashore "
            "before.",
        },
        f"the conditions given; {COMMON}",
        {DANGER: visibility},
        {DANGER: limits.visibility_danger_m},
        "m",
        least_is_worst=True,
    )


def _from_shore_m(look: Look, limit_m: float, facts: OutingFacts) -> float:
    """Return how far from the shore a mark lies [m]; NaN where it is not known, and may be far.

    The length of its way back or, if that is more, the place of its peg, of the edge of the lowest water for who
    gathers bait; where there is no way, the peg alone tells that it is far, but not that it is near.
    """
    mark, ground = look.sources.mark, look.sources.setting.beach
    peg = 0.0 if mark.peg is None else mark.peg.distance_m
    if facts.gathering:
        if ground is None or np.isnan(look.frame.still_level).all():
            return float("nan")
        edge = float(ground.waterline(np.nanmin(look.frame.still_level)))
        return max(peg, min(edge, float(ground.distances[-1])) - float(max(ground.distances[0], 0.0)))
    if mark.way_back:
        return max(peg, sum(leg.length_m for leg in mark.way_back))
    return peg if peg > limit_m else float("nan")


def _cold(look: Look, limits: Thresholds) -> Iterator[Line]:
    air, wind, sea = (look.given(name) for name in ("air_temperature_c", "wind_speed_m_per_s", "sea_temperature_c"))
    felt = np.fmin(wind_chill(air, wind), air)
    yield Line(
        "cold_air",
        cold_air(air, wind, limits.wind_chill_caution_c, limits.wind_chill_danger_c),
        {
            CAUTION: "It feels like {value:.0f} C in the wind: dress for it, and go before hands get clumsy.",
            NOT_ASSESSED: "Cold is not assessed: air temperature or wind are not known.",
            DANGER: "It feels like {value:.0f} C in the wind: skin freezes within half an hour.",
        },
        _WIND_CHILL,
        {CAUTION: felt, DANGER: felt},
        {CAUTION: limits.wind_chill_caution_c, DANGER: limits.wind_chill_danger_c},
        "degC",
        least_is_worst=True,
    )
    yield Line(
        "cold_water",
        cold_water(sea, limits.cold_shock_sea_c, limits.cold_hands_sea_c),
        {
            INFO: "Sea of {value:.0f} C: whoever falls in gets cold shock; float first, wear a lifejacket.",
            CAUTION: "Sea of {value:.0f} C: cold shock at once, and hands fail in minutes; wear a lifejacket.",
            NOT_ASSESSED: "The temperature of the sea is not known: take it for cold enough for cold shock.",
        },
        COMMON,
        {INFO: sea, CAUTION: sea},
        {INFO: limits.cold_shock_sea_c, CAUTION: limits.cold_hands_sea_c},
        "degC",
        least_is_worst=True,
    )


def _cliff(look: Look, limits: Thresholds) -> Iterator[Line]:
    where = look.sources.mark.cliff
    if not where:
        return
    rained, known = look.rained_mm
    rained = np.where(known | at_least(rained, limits.cliff_rain_mm), rained, np.nan)
    keep = {"foot": "keep away from the foot, stones fall", "top": "keep away from the edge, it breaks"}
    named = "Cliff: " + "; ".join(keep[one] for one in where)
    yield Line(
        "cliff",
        cliff(rained, look.frost, limits.cliff_rain_mm),
        {
            INFO: f"{named}.",
            CAUTION: f"{named}; more so now, after frost or {limits.cliff_rain_mm:g} mm of rain in 48 h.",
            NOT_ASSESSED: f"{named}; whether frost or rain of the last 48 h loosened it is not known.",
        },
        COMMON,
        {CAUTION: rained},
        {CAUTION: limits.cliff_rain_mm},
        "mm",
    )


#: What the wind takes people off, by the kind of mark.
_EDGES = {"rock_ledge": "this ledge", "pier_or_wall": "this pier or wall"}


def _gusts(look: Look, limits: Thresholds) -> Iterator[Line]:
    """Yield the wind where a fall follows a stagger: on cliffs, ledges, piers and walls."""
    mark = look.sources.mark
    if not mark.cliff and mark.kind not in _EDGES:
        return
    place = _EDGES.get(mark.kind, "the cliff")
    wind, gust = look.given("wind_speed_m_per_s"), look.given("wind_gust_m_per_s")
    codes, reckoned = strong_gusts(wind, gust, limits.gust_caution_m_per_s, limits.gust_danger_m_per_s)
    yield Line(
        "wind",
        codes,
        {
            CAUTION: f"Gusts of {{value:.0f}} m/s{{how}} on {place} from {{since}} to {{over}} make one stagger: keep "
            "well back from every edge, and leave as it freshens.",
            NOT_ASSESSED: f"Wind on {place} from {{since}} to {{until}} is not assessed: gusts are not known, and may "
            "make one stagger; keep back from every edge.",
            DANGER: f"Gusts of {{value:.0f}} m/s{{how}} from {{since}} to {{over}} can take one off {place}: stay off "
            "it, and away from every edge.",
        },
        f"the conditions given; gusts of 1.5 times the mean wind where they are not told; {COMMON}",
        {CAUTION: reckoned, DANGER: reckoned},
        {CAUTION: limits.gust_caution_m_per_s, DANGER: limits.gust_danger_m_per_s},
        "m/s",
        named={"how": (np.isnan(gust).astype(np.int64), ("", " (reckoned from the mean wind)"))},
    )


def _access(look: Look) -> Iterator[Line]:
    mark = look.sources.mark
    if not mark.access and mark.kind != "pier_or_wall":
        return
    shut, unsure = look.access == 0, look.access == -1
    yield Line(
        "access",
        graded(shut, shut & _gale(look), unsure),
        {
            CAUTION: "From {since} until {over} access is closed: do not go in, and be out before.",
            NOT_ASSESSED: "Whether access is open is not known: look for notices and gates.",
            DANGER: "Closed for the gale from {since} until {over}: stay off.",
        },
        "the access calendar of the mark",
    )


def _gale(look: Look) -> BoolArray:
    """Return where wind or sea are over what a gale closure of the mark names."""
    found = np.zeros(len(look), dtype=np.bool_)
    for one in look.sources.mark.access:
        if one.wind_over_m_per_s is not None:
            found |= look.given("wind_speed_m_per_s") > one.wind_over_m_per_s
        if one.wave_height_over_m is not None and look.sources.sea is not None:
            found |= look.sources.sea.height.at(look.times_us) > one.wave_height_over_m
    return found


def _dark(look: Look, facts: OutingFacts, rock: bool) -> Line:
    first = facts.first_visit
    code = NOT_ASSESSED if first is None else NONE if not first else DANGER if rock else CAUTION
    see = "see the ground by day before you fish it by night"
    return Line(
        "dark",
        np.where(look.dark, code, NONE).astype(np.int8),
        {
            CAUTION: f"First visit, and dark from {{since}} to {{until}}: {see}.",
            NOT_ASSESSED: f"Dark from {{since}} to {{until}}, and nobody said whether this mark is new to you: {see}.",
            DANGER: f"First visit to rock in the dark, from {{since}} to {{until}}: {see}.",
        },
    )


def _alone(look: Look, facts: OutingFacts, worse: BoolArray) -> Line:
    alone = facts.is_alone
    bad, plain = (NOT_ASSESSED, NONE) if alone is None else (CAUTION, INFO) if alone else (NONE, NONE)
    tell = "tell somebody where you are and when you will be back"
    return Line(
        "alone",
        np.where(worse, bad, plain).astype(np.int8),
        {
            INFO: f"Alone: {tell}.",
            CAUTION: f"Alone by night, on rock or where the tide cuts off: {tell}, or do not go alone.",
            NOT_ASSESSED: f"Nobody said whether you go alone by night, on rock or where the tide cuts off: {tell}.",
        },
    )
