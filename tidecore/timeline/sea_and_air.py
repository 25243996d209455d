"""Factors of sea and air: known by name and unit, so that rules may name them; only a caller can give their values."""

from __future__ import annotations

from tidecore.timeline.factor import Factor

_NOT_GIVEN = "from the caller: not given"


def _number(name: str, unit: str, meaning: str, period: float | None = None) -> Factor:
    return Factor(name, "sea_and_air", unit, "number", meaning, _NOT_GIVEN, period=period)


def _category(name: str, meaning: str, *categories: str) -> Factor:
    return Factor(name, "sea_and_air", "", "category", meaning, _NOT_GIVEN, categories=categories)


FACTORS = (
    _number("wave_height", "m", "Significant wave height."),
    _number("wave_peak_period", "s", "Peak period Tp of the waves."),
    _number("wave_energy_period", "s", "Energy period Tm-1,0 of the waves."),
    _number("wave_zero_crossing_period", "s", "Mean zero-crossing period Tz of the waves."),
    _number("wave_from", "degree", "Direction the waves come from, clockwise from true north.", 360.0),
    _number("wind_speed", "m/s", "Mean wind speed at 10 m."),
    _number("wind_from", "degree", "Direction the wind comes from, clockwise from true north.", 360.0),
    _number("wind_gust", "m/s", "Speed of gusts at 10 m."),
    _number("wind_onshore", "m/s", "Part of the wind that blows onto the mark; off the shore it is negative."),
    _number("air_temperature", "degC", "Temperature of the air at 2 m."),
    _number("sea_temperature", "degC", "Temperature of the sea at its surface."),
    _number("pressure", "hPa", "Air pressure at mean sea level."),
    _number("cloud_cover", "%", "Part of the sky that is covered by cloud."),
    _number("rain", "mm/h", "Rain."),
    _number("thunder_probability", "%", "Probability of thunder."),
    _number("visibility", "m", "Horizontal visibility."),
    _category(
        "official_warning",
        "Gravest official warning in force, by the severities of the Common Alerting Protocol 1.2.",
        "none",
        "minor",
        "moderate",
        "severe",
        "extreme",
    ),
    _number("hours_since_sea_peak", "h", "Time since the waves were last at their highest."),
    _category("sea_trend", "Whether the waves grow or fall.", "rising", "steady", "falling"),
    _category("clarity", "Clarity of the water.", "clear", "tinge", "coloured", "thick"),
    _category("weed_risk", "How likely drifting weed is.", "low", "likely", "high"),
)
