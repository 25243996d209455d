"""The quantities that an issue may give: fixed names with their units, and how each is read between its times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

VariableKind = Literal["number", "direction", "category"]

#: Values further apart than this are not joined [h]: of quantities that change by the hour, and of slow ones.
FAST_GAP_H, SLOW_GAP_H = 3.0, 6.0


@dataclass(frozen=True, slots=True)
class Variable:
    """One quantity of an issue.

    Parameters
    ----------
    name : str
        Its name in a document, with its unit.
    unit : str
        The unit; empty for a category.
    kind : str
        ``"number"``: linear between its times. ``"direction"``: along the shorter arc. ``"category"``: as seen, for
        ``longest_gap_h`` after each time or until the next.
    meaning : str
        What it is.
    longest_gap_h : float
        Times further apart than this [h] are not joined: between them it is unknown.
    lowest, highest : float
        What a value may be.
    above_lowest : bool
        Whether ``lowest`` itself is refused.
    categories : tuple of str
        The values of a category, in rising order.
    """

    name: str
    unit: str
    kind: VariableKind
    meaning: str
    longest_gap_h: float
    lowest: float = 0.0
    highest: float = 0.0
    above_lowest: bool = False
    categories: tuple[str, ...] = ()


def _number(
    name: str,
    unit: str,
    meaning: str,
    lowest: float,
    highest: float,
    gap_h: float = FAST_GAP_H,
    kind: VariableKind = "number",
    above_lowest: bool = False,
) -> Variable:
    return Variable(name, unit, kind, meaning, gap_h, lowest, highest, above_lowest)


def _direction(name: str, what: str) -> Variable:
    meaning = f"Direction {what} from, clockwise from true north; 360 is north too."
    return _number(name, "degree", meaning, 0.0, 360.0, kind="direction")


CLARITIES = ("clear", "tinge", "coloured", "thick")
WEEDS = ("none", "odd_strand", "every_cast", "unfishable")

#: Every variable; a new one is an entry here and a field of `Values`.
VARIABLES = (
    _number("wave_height_m", "m", "Significant wave height.", 0.0, 40.0),
    _number("wave_period_s", "s", "Period of the waves, of the kind named beside it.", 0.0, 40.0, above_lowest=True),
    _direction("wave_from_degree", "the waves come"),
    _number("wind_speed_m_per_s", "m/s", "Mean wind speed at 10 m.", 0.0, 120.0),
    _direction("wind_from_degree", "the wind comes"),
    _number("wind_gust_m_per_s", "m/s", "Speed of gusts at 10 m.", 0.0, 150.0),
    _number("air_temperature_c", "degC", "Temperature of the air at 2 m.", -80.0, 60.0, SLOW_GAP_H),
    _number("sea_temperature_c", "degC", "Temperature of the sea at its surface.", -5.0, 45.0, SLOW_GAP_H),
    _number("pressure_hpa", "hPa", "Air pressure at mean sea level.", 850.0, 1100.0, SLOW_GAP_H),
    _number("cloud_cover_percent", "%", "Part of the sky that is covered by cloud.", 0.0, 100.0),
    _number("rain_mm_per_h", "mm/h", "Rain.", 0.0, 500.0),
    _number("thunder_probability_percent", "%", "Probability of thunder.", 0.0, 100.0),
    _number("visibility_m", "m", "Horizontal visibility.", 0.0, 1_000_000.0),
    Variable("clarity", "", "category", "Clarity of the water as seen; it holds for 12 h.", 12.0, categories=CLARITIES),
    Variable("weed", "", "category", "Weed on the line as seen; it holds for 6 h.", 6.0, categories=WEEDS),
)  # fmt: skip

VARIABLE_BY_NAME: Mapping[str, Variable] = MappingProxyType({variable.name: variable for variable in VARIABLES})

PeriodKind = Literal["peak", "energy", "zero_crossing"]
#: How many of each period the peak period is, of a sea with a single peak: Tm-1,0 = Tp / 1.1 and Tz = Tp / 1.28.
PEAK_PERIODS: Mapping[PeriodKind, float] = MappingProxyType({"peak": 1.0, "energy": 1.1, "zero_crossing": 1.28})
#: What a period is called that was worked out from the one that was given.
PERIOD_NAMES: Mapping[str, PeriodKind] = MappingProxyType(
    {
        "wave_peak_period_s": "peak",
        "wave_energy_period_s": "energy",
        "wave_zero_crossing_period_s": "zero_crossing",
    }
)
PERIOD_ASSUMPTION = "a sea with a single peak, for which Tm-1,0 = Tp / 1.1 and Tz = Tp / 1.28"
