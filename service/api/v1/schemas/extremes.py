"""High and low waters in answers."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from service.api.instants import write_instants
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.heights import about_station, height_column, zone_name
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
from service.usecases.extremes import ExtremesView
from tidecore.extremes import Extremes as TidalExtremes
from tidecore.timebase import TimeSpan

CSV_EXAMPLE = (
    "station_id,version,datum,time,height_m,kind,primary,tide_id,double,rank,no_tide,stand_start,stand_end\r\n"
    "stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,2026-06-01T04:10:12Z,5.873,high,true,39802,false,HH,false,,\r\n"
)
TimeBounds = Annotated[
    list[InstantText | None] | None,
    Field(description="Bound of its time; of the stand, at a stand; null where none is told."),
]
RANKS = ("HH", "LH", "H", "LL", "HL", "L")


class StationExtremes(Schema):
    """High and low waters of one station in time order, as columns of one length."""

    station_id: str
    version: int
    datum: str
    count: int
    times: list[InstantText]
    heights_m: list[float]
    kinds: list[Literal["high", "low"]]
    primary: Annotated[list[bool], Field(description="False for a lesser extreme merged with the one of its tide.")]
    tide_ids: Annotated[list[int], Field(description="Number of the Greenwich M2 cycle that holds the high water.")]
    double: Annotated[list[bool], Field(description="One of two separate peaks (troughs) of one tide.")]
    ranks: list[Literal["HH", "LH", "H", "LL", "HL", "L"] | None]
    no_tide: Annotated[list[bool], Field(description="Range under 5 cm on both sides.")]
    stand_starts: Annotated[
        list[InstantText | None], Field(description="Start of the stand round it, if there is one.")
    ]
    stand_ends: list[InstantText | None]
    surge_m: SurgeLevel
    lower_m: Bounds
    upper_m: Bounds
    earliest: TimeBounds
    latest: TimeBounds
    cautions: Cautions


class Extremes(StationExtremes):
    """High and low waters in time order, as columns of one length."""

    time_zone: str
    interval: IntervalLevel


class ExtremesOfMany(Schema):
    """High and low waters of many stations."""

    time_zone: str
    interval: IntervalLevel
    stations: list[StationExtremes]


def write_extremes(view: ExtremesView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return the high and low waters of one station as `Extremes` has them."""
    return {**_write_station(view, zone), "time_zone": zone_name(zone), "interval": view.sureness.level}


def write_extremes_of_many(views: Sequence[ExtremesView], zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return high and low waters as `ExtremesOfMany` has them."""
    stations = [_write_station(view, zone) for view in views]
    return {"time_zone": zone_name(zone), "interval": views[0].sureness.level, "stations": stations}


def export_extremes(views: Sequence[ExtremesView], span: TimeSpan) -> SeriesSet:
    """Return high and low waters for the forms other than JSON."""
    keys = [view.served.station.station_id for view in views]
    return SeriesSet(
        file_stem("extremes", keys, span.start_us),
        "High and low waters",
        [
            Series(
                view.served.station.station_id,
                view.served.station.name,
                view.served.station.latitude,
                view.served.station.longitude,
                about_station(view.served, view.datum),
                view.extremes.time,
                [*extreme_columns(view.extremes, view.datum), *_bounds(view)],
            )
            for view in views
        ],
        even=False,
    )


def extreme_columns(table: TidalExtremes, datum: str) -> list[Column]:
    """Return high and low waters above ``datum`` as columns."""
    return [
        height_column(table.height, datum),
        Column("kind", "category", table.kind, "high or low water", categories=("high", "low")),
        Column("primary", "boolean", table.primary, "false for a lesser extreme merged with the one of its tide"),
        Column("tide_id", "integer", table.tide_id, "number of the Greenwich M2 cycle that holds the high water"),
        Column("double", "boolean", table.double, "one of two separate peaks (troughs) of one tide"),
        Column("rank", "category", table.rank, "rank in the lunar day, of a primary one", categories=RANKS),
        Column("no_tide", "boolean", table.no_tide, "range under 5 cm on both sides"),
        Column("stand_start", "time", table.stand_start, "start of the stand round it, if there is one"),
        Column("stand_end", "time", table.stand_end, "end of the stand round it, if there is one"),
    ]


def _bounds(view: ExtremesView) -> list[Column]:
    """Return surge and bounds as columns, those asked for."""
    bounds, count = view.intervals, len(view.extremes)
    lower, upper = (None, None) if bounds is None else (bounds.height_lower, bounds.height_upper)
    found = bound_columns(view.sureness, count, lower, upper)
    if view.sureness.level is not None:
        none = np.full(count, np.datetime64("NaT", "us"))
        early, late = (none, none) if bounds is None else (bounds.time_lower, bounds.time_upper)
        found.append(Column("earliest", "time", early, "start of the interval of its time; of the stand at a stand"))
        found.append(Column("latest", "time", late, "end of the interval of its time; of the stand at a stand"))
    return found


def _write_station(view: ExtremesView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    table, asked, bounds = view.extremes, view.sureness, view.intervals
    return {
        "station_id": view.served.station.station_id,
        "version": view.served.version,
        "datum": view.datum,
        "count": len(table),
        "times": write_instants(table.time, zone),
        "heights_m": numbers(table.height, 3),
        "kinds": table.kind.tolist(),
        "primary": table.primary.tolist(),
        "tide_ids": table.tide_id.tolist(),
        "double": table.double.tolist(),
        "ranks": [rank or None for rank in table.rank.tolist()],
        "no_tide": table.no_tide.tolist(),
        "stand_starts": write_instants(table.stand_start, zone),
        "stand_ends": write_instants(table.stand_end, zone),
        "surge_m": write_surge(asked),
        "lower_m": write_bound(None if bounds is None else bounds.height_lower, asked),
        "upper_m": write_bound(None if bounds is None else bounds.height_upper, asked),
        "earliest": None if bounds is None else write_instants(bounds.time_lower, zone),
        "latest": None if bounds is None else write_instants(bounds.time_upper, zone),
        "cautions": list(asked.cautions(view.served.model, times=True)),
    }
