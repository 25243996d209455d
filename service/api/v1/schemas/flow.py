"""Run of the tide in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.heights import zone_name
from service.usecases.flow import FlowSeries
from tidecore.timebase import US_PER_SECOND


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


def write_flow(series: FlowSeries, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a flow series as `Flow` has it."""
    return {
        "station_id": series.served.station.station_id,
        "version": series.served.version,
        "start": write_instant(series.grid.start_us, zone),
        "step_s": series.grid.step_us // US_PER_SECOND,
        "count": series.grid.count,
        "time_zone": zone_name(zone),
        "flow_reliable": series.reliable,
        "flow_index": numbers(series.index, 3),
    }
