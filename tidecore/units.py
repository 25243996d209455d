"""Units of level that records come in, and the array types that names of quantities stand for."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import UnknownName

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
#: ``datetime64`` in UTC.
UtcTimes = NDArray[np.datetime64]
AnyArray = NDArray[Any]

#: Metres in one unit of level. The foot is the international foot of 1959, exactly 0.3048 m.
METRES: dict[str, float] = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048}

_SPELLINGS: dict[str, str] = {
    "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "foot": "ft", "feet": "ft",
}  # fmt: skip


def metres_per(unit: str) -> float:
    """Return how many metres one ``unit`` of level is.

    Parameters
    ----------
    unit : str
        ``"m"``, ``"cm"``, ``"mm"`` or ``"ft"``, or one of their English spellings, in any case.

    Raises
    ------
    UnknownName
        For any other unit.

    Examples
    --------
    >>> metres_per("Feet")
    0.3048
    """
    key = unit.strip().lower()
    key = _SPELLINGS.get(key, key)
    if key not in METRES:
        raise UnknownName("unit of level", unit, tuple(METRES))
    return METRES[key]
