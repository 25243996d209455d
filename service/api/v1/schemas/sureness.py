"""Intervals and surge in answers."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from service.api.media import number, numbers
from service.exports.series import Column
from service.usecases.sureness import Sureness
from tidecore.units import FloatArray

IntervalLevel = Annotated[
    float | None, Field(description="Nominal coverage of the intervals; null where none was asked for.")
]
SurgeLevel = Annotated[
    float | None, Field(description="Surge given, or that of the pressure; not in the heights, which are the tide's.")
]
Bounds = Annotated[
    list[float] | None,
    Field(description="Bound of the water level above the datum, surge included; null where there is no interval."),
]
Cautions = Annotated[list[str], Field(description="What must be known of intervals and surge; empty without them.")]


def write_surge(asked: Sureness) -> float | None:
    """Return the surge [m] as it is published; None where none is given."""
    return number(asked.value_m(), 3)


def write_bound(bound: FloatArray | None, asked: Sureness) -> list[float | None] | None:
    """Return a bound of the water level, surge included; None where there is none."""
    return None if bound is None else numbers(bound + (asked.value_m() or 0.0), 3)


def bound_columns(asked: Sureness, count: int, lower: FloatArray | None, upper: FloatArray | None) -> list[Column]:
    """Return the surge and the bounds of the water level as columns: those asked for, unknown where there are none."""
    found = []
    surge = asked.value_m()
    if surge is not None:
        told = "surge given, or that of the pressure; not in the height, which is the tide's"
        found.append(Column("surge", "number", np.full(count, surge), told, "m", 3))
    if asked.level is not None:
        for name, bound in (("lower", lower), ("upper", upper)):
            values = np.full(count, np.nan) if bound is None else bound + (surge or 0.0)
            meaning = f"{name} bound of the water level, surge included, at {asked.level:.0%} nominal coverage"
            found.append(Column(name, "number", values, meaning, "m", 3))
    return found
