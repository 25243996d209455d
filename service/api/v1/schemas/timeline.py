"""Timelines in answers."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import local_date, write_instant, write_instants
from service.api.media import numbers
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.factors import Factor, write_factor
from service.api.v1.schemas.filters import FilteredRows, write_rows
from service.exports.series import Column, Series, SeriesSet, file_stem
from service.exports.standard_names import height_name
from service.usecases.filtering import Rows, kept, kept_times
from service.usecases.timeline import TimelineView
from tidecore.timebase import US_PER_SECOND
from tidecore.timeline import Factor as CoreFactor
from tidecore.timeline import Timeline as CoreTimeline
from tidecore.timeline import factors
from tidecore.units import AnyArray

CSV_EXAMPLE = (
    "mark_id,mark_version,station_id,station_version,datum,time_zone,range_cycle,flow_reliable,time,height_m,light\r\n"
    "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z,1,stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,Etc/UTC,springs-neaps,false,"
    "2026-06-01T00:00:00Z,4.127,night\r\n"
)

#: Decimals of published numbers by unit: times to a second, heights to a millimetre, the rest to a thousandth.
DECIMALS = {"h": 4, "min": 2, "d": 5, "m": 3, "m/h": 3}


class MarkTimeline(Schema):
    """Factors of one mark, as columns."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    datum: str
    time_zone: Annotated[str, Field(description="Zone of the mark.")]
    date_local: Annotated[DateText, Field(description="Date of the start by the clocks of the mark.")]
    flow_reliable: bool
    range_cycle: Annotated[str, Field(description="Which cycle days_from_springs counts.")]
    times: Annotated[
        list[InstantText] | None,
        Field(description="Instants of the rows that a filter left; null without one: those of the even grid."),
    ]
    filtered: Annotated[FilteredRows | None, Field(description="What the filter did; null without one.")]
    columns: Annotated[
        dict[str, list[float | str | bool | None]],
        Field(description="Values by name of factor, one a row; null where unknown."),
    ]
    unknown: Annotated[list[str], Field(description="Factors of which no value is known.")]
    condition_ids: Annotated[list[str], Field(description="The issues of conditions that are told of the mark.")]
    warning_ids: Annotated[list[str], Field(description="The official warnings that are told of the mark.")]
    said: Annotated[
        list[str], Field(description="In words: what of sea and air is not assessed in the span, old, or far ahead.")
    ]


class TimelineGrid(Schema):
    """The instants and the factors of timelines: instant k is start + k x step_s."""

    start: Annotated[InstantText, Field(description="First instant: a whole multiple of the step since 1970.")]
    step_s: int
    count: int
    factors: list[Factor]


class Timeline(MarkTimeline, TimelineGrid):
    """Factors of a mark on an even grid, as columns: instant k is start + k x step_s, unless there are ``times``."""


class TimelinesOfMany(TimelineGrid):
    """Timelines of many marks on one even grid: instant k is start + k x step_s, unless a mark has ``times``."""

    marks: list[MarkTimeline]


def write_timeline(view: TimelineView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a timeline as `Timeline` has it; its instants carry the offsets of ``zone``."""
    return {**_write_mark(view, zone), **_write_grid(view.timeline, zone)}


def write_timelines(views: Sequence[TimelineView], zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return timelines as `TimelinesOfMany` has them."""
    return {**_write_grid(views[0].timeline, zone), "marks": [_write_mark(view, zone) for view in views]}


def export_timelines(views: Sequence[TimelineView]) -> SeriesSet:
    """Return timelines for the forms other than JSON."""
    keys = [view.mark.record.id for view in views]
    return SeriesSet(
        file_stem("timeline", keys, views[0].timeline.span.start_us),
        "Factors at a mark",
        [
            Series(
                view.mark.record.id,
                view.mark.document.name,
                view.mark.document.latitude,
                view.mark.document.longitude,
                _about(view),
                kept_times(view.rows, view.timeline),
                [*(_column(view.timeline, name, view.rows) for name in view.timeline.names), *_hazards(view)],
            )
            for view in views
        ],
        even=len(views) == 1 or views[0].rows is None,
    )


def _about(view: TimelineView) -> dict[str, str | int | bool]:
    about: dict[str, str | int | bool] = {
        "mark_id": view.mark.record.id,
        "mark_version": view.mark.record.version,
        "station_id": view.served.station.station_id,
        "station_version": view.served.version,
        "datum": view.timeline.datum,
        "time_zone": view.mark.document.time_zone,
        "range_cycle": view.timeline.range_cycle,
    }
    # A factor of this name says the same.
    if "flow_reliable" not in view.timeline.names:
        about["flow_reliable"] = view.timeline.flow_reliable
    return about


def _column(timeline: CoreTimeline, name: str, rows: Rows | None) -> Column:
    factor = factors()[name]
    return Column(
        name,
        factor.kind,
        kept(rows, timeline.columns[name]),
        factor.meaning,
        factor.unit,
        DECIMALS.get(factor.unit, 3),
        factor.categories,
        height_name(timeline.datum) if name == "height" else "",
    )


def _hazards(view: TimelineView) -> list[Column]:
    """Return the worst hazards of each step as columns; none where nobody asked for them."""
    found = view.hazards
    if found is None:
        return []
    told = {
        "hazard_grade": (found.grades, "Worst grade of a hazard in the step; it never says safe."),
        "hazard_kinds": (found.kinds, "Kinds of hazard of that grade, blanks between them."),
        "hazards_not_assessed": (found.not_assessed, "Kinds of hazard that are not assessed, blanks between them."),
    }
    return [Column(name, "text", kept(view.rows, values), meaning) for name, (values, meaning) in told.items()]


def _write_grid(timeline: CoreTimeline, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    grid, registry = timeline.grid, factors()
    return {
        "start": write_instant(grid.start_us if grid.count else timeline.span.start_us, zone),
        "step_s": grid.step_us // US_PER_SECOND,
        "count": grid.count,
        "factors": [write_factor(registry[name]) for name in timeline.names],
    }


def _write_mark(view: TimelineView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    timeline, registry, rows = view.timeline, factors(), view.rows
    columns = {name: write_column(registry[name], kept(rows, timeline.columns[name])) for name in timeline.names}
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
        "times": None if rows is None else write_instants(kept_times(rows, timeline), zone),
        "filtered": write_rows(rows),
        "columns": columns,
        "unknown": list(timeline.unknown_names()),
        **write_told({view.mark.record.id: view.conditions}, timeline.span)[view.mark.record.id],
    }


def write_column(factor: CoreFactor, values: AnyArray) -> list[Any]:
    """Return a column; what is unknown, each kind in its own way, becomes null."""
    if factor.kind == "number":
        return numbers(values, DECIMALS.get(factor.unit, 3))
    if factor.kind == "boolean":
        return [None if value < 0 else value > 0 for value in values.tolist()]
    return [value or None for value in values.tolist()]
