"""Water levels in requests and answers: the tide, and the surge that is given."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Self

import numpy as np
from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from service.api.instants import Instant, to_numpy, write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema, whole
from service.api.v1.schemas.heights import zone_name
from service.api.v1.schemas.sureness import Cautions, IntervalLevel
from service.usecases.water_levels import GivenSeries, LevelQuestion, WaterLevels
from tidecore.place import Document, Number, fault
from tidecore.timebase import US_PER_SECOND, TimeSpan

#: Most values of a series that is given.
MOST_VALUES = 20_000

EXAMPLE: dict[str, Any] = {
    "start": "2026-06-01T00:00:00Z",
    "end": "2026-06-01T12:00:00Z",
    "step_s": 1800,
    "interval": 0.9,
    "surge": {"times": ["2026-06-01T00:00:00Z", "2026-06-01T06:00:00Z"], "surge_m": [0.35, 0.2], "surge_sd_m": 0.1},
    "pressure": {"times": ["2026-06-01T06:00:00Z", "2026-06-01T12:00:00Z"], "pressure_hpa": [1001.0, 1006.5]},
}

Times = Annotated[list[Instant], Field(min_length=1, max_length=MOST_VALUES, description="Ascending.")]
Values = Annotated[
    list[Number | None], Field(min_length=1, max_length=MOST_VALUES, description="One for each time; null is unknown.")
]


def _series(times: list[Instant], values: list[Number | None]) -> GivenSeries:
    stamps = np.array([to_numpy(one) for one in times], dtype="datetime64[us]")
    return GivenSeries(stamps, np.array([np.nan if one is None else one for one in values], dtype=np.float64))


def _same_length(times: list[Instant], values: list[Number | None]) -> None:
    if len(times) != len(values):
        raise fault(f"has {len(times)} times and {len(values)} values", "one value for every time")


class SurgeSeries(Document):
    """Surge over time."""

    times: Times
    surge_m: Values
    surge_sd_m: Annotated[
        Number | None,
        Field(ge=0.0, le=15.0, description="How sure it is; replaces the weather's part of the interval."),
    ] = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        _same_length(self.times, self.surge_m)
        return self


class PressureSeries(Document):
    """Air pressure at sea level over time; 1 cm of surge for each hPa under the reference, where none is given."""

    times: Times
    pressure_hpa: Values
    reference_pressure_hpa: Annotated[
        Number | None,
        Field(ge=850.0, le=1090.0, description="Mean of the place and month; 1013.25, with a caution, unless given."),
    ] = None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        _same_length(self.times, self.pressure_hpa)
        return self


class WaterLevelQuestion(Document):
    """A span, and what is known of the weather's part of the level."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    start: Instant
    end: Instant
    step_s: Annotated[int, Field(strict=True, ge=1, le=86_400), BeforeValidator(whole)] = 600
    version: Annotated[int | None, Field(strict=True, ge=1, le=1_000_000), BeforeValidator(whole)] = None
    datum: Annotated[str | None, Field(min_length=1, max_length=200)] = None
    interval: Annotated[Number | None, Field(description="Nominal coverage, over 0 and at most 0.99.")] = None
    surge: SurgeSeries | None = None
    pressure: PressureSeries | None = None
    tz: Annotated[
        str | None, Field(max_length=64, description="IANA zone whose offsets instants carry; UTC unless given.")
    ] = None

    def to_question(self) -> LevelQuestion:
        """Return what the use case takes; InvalidSpan if the span runs backwards."""
        surge, pressure = self.surge, self.pressure
        return LevelQuestion(
            TimeSpan(to_numpy(self.start), to_numpy(self.end)),
            self.step_s * US_PER_SECOND,
            self.version,
            self.datum,
            self.interval,
            None if surge is None else _series(surge.times, surge.surge_m),
            None if surge is None else surge.surge_sd_m,
            None if pressure is None else _series(pressure.times, pressure.pressure_hpa),
            None if pressure is None else pressure.reference_pressure_hpa,
        )


class WaterLevelSeries(Schema):
    """Water levels on an even grid: instant k is start + k x step_s."""

    station_id: str
    version: int
    datum: str
    start: InstantText
    step_s: int
    count: int
    time_zone: str
    interval: IntervalLevel
    heights_m: Annotated[list[float], Field(description="Height of the tide alone above the datum.")]
    surge_m: Annotated[list[float | None], Field(description="Surge given, or that of the pressure; null if unknown.")]
    levels_m: Annotated[list[float | None], Field(description="Tide and surge above the datum; null if unknown.")]
    lower_m: Annotated[
        list[float] | None,
        Field(description="Bound of the level; of the tide alone where the surge is unknown. Null without interval."),
    ]
    upper_m: Annotated[list[float] | None, Field(description="As lower_m.")]
    cautions: Cautions


def write_water_levels(found: WaterLevels, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return water levels as `WaterLevelSeries` has them."""
    bounds = found.intervals
    return {
        "station_id": found.served.station.station_id,
        "version": found.served.version,
        "datum": found.datum,
        "start": write_instant(found.grid.start_us, zone),
        "step_s": found.grid.step_us // US_PER_SECOND,
        "count": found.grid.count,
        "time_zone": zone_name(zone),
        "interval": found.level,
        "heights_m": numbers(found.heights, 3),
        "surge_m": numbers(found.surge, 3),
        "levels_m": numbers(found.heights + found.surge, 3),
        "lower_m": None if bounds is None else numbers(bounds.lower, 3),
        "upper_m": None if bounds is None else numbers(bounds.upper, 3),
        "cautions": list(found.cautions),
    }
