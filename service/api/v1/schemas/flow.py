"""Run of the tide in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.heights import about_station, zone_name
from service.exports.series import Column, Series, SeriesSet, file_stem
from service.usecases.flow import FlowSeries
from tidecore.timebase import US_PER_SECOND

CSV_EXAMPLE = (
    "station_id,version,datum,flow_reliable,time,flow_index\r\n"
    "stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,false,2026-06-01T00:00:00Z,-0.418\r\n"
)
_MEANING = "signed run of tide, + flood, - ebb; 1 is the mean spring peak of the station"


class Flow(Schema):
    """Flow index on an even grid: instant k is start + k x step_s."""

    station_id: str
    version: int
    start: InstantText
    step_s: int
    count: int
    time_zone: str
    flow_reliable: Annotated[
        bool, Field(description="False without slack lags: the index is then a proxy that may be hours out.")
    ]
    flow_index: Annotated[list[float], Field(description="+ flood, - ebb; 1 is the mean spring peak of the station.")]


class StationFlow(Schema):
    """Flow index of one station."""

    station_id: str
    version: int
    flow_index: Annotated[list[float], Field(description="One for each instant.")]


class FlowOfMany(Schema):
    """Flow index of many stations on one even grid: instant k is start + k x step_s."""

    start: InstantText
    step_s: int
    count: int
    time_zone: str
    flow_reliable: Annotated[bool, Field(description="False: without slack lags the index may be hours out.")]
    stations: list[StationFlow]


def write_flow(series: FlowSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return the flow series of one station as `Flow` has it."""
    (station,) = _stations(series)
    return {**station, **_grid(series, zone)}


def write_flow_of_many(series: FlowSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return flow series as `FlowOfMany` has them."""
    return {**_grid(series, zone), "stations": _stations(series)}


def export_flow(series: FlowSeries) -> SeriesSet:
    """Return flow series for the forms other than JSON."""
    times = series.grid.times()
    keys = [served.station.station_id for served in series.stations]
    return SeriesSet(
        file_stem("flow", keys, series.grid.start_us),
        "Run of the tide",
        [
            Series(
                served.station.station_id,
                served.station.name,
                served.station.latitude,
                served.station.longitude,
                {**about_station(served), "flow_reliable": series.reliable},
                times,
                [Column("flow_index", "number", row, _MEANING, "1", 3)],
            )
            for served, row in zip(series.stations, series.index, strict=True)
        ],
    )


def _grid(series: FlowSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "start": write_instant(series.grid.start_us, zone),
        "step_s": series.grid.step_us // US_PER_SECOND,
        "count": series.grid.count,
        "time_zone": zone_name(zone),
        "flow_reliable": series.reliable,
    }


def _stations(series: FlowSeries) -> list[dict[str, Any]]:
    return [
        {"station_id": served.station.station_id, "version": served.version, "flow_index": numbers(row, 3)}
        for served, row in zip(series.stations, series.index, strict=True)
    ]
