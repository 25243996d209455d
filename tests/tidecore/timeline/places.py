"""Invented tides and marks that the tests of timelines and windows share. Amplitudes and phases are made up."""

from __future__ import annotations

from functools import cache
from typing import Any

from tidecore.model import TideModel
from tidecore.place import Mark

TIDES: dict[str, dict[str, tuple[float, float]]] = {
    "plain": {"M2": (1.6, 140.0)},
    "beating": {"M2": (1.6, 140.0), "S2": (0.4, 180.0)},
    "cancelling": {"M2": (0.216, 0.0), "S2": (0.2, 0.0)},
    "large": {
        "M2": (1.6, 140.0),
        "S2": (0.55, 180.0),
        "N2": (0.3, 120.0),
        "K1": (0.08, 100.0),
        "O1": (0.07, 330.0),
        "M4": (0.08, 20.0),
        "SA": (0.06, 220.0),
    },
    "double_low": {"M2": (0.8, 100.0), "S2": (0.25, 140.0), "M4": (0.32, 20.0), "M6": (0.1, 80.0), "N2": (0.15, 90.0)},
    "mixed": {"M2": (0.4, 60.0), "S2": (0.12, 90.0), "K1": (0.35, 130.0), "O1": (0.25, 110.0), "N2": (0.08, 50.0)},
    "diurnal": {"K1": (0.3, 130.0), "O1": (0.28, 110.0), "P1": (0.1, 125.0), "M2": (0.03, 60.0), "S2": (0.01, 90.0)},
    "none": {"M2": (0.01, 60.0), "S2": (0.002, 90.0)},
}


@cache
def model_of(tide: str) -> TideModel:
    return TideModel.from_constituents(TIDES[tide], latitude=50.0, mean_level=3.0, convention="utide", datum="local")


def mark_at(**changes: Any) -> Mark:
    plain: dict[str, Any] = {
        "name": "Long Ledge",
        "latitude": 50.0,
        "longitude": -4.0,
        "time_zone": "Europe/London",
        "station": "invented",
        "kind": "rock_ledge",
        "slack_lags": {"after_hw_min": 40, "after_lw_min": 25},
    }
    return Mark.parse(plain | changes)


def mark_without_lags(**changes: Any) -> Mark:
    return mark_at(slack_lags=None, **changes)
