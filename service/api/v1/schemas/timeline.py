"""Timelines in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import local_date, write_instant
from service.api.media import numbers
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.factors import Factor, write_factor
from service.usecases.timeline import TimelineView
from tidecore.timebase import US_PER_SECOND
from tidecore.timeline import Factor as CoreFactor
from tidecore.timeline import factors
from tidecore.units import AnyArray

#: Decimals of published numbers by unit: times to a second, heights to a millimetre, the rest to a thousandth.
DECIMALS = {"h": 4, "min": 2, "d": 5, "m": 3, "m/h": 3, "degrees": 2}


class Timeline(Schema):
    """Factors of a mark on an even grid, as columns: instant k is start + k x step_s."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    datum: str
    time_zone: Annotated[str, Field(description="Zone of the mark.")]
    date_local: Annotated[DateText, Field(description="Date of the start by the clocks of the mark.")]
    flow_reliable: bool
    range_cycle: Annotated[str, Field(description="Which cycle days_from_springs counts.")]
    start: Annotated[InstantText, Field(description="First instant: a whole multiple of the step since 1970.")]
    step_s: int
    count: int
    factors: list[Factor]
    columns: Annotated[
        dict[str, list[float | str | bool | None]],
        Field(description="Values by name of factor; null where unknown."),
    ]
    unknown: Annotated[list[str], Field(description="Factors of which no value is known.")]


def write_timeline(view: TimelineView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a timeline as `Timeline` has it; its instants carry the offsets of ``zone``."""
    timeline, registry = view.timeline, factors()
    grid = timeline.grid
    start = grid.start_us if grid.count else timeline.span.start_us
    columns = {name: write_column(registry[name], timeline.columns[name]) for name in timeline.names}
    return {
        "mark_id": view.mark.record.id,
        "mark_version": view.mark.record.version,
        "station_id": view.served.station.station_id,
        "station_version": view.served.version,
        "datum": timeline.datum,
        "time_zone": view.mark.document.time_zone,
        "date_local": local_date(timeline.span.start, view.mark.document.zone),
        "flow_reliable": timeline.flow_reliable,
        "range_cycle": timeline.range_cycle,
        "start": write_instant(start, zone),
        "step_s": grid.step_us // US_PER_SECOND,
        "count": grid.count,
        "factors": [write_factor(registry[name]) for name in timeline.names],
        "columns": columns,
        "unknown": [name for name, column in columns.items() if all(value is None for value in column)],
    }


def write_column(factor: CoreFactor, values: AnyArray) -> list[Any]:
    """Return a column; what is unknown, each kind in its own way, becomes null."""
    if factor.kind == "number":
        return numbers(values, DECIMALS.get(factor.unit, 3))
    if factor.kind == "boolean":
        return [None if value < 0 else value > 0 for value in values.tolist()]
    return [value or None for value in values.tolist()]
