"""High and low waters in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instants
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.heights import zone_name
from service.usecases.extremes import ExtremesView


class Extremes(Schema):
    """High and low waters in time order, as columns of one length."""

    station_id: str
    version: int
    datum: str
    time_zone: str
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


def write_extremes(view: ExtremesView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return high and low waters as `Extremes` has them."""
    table = view.extremes
    return {
        "station_id": view.served.station.station_id,
        "version": view.served.version,
        "datum": view.served.model.datum,
        "time_zone": zone_name(zone),
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
    }
