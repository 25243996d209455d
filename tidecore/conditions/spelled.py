"""Names and units that files use -> the variable that is meant, and its unit. What is in neither table is refused."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from tidecore.conditions.variables import VARIABLES, PeriodKind

_KELVIN, _FOOT, _NAUTICAL_MILE, _MILE, _INCH_OF_MERCURY = 273.15, 0.3048, 1852.0, 1609.344, 33.86389

#: By what a quantity is measured: how many of our unit one is, and what is added after that.
_LENGTHS = {"m": (1.0, 0.0), "cm": (0.01, 0.0), "ft": (_FOOT, 0.0)}
_FAR = {"m": (1.0, 0.0), "km": (1000.0, 0.0), "mi": (_MILE, 0.0), "nmi": (_NAUTICAL_MILE, 0.0)}
_SPEEDS = {
    "m_per_s": (1.0, 0.0),
    "km_per_h": (1.0 / 3.6, 0.0),
    "kn": (_NAUTICAL_MILE / 3600.0, 0.0),
    "mph": (_MILE / 3600.0, 0.0),
}
_TEMPERATURES = {"c": (1.0, 0.0), "k": (1.0, -_KELVIN), "f": (5.0 / 9.0, -160.0 / 9.0)}
_PRESSURES = {"hpa": (1.0, 0.0), "mbar": (1.0, 0.0), "pa": (0.01, 0.0), "inhg": (_INCH_OF_MERCURY, 0.0)}
_PARTS = {"percent": (1.0, 0.0), "fraction": (100.0, 0.0)}
_RAINS = {"mm_per_h": (1.0, 0.0), "m_per_s": (3_600_000.0, 0.0), "kg_per_m2_per_s": (3600.0, 0.0)}

#: Unit by the quantity, without the unit in its name.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "wave_height": _LENGTHS,
    "wave_period": {"s": (1.0, 0.0)},
    "wave_from": {"degree": (1.0, 0.0)},
    "wind_speed": _SPEEDS,
    "wind_from": {"degree": (1.0, 0.0)},
    "wind_gust": _SPEEDS,
    "air_temperature": _TEMPERATURES,
    "sea_temperature": _TEMPERATURES,
    "pressure": _PRESSURES,
    "cloud_cover": {**_PARTS, "okta": (12.5, 0.0)},
    "rain": _RAINS,
    "thunder_probability": _PARTS,
    "visibility": _FAR,
}

#: Other spellings of units, in lower case and without blanks.
_SPELLINGS = {
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "foot": "ft", "feet": "ft",
    "second": "s", "seconds": "s", "sec": "s",
    "deg": "degree", "degrees": "degree", "°": "degree", "degrees_true": "degree", "degree_true": "degree",
    "m/s": "m_per_s", "ms-1": "m_per_s", "m.s-1": "m_per_s", "ms**-1": "m_per_s",
    "metersecond-1": "m_per_s", "meterpersecond": "m_per_s",
    "km/h": "km_per_h", "kmh-1": "km_per_h", "kph": "km_per_h", "kmh": "km_per_h",
    "kt": "kn", "kts": "kn", "knot": "kn", "knots": "kn", "mi/h": "mph",
    "degc": "c", "°c": "c", "celsius": "c", "degreescelsius": "c", "degree_celsius": "c", "degrees_celsius": "c",
    "deg_c": "c", "kelvin": "k", "degk": "k", "degf": "f", "°f": "f", "fahrenheit": "f",
    "mb": "mbar", "millibar": "mbar", "millibars": "mbar", "pascal": "pa",
    "%": "percent", "1": "fraction", "oktas": "okta",
    "mm/h": "mm_per_h", "mmh-1": "mm_per_h", "mm/hr": "mm_per_h", "kgm-2s-1": "kg_per_m2_per_s",
    "kilometre": "km", "kilometres": "km", "kilometer": "km", "kilometers": "km",
    "mile": "mi", "miles": "mi",
}  # fmt: skip

_PERIODS: Mapping[str, PeriodKind] = {
    "wave_peak_period": "peak",
    "wave_energy_period": "energy",
    "wave_zero_crossing_period": "zero_crossing",
}
_BRACKETED = re.compile(r"\s*(\w+)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*")
#: Our name of each quantity that has a unit.
_VARIABLES = {
    next(name for name in UNITS if variable.name.startswith(f"{name}_")): variable.name
    for variable in VARIABLES
    if variable.kind != "category"
}
_SEEN = tuple(variable.name for variable in VARIABLES if variable.kind == "category")


@dataclass(frozen=True, slots=True)
class Meant:
    """What a column or a variable of a file means: ``ours = theirs * scale + offset``.

    ``period`` is the kind of period where the name says it; ``text`` whether values are words.
    """

    variable: str
    scale: float = 1.0
    offset: float = 0.0
    period: PeriodKind | None = None
    text: bool = False

    def ours(self, value: float) -> float:
        """Return a value in our unit; one that is in it already to the last digit."""
        return value if (self.scale, self.offset) == (1.0, 0.0) else value * self.scale + self.offset


def unit_named(text: str) -> str:
    """Return a unit in the spelling that `UNITS` has, if it is one of the spellings known, else as it is."""
    bare = re.sub(r"\s+", "", text).replace("^", "").lower()
    return _SPELLINGS.get(bare, bare)


def meant(quantity: str, unit: str) -> Meant | str:
    """Return what a quantity in a unit means, or which units would be known."""
    kind = _PERIODS.get(quantity)
    base = "wave_period" if kind is not None else quantity
    found = UNITS[base].get(unit_named(unit))
    if found is None:
        return ", ".join(UNITS[base])
    return Meant(_VARIABLES[base], *found, period=kind)


def header_meant(header: str) -> Meant | str:
    """Return what a header of a column means, or what would be right.

    ``wind_speed_kn``, ``wind_speed (kn)`` and ``wind_speed [kn]`` are the same.
    """
    name = header.strip()
    if name in _SEEN:
        return Meant(name, text=True)
    quantities = (*UNITS, *_PERIODS)
    bracketed = _BRACKETED.fullmatch(name)
    if bracketed is not None and bracketed[1] in quantities:
        quantity, unit = bracketed[1], bracketed[2]
    else:
        fitting = [quantity for quantity in quantities if name == quantity or name.startswith(f"{quantity}_")]
        if not fitting:
            return f"time, {', '.join(_SEEN)}, or one of {', '.join(quantities)} with its unit, as wave_height_m"
        quantity = max(fitting, key=len)
        unit = name[len(quantity) + 1 :]
    found = meant(quantity, unit)
    return (
        f"{quantity} with one of the units {found}, as {quantity}_{found.split(',')[0]}"
        if isinstance(found, str)
        else found
    )
