"""Factors of sea and air: what the forecasts and observations that the caller gave say, and what follows from them."""

from __future__ import annotations

from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from tidecore.conditions import PERIOD_ASSUMPTION, TRENDS, WARNING_LEVELS
from tidecore.timeline import water_state
from tidecore.timeline.factor import Factor, Words, pick
from tidecore.timeline.given import NOT_GIVEN, rests_on, why_unknown
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

_NOTHING = np.empty(0, dtype=np.int64)
_CONDITIONS, _SEA_AT_MARK = attrgetter("conditions"), attrgetter("sea")


def _given(frame: Frame, variable: str) -> FloatArray:
    conditions = frame.sources.conditions
    return np.full(len(frame), np.nan) if conditions is None else conditions.at(variable, frame.times_us)


def _given_breaks(sources: Sources, *variables: str) -> IntArray:
    if sources.conditions is None:
        return _NOTHING
    return np.concatenate([sources.conditions.pieces(variable).breaks_us() for variable in variables])


def _wave_height(frame: Frame) -> FloatArray:
    sea = frame.sources.sea
    return np.full(len(frame), np.nan) if sea is None else sea.height.at(frame.times_us)


def _wave_height_breaks(sources: Sources) -> IntArray:
    return _NOTHING if sources.sea is None else sources.sea.height.breaks_us()


def _wind_onshore(frame: Frame) -> FloatArray:
    facing = frame.sources.mark.facing_degree
    if facing is None:
        return np.full(len(frame), np.nan)
    speed, from_degree = _given(frame, "wind_speed_m_per_s"), _given(frame, "wind_from_degree")
    onshore: FloatArray = speed * np.cos(np.radians(from_degree - facing))
    return onshore


def _hours_since_sea_peak(frame: Frame) -> FloatArray:
    sea = frame.sources.sea
    return np.full(len(frame), np.nan) if sea is None else sea.hours_since_peak(frame.times_us)


def _sea_peak_breaks(sources: Sources) -> IntArray:
    return _NOTHING if sources.sea is None else sources.sea.peak_breaks_us()


def _sea_trend(frame: Frame) -> AnyArray:
    sea = frame.sources.sea
    codes = np.full(len(frame), -1, dtype=np.int64) if sea is None else sea.trend(frame.times_us)
    return pick(TRENDS, codes)


def _sea_trend_breaks(sources: Sources) -> IntArray:
    return _NOTHING if sources.sea is None else sources.sea.trend_breaks_us()


def _official_warning(frame: Frame) -> AnyArray:
    return pick(WARNING_LEVELS, frame.sources.warnings.at(frame.times_us))


def _warning_rests_on(sources: Sources) -> str:
    told = () if sources.conditions is None else sources.conditions.warnings
    if not told:
        return f"{NOT_GIVEN}: no official warning on file"
    return "official warnings of " + ", ".join(dict.fromkeys(one.sender for one in told))


def _warning_unknown(sources: Sources) -> str:
    told = () if sources.conditions is None else sources.conditions.warnings
    if not told:
        return "no official warning is on file, which does not say that there is none"
    return "no official warning on file says anything of a part of this span"


def _variable(name: str, unit: str, meaning: str, variable: str, period: float | None = None) -> Factor:
    """Return the factor that is a variable of the conditions as it was given."""
    return Factor(
        name,
        "sea_and_air",
        unit,
        "number",
        meaning,
        NOT_GIVEN,
        partial(_given, variable=variable),
        lambda sources: _given_breaks(sources, variable),
        period=period,
        rests_on=partial(rests_on, variables=(variable,)),
        why_unknown=partial(why_unknown, variables=(variable,)),
        hangs_on=_CONDITIONS,
    )


def _period(name: str, called: str, variable: str) -> Factor:
    meaning = f"{called} of the waves; worked out from another period by {PERIOD_ASSUMPTION}, where that was given."
    return _variable(name, "s", meaning, variable)


_WAVES, _WIND = ("wave_height_m",), ("wind_speed_m_per_s", "wind_from_degree")
_SEA: tuple[Words, Words] = (partial(rests_on, variables=_WAVES), partial(why_unknown, variables=_WAVES))

FACTORS = (
    Factor(
        "wave_height",
        "sea_and_air",
        "m",
        "number",
        "Significant wave height, as given for open water or for the mark; 0 where waves of open water come from "
        "outside the mark's exposure sector.",
        NOT_GIVEN,
        _wave_height,
        _wave_height_breaks,
        rests_on=_SEA[0],
        why_unknown=_SEA[1],
        hangs_on=_SEA_AT_MARK,
    ),
    _period("wave_peak_period", "Peak period Tp", "wave_peak_period_s"),
    _period("wave_energy_period", "Energy period Tm-1,0", "wave_energy_period_s"),
    _period("wave_zero_crossing_period", "Mean zero-crossing period Tz", "wave_zero_crossing_period_s"),
    _variable(
        "wave_from", "degree", "Direction the waves come from, clockwise from true north.", "wave_from_degree", 360.0
    ),
    _variable("wind_speed", "m/s", "Mean wind speed at 10 m.", "wind_speed_m_per_s"),
    _variable(
        "wind_from", "degree", "Direction the wind comes from, clockwise from true north.", "wind_from_degree", 360.0
    ),
    _variable("wind_gust", "m/s", "Speed of gusts at 10 m.", "wind_gust_m_per_s"),
    Factor(
        "wind_onshore",
        "sea_and_air",
        "m/s",
        "number",
        "Part of the wind that blows from where the mark faces on to the shore; off the shore it is negative.",
        NOT_GIVEN,
        _wind_onshore,
        lambda sources: _given_breaks(sources, *_WIND),
        rests_on=partial(rests_on, variables=_WIND),
        why_unknown=partial(why_unknown, variables=_WIND, facing=True),
    ),
    _variable("air_temperature", "degC", "Temperature of the air at 2 m.", "air_temperature_c"),
    _variable("sea_temperature", "degC", "Temperature of the sea at its surface.", "sea_temperature_c"),
    _variable("pressure", "hPa", "Air pressure at mean sea level.", "pressure_hpa"),
    _variable("cloud_cover", "%", "Part of the sky that is covered by cloud.", "cloud_cover_percent"),
    _variable("rain", "mm/h", "Rain.", "rain_mm_per_h"),
    _variable("thunder_probability", "%", "Probability of thunder.", "thunder_probability_percent"),
    _variable("visibility", "m", "Horizontal visibility.", "visibility_m"),
    Factor(
        "official_warning",
        "sea_and_air",
        "",
        "category",
        "Gravest official warning in force, by the severities of the Common Alerting Protocol 1.2; none only where a "
        "message on file says so, as until what it warns of begins, or after a cancel.",
        NOT_GIVEN,
        _official_warning,
        lambda sources: sources.warnings.edges_us,
        categories=WARNING_LEVELS,
        rests_on=_warning_rests_on,
        why_unknown=_warning_unknown,
    ),
    Factor(
        "hours_since_sea_peak",
        "sea_and_air",
        "h",
        "number",
        "Time since the sea last peaked, to ten minutes: since its height was last the highest of the 24 h before, at "
        "least 1 m, and a fifth over the lowest of those 24 h; 0 while it is, 240 at most, and 240 where it did not "
        "peak in ten days that are known. Gaps of up to 12 h are bridged for looking back.",
        NOT_GIVEN,
        _hours_since_sea_peak,
        _sea_peak_breaks,
        rests_on=_SEA[0],
        why_unknown=partial(why_unknown, variables=_WAVES, past="no peak of the sea is known that lies before"),
        hangs_on=_SEA_AT_MARK,
    ),
    Factor(
        "sea_trend",
        "sea_and_air",
        "",
        "category",
        "Rising (falling) where the wave height is at least 0.1 m and at least a tenth over (under) what it was 3 h "
        "before, else steady.",
        NOT_GIVEN,
        _sea_trend,
        _sea_trend_breaks,
        categories=TRENDS,
        rests_on=_SEA[0],
        why_unknown=partial(why_unknown, variables=_WAVES, past="the height of 3 h before is not known of"),
        hangs_on=_SEA_AT_MARK,
    ),
    *water_state.FACTORS,
)
