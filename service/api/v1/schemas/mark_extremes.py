"""High and low waters at a mark in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import local_date, write_instants
from service.api.media import numbers
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.extremes import extreme_columns
from service.exports.series import Column, Series, SeriesSet, file_stem
from service.usecases.mark_extremes import MarkExtremesView

CSV_EXAMPLE = (
    "mark_id,mark_version,station_id,station_version,datum,time_zone,time,height_m,kind,primary,tide_id,double,"
    "rank,no_tide,stand_start,stand_end,height_held\r\n"
    "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z,1,stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,Etc/UTC,2026-06-01T04:10:12Z,"
    "5.873,high,true,39802,false,HH,false,,,false\r\n"
)


class MarkExtremes(Schema):
    """High and low waters at a mark, in time order."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    datum: str
    time_zone: Annotated[str, Field(description="Zone of the mark.")]
    date_local: Annotated[DateText, Field(description="Date of the start by the clocks of the mark.")]
    count: int
    times: list[InstantText]
    heights_m: list[float]
    kinds: list[Literal["high", "low"]]
    primary: Annotated[list[bool], Field(description="False for a lesser extreme merged with the one of its tide.")]
    tide_ids: Annotated[list[int], Field(description="Number of the Greenwich M2 cycle that holds the high water.")]
    double: Annotated[list[bool], Field(description="One of two separate peaks (troughs) of one tide.")]
    ranks: list[Literal["HH", "LH", "H", "LL", "HL", "L"] | None]
    no_tide: Annotated[list[bool], Field(description="Range under 5 cm on both sides.")]
    heights_held: Annotated[
        list[bool], Field(description="So far outside the mark's table of offsets that its outermost is kept.")
    ]
    stand_starts: list[InstantText | None]
    stand_ends: list[InstantText | None]


def write_mark_extremes(view: MarkExtremesView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return high and low waters as `MarkExtremes` has them."""
    table, mark, served = view.extremes, view.basis.mark, view.basis.served
    return {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "station_id": served.station.station_id,
        "station_version": served.version,
        "datum": mark.document.datum_of(served.model.datum),
        "time_zone": mark.document.time_zone,
        "date_local": local_date(view.basis.span.start, mark.document.zone),
        "count": len(table),
        "times": write_instants(table.time, zone),
        "heights_m": numbers(table.height, 3),
        "kinds": table.kind.tolist(),
        "primary": table.primary.tolist(),
        "tide_ids": table.tide_id.tolist(),
        "double": table.double.tolist(),
        "ranks": [rank or None for rank in table.rank.tolist()],
        "no_tide": table.no_tide.tolist(),
        "heights_held": view.held.tolist(),
        "stand_starts": write_instants(table.stand_start, zone),
        "stand_ends": write_instants(table.stand_end, zone),
    }


def export_mark_extremes(view: MarkExtremesView) -> SeriesSet:
    """Return high and low waters at a mark for the forms other than JSON."""
    basis = view.basis
    mark, served = basis.mark, basis.served
    datum = mark.document.datum_of(served.model.datum)
    about: dict[str, str | int | bool] = {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "station_id": served.station.station_id,
        "station_version": served.version,
        "datum": datum,
        "time_zone": mark.document.time_zone,
    }
    held = Column("height_held", "boolean", view.held, "so far outside the table of offsets that its outermost is kept")
    one = Series(
        mark.record.id,
        mark.document.name,
        mark.document.latitude,
        mark.document.longitude,
        about,
        view.extremes.time,
        [*extreme_columns(view.extremes, datum), held],
    )
    stem = file_stem("extremes", [mark.record.id], basis.span.start_us)
    return SeriesSet(stem, "High and low waters at a mark", [one], even=False)
