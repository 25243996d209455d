"""Heights in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.sureness import (
    Bounds,
    Cautions,
    IntervalLevel,
    SurgeLevel,
    bound_columns,
    write_bound,
    write_surge,
)
from service.exports.series import Column, Series, SeriesSet, file_stem
from service.exports.standard_names import height_name
from service.usecases.heights import HeightSeries
from service.usecases.stations import ServedModel
from tidecore.timebase import US_PER_SECOND
from tidecore.units import FloatArray

CSV_EXAMPLE = (
    "station_id,version,datum,time,height_m\r\n"
    "stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,2026-06-01T00:00:00Z,4.127\r\n"
)


class StationHeights(Schema):
    """Heights of one station."""

    station_id: str
    version: int
    datum: str
    heights_m: Annotated[list[float], Field(description="Above the datum; one for each instant.")]
    surge_m: SurgeLevel
    lower_m: Bounds
    upper_m: Bounds
    cautions: Cautions


class Heights(Schema):
    """Heights on an even grid: instant k is start + k x step_s."""

    start: InstantText
    step_s: int
    count: int
    time_zone: str
    interval: IntervalLevel
    stations: list[StationHeights]


def write_heights(series: HeightSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return heights as `Heights` has them."""
    asked = series.sureness
    return {
        "start": write_instant(series.grid.start_us, zone),
        "step_s": series.grid.step_us // US_PER_SECOND,
        "count": series.grid.count,
        "time_zone": zone_name(zone),
        "interval": asked.level,
        "stations": [
            {
                "station_id": served.station.station_id,
                "version": served.version,
                "datum": series.datum or served.model.datum,
                "heights_m": numbers(row, 3),
                "surge_m": write_surge(asked),
                "lower_m": write_bound(None if bounds is None else bounds.lower, asked),
                "upper_m": write_bound(None if bounds is None else bounds.upper, asked),
                "cautions": list(asked.cautions(served.model, times=False)),
            }
            for served, row, bounds in zip(series.stations, series.heights, series.intervals, strict=True)
        ],
    }


def export_heights(series: HeightSeries) -> SeriesSet:
    """Return heights for the forms other than JSON."""
    times = series.grid.times()
    keys = [served.station.station_id for served in series.stations]
    return SeriesSet(
        file_stem("heights", keys, series.grid.start_us),
        "Heights of the tide",
        [
            Series(
                served.station.station_id,
                served.station.name,
                served.station.latitude,
                served.station.longitude,
                about_station(served, series.datum),
                times,
                [
                    height_column(row, series.datum or served.model.datum),
                    *bound_columns(
                        series.sureness,
                        len(row),
                        None if bounds is None else bounds.lower,
                        None if bounds is None else bounds.upper,
                    ),
                ],
            )
            for served, row, bounds in zip(series.stations, series.heights, series.intervals, strict=True)
        ],
    )


def about_station(served: ServedModel, datum: str | None = None) -> dict[str, str | int | bool]:
    """Return what a series of a station rests on; its heights are above ``datum``, the station's own unless given."""
    return {
        "station_id": served.station.station_id,
        "version": served.version,
        "datum": datum or served.model.datum,
    }


def height_column(values: FloatArray, datum: str) -> Column:
    """Return heights above a datum as a column."""
    meaning = f"height of the tide above the datum, which is {datum!r}"
    return Column("height", "number", values, meaning, "m", 3, standard_name=height_name(datum))


def zone_name(zone: zoneinfo.ZoneInfo | None) -> str:
    """Return the name of the zone whose offsets an answer carries."""
    return "UTC" if zone is None else zone.key
