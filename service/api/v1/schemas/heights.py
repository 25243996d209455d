"""Heights in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.heights import HeightSeries
from tidecore.timebase import US_PER_SECOND


class StationHeights(Schema):
    """Heights of one station."""

    station_id: str
    version: int
    datum: str
    heights_m: Annotated[list[float], Field(description="Above the datum; one for each instant.")]


class Heights(Schema):
    """Heights on an even grid: instant k is start + k x step_s."""

    start: InstantText
    step_s: int
    count: int
    time_zone: str
    stations: list[StationHeights]


def write_heights(series: HeightSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return heights as `Heights` has them."""
    return {
        "start": write_instant(series.grid.start_us, zone),
        "step_s": series.grid.step_us // US_PER_SECOND,
        "count": series.grid.count,
        "time_zone": zone_name(zone),
        "stations": [
            {
                "station_id": served.station.station_id,
                "version": served.version,
                "datum": served.model.datum,
                "heights_m": numbers(row, 3),
            }
            for served, row in zip(series.stations, series.heights, strict=True)
        ],
    }


def zone_name(zone: zoneinfo.ZoneInfo | None) -> str:
    """Return the name of the zone whose offsets an answer carries."""
    return "UTC" if zone is None else zone.key
