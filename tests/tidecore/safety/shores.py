"""Invented shores, seas and people that the tests of hazards share."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.conditions import ConditionIssue, Conditions, OfficialWarning
from tidecore.timeline import Timeline, build_timeline

START, END = "2026-06-10", "2026-06-12"
NOON, EVENING = np.datetime64("2026-06-10T12:00"), np.datetime64("2026-06-10T17:00")
MIDNIGHT, SMALL_HOURS = np.datetime64("2026-06-11T00:00"), np.datetime64("2026-06-11T03:00")

ZERO = {"name": "top of the wall", "above_datum_m": 0.0, "uncertainty_m": 0.1, "source": "levelled"}
#: A trough behind a bar: the tide of the plain model stands between 1.4 and 4.6 m.
BAR = [
    {"distance_m": 0.0, "level_m": 9.0, "bed": "clean_sand"},
    {"distance_m": 100.0, "level_m": 3.9},
    {"distance_m": 130.0, "level_m": 3.6},
    {"distance_m": 180.0, "level_m": 4.4},
    {"distance_m": 600.0, "level_m": -3.0},
]
WAY = [
    {"name": "gut", "lowest_sill_m": 4.0, "bed": "clean_sand", "length_m": 200.0, "surveyed": "2026-05-20"},
]
CALM: dict[str, float] = {
    "wave_height_m": 0.3,
    "wave_period_s": 5.0,
    "wave_from_degree": 270.0,
    "wind_speed_m_per_s": 3.0,
    "air_temperature_c": 16.0,
    "sea_temperature_c": 16.0,
    "rain_mm_per_h": 0.0,
    "thunder_probability_percent": 0.0,
    "visibility_m": 20_000.0,
}
LEDGE: dict[str, Any] = {"kind": "rock_ledge", "ledge_height_m": 6.0, "ground_datum": ZERO}
BEACH: dict[str, Any] = {
    "kind": "open_beach",
    "beds": ["clean_sand"],
    "ground_datum": ZERO,
    "profile": BAR,
    "peg": {"distance_m": 60.0},
}


def hours_of(start: str, count: int) -> list[str]:
    first = np.datetime64(start)
    return [f"{first + np.timedelta64(k, 'h')}:00Z".replace(":00:00Z", ":00Z") for k in range(count)]


def issue_of(
    values: dict[str, Any], start: str = "2026-06-07T00", hours: int = 140, kind: str = "forecast"
) -> ConditionIssue:
    """An issue that holds all of these values at every hour; a list is one an hour."""
    columns = {
        name: value if isinstance(value, list) else [value] * hours
        for name, value in values.items()
        if value is not None
    }
    document = {
        "kind": kind,
        "source": "invented",
        "issued_at": f"{start}:00Z" if kind == "forecast" else "2026-06-20T00:00Z",
        "times": hours_of(start, hours),
        "values": columns,
    }
    if any(name.startswith("wave_") for name in columns):
        document["waves_at"] = "at_mark"
    if "wave_period_s" in columns:
        document["wave_period_kind"] = "peak"
    return ConditionIssue.parse(document)


def warning_of(event: str, severity: str, start: str, end: str, msg_type: str = "alert") -> OfficialWarning:
    return OfficialWarning.parse(
        {
            "identifier": "w1",
            "sender": "invented authority",
            "sent": "2026-06-09T00:00:00Z",
            "msg_type": msg_type,
            "event": event,
            "severity": severity,
            "onset": start,
            "expires": end,
        }
    )


def line_of(
    mark: dict[str, Any],
    sea: dict[str, Any] | None = None,
    *,
    tide: str = "plain",
    warnings: tuple[OfficialWarning, ...] = (),
    given: Conditions | None = None,
) -> Timeline:
    """The timeline of a mark; the sea is calm but for what is changed, and not known at all for None."""
    if given is None and (sea is not None or warnings):
        issues = [] if sea is None else [issue_of({**CALM, **sea})]
        given = Conditions.of(issues, warnings)
    return build_timeline(mark_at(**mark), model_of(tide), START, END, conditions=given)
