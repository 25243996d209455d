"""Offsets that the tests of places share. All are made up but the textbook exercise."""

from __future__ import annotations

from typing import Any

from tidecore.place import MarkOffsets

#: A textbook exercise of the usual form: differences of HW time at four hours of the clock, and of height.
TEXTBOOK_TIMES = [
    {"clock_h": 0, "later_min": 35},
    {"clock_h": 6, "later_min": 23},
    {"clock_h": 12, "later_min": 35},
    {"clock_h": 18, "later_min": 23},
]
TEXTBOOK_HIGH = {
    "kind": "differences",
    "springs": {"station_height_m": 4.2, "higher_m": 1.1},
    "neaps": {"station_height_m": 3.4, "higher_m": 0.8},
}
TEXTBOOK_LOW = {
    "kind": "differences",
    "springs": {"station_height_m": 0.4, "higher_m": 0.1},
    "neaps": {"station_height_m": 1.1, "higher_m": 0.2},
}
TEXTBOOK: dict[str, Any] = {
    "standard_zone": "+00:00",
    "high_water": {"times": TEXTBOOK_TIMES, "heights": TEXTBOOK_HIGH},
    "low_water": {"times": TEXTBOOK_TIMES, "heights": TEXTBOOK_LOW},
    "datum": "chart datum of the place",
}


def evenly(hw_min: float, lw_min: float, high: Any = None, low: Any = None, **more: Any) -> MarkOffsets:
    """Offsets with one difference of time for HW and one for LW."""
    return MarkOffsets.parse(
        {
            "standard_zone": "+00:00",
            "high_water": {"times": [{"clock_h": 0, "later_min": hw_min}], "heights": high},
            "low_water": {"times": [{"clock_h": 0, "later_min": lw_min}], "heights": low},
        }
        | more
    )


def by_ratio(ratio: float) -> dict[str, Any]:
    """One ratio of heights."""
    return {"kind": "ratio", "ratio": ratio}
