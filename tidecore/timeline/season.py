"""Factors of the season: the calendar of the mark's own zone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tidecore.timeline.factor import Factor
from tidecore.units import FloatArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame

_CALENDAR = "the calendar of the mark's time zone"


def day_of_year(frame: Frame) -> FloatArray:
    """Return the local day of the year, 1 on 1 January, 365 or 366 on 31 December."""
    days = frame.local_times.astype("datetime64[D]")
    new_year = days.astype("datetime64[Y]").astype("datetime64[D]")
    passed: FloatArray = (days - new_year).astype(np.float64)
    return passed + 1.0


def month(frame: Frame) -> FloatArray:
    """Return the local month, 1 to 12."""
    months = frame.local_times.astype("datetime64[M]").astype(np.int64) % 12 + 1
    return months.astype(np.float64)


FACTORS = (
    Factor(
        "day_of_year",
        "season",
        "d",
        "number",
        "Day of the year at the mark, a whole number: 1 on 1 January, 365 or 366 on 31 December.",
        _CALENDAR,
        day_of_year,
        period=366.0,
    ),
    Factor(
        "month",
        "season",
        "1",
        "number",
        "Month at the mark, a whole number: 1 in January to 12 in December.",
        _CALENDAR,
        month,
        period=12.0,
    ),
)
