"""Conditions at a mark in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from service.api.instants import local_date, write_instant
from service.api.media import number, numbers
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import ConditionSummary, write_summary
from service.api.v1.schemas.factors import Factor, write_factor
from service.api.v1.schemas.official_warnings import WarningSummary
from service.api.v1.schemas.official_warnings import write_summary as write_warning_summary
from service.api.v1.schemas.timeline import DECIMALS, write_column
from service.exports.series import Column, Series, SeriesSet, file_stem
from service.usecases.mark_conditions import MarkConditionsView
from tidecore.conditions import VARIABLES, Basis, IssueUse
from tidecore.timebase import US_PER_SECOND
from tidecore.timeline import factors
from tidecore.units import AnyArray

CSV_EXAMPLE = (
    "mark_id,mark_version,time_zone,time,wave_height_m,wind_speed_m_per_s,wind_onshore_m_per_s\r\n"
    "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z,1,Etc/UTC,2026-06-01T00:00:00Z,0.8,6,-2.1\r\n"
)
CAUTION = (
    "Not for navigation. Forecasts and warnings are the sender's and may be old: follow the coastguard, official "
    "warnings, byelaws and licensed advice."
)

_DECIMALS = {"hPa": 1, "%": 1, "degree": 1, "m/s": 2, "m": 2, "s": 2, "degC": 2, "mm/h": 2}


class VariableSchema(Schema):
    """What an issue may give."""

    name: str
    kind: Literal["number", "direction", "category"]
    meaning: str
    unit: str | None
    values: list[str] | None
    longest_gap_h: Annotated[float, Field(description="Times further apart than this are not joined [h].")]


class UseSchema(Schema):
    """A stretch over which one issue counts."""

    condition_id: str
    start: InstantText
    end: Annotated[InstantText, Field(description="It counts before this.")]
    age_h: Annotated[float, Field(description="How long before the start of the stretch it was issued.")]
    lead_h: Annotated[float, Field(description="How long before the end of the stretch it was issued.")]


class GapSchema(Schema):
    """A stretch in which nothing is known."""

    start: InstantText
    end: InstantText


class VariableBasis(Schema):
    """Which issues one variable rests on, in time order; where it is unknown between them, and where it ends."""

    variable: str
    known_share: Annotated[float, Field(description="Part of the span in which it is known, 0 to 1.")]
    uses: list[UseSchema]
    gaps: list[GapSchema]
    ends_at: Annotated[InstantText | None, Field(description="Nothing is known after this, before the span ends.")]


class MarkConditions(Schema):
    """Conditions at a mark on an even grid, as columns: instant k is start + k x step_s."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    conditions_area: Annotated[str | None, Field(description="The area whose conditions are the mark's too.")]
    time_zone: str
    date_local: DateText
    start: InstantText
    step_s: int
    count: int
    variables: list[VariableSchema]
    columns: Annotated[
        dict[str, list[float | str | None]],
        Field(description="The newest issue that holds, by variable; null where unknown."),
    ]
    factors: list[Factor]
    derived: Annotated[
        dict[str, list[float | str | bool | None]],
        Field(description="Factors of sea and air that follow, by name; null where unknown."),
    ]
    basis: Annotated[list[VariableBasis], Field(description="Of every variable that is known at some time.")]
    issues: Annotated[list[ConditionSummary], Field(description="The issues that count somewhere in the span.")]
    warnings: Annotated[list[WarningSummary], Field(description="The warnings that are told of the mark.")]
    unknown: Annotated[list[str], Field(description="Variables and factors of which no value is known.")]
    said: Annotated[list[str], Field(description="In words: what is not assessed, old, or far ahead.")]
    caution: str


def write_mark_conditions(view: MarkConditionsView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return conditions as `MarkConditions` has them; instants carry the offsets of ``zone``."""
    basis, timeline, registry = view.basis, view.timeline, factors()
    mark, grid = basis.mark, timeline.grid
    ids = () if basis.told.merged is None else basis.told.merged.issue_ids
    used = {ids[use.place] for one in view.bases for use in one.uses}
    return {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "station_id": basis.served.station.station_id,
        "station_version": basis.served.version,
        "conditions_area": mark.document.conditions_area,
        "time_zone": mark.document.time_zone,
        "date_local": local_date(timeline.span.start, mark.document.zone),
        "start": write_instant(grid.start_us if grid.count else timeline.span.start_us, zone),
        "step_s": grid.step_us // US_PER_SECOND,
        "count": grid.count,
        "variables": [
            {
                "name": one.name,
                "kind": one.kind,
                "meaning": one.meaning,
                "unit": one.unit or None,
                "values": list(one.categories) or None,
                "longest_gap_h": one.longest_gap_h,
            }
            for one in VARIABLES
        ],
        "columns": {one.name: _values(view.values[one.name], one.unit) for one in VARIABLES},
        "factors": [write_factor(registry[name]) for name in timeline.names],
        "derived": {name: write_column(registry[name], timeline.columns[name]) for name in timeline.names},
        "basis": [_write_basis(one, ids, zone) for one in view.bases],
        "issues": [write_summary(one) for one in basis.told.issues if one.id in used],
        "warnings": [write_warning_summary(one) for one in basis.told.warnings],
        "unknown": list(view.unknown),
        "said": list(view.sentences),
        "caution": CAUTION,
    }


def export_mark_conditions(view: MarkConditionsView) -> SeriesSet:
    """Return conditions for the forms other than JSON, without what they rest on."""
    mark, registry, timeline = view.basis.mark, factors(), view.timeline
    # What was seen is told from what follows for the mark.
    columns = [
        Column(
            f"{one.name}_seen" if one.categories else one.name,
            "category" if one.categories else "number",
            view.values[one.name],
            one.meaning,
            decimals=_DECIMALS.get(one.unit, 3),
            categories=one.categories,
        )
        for one in VARIABLES
    ]
    for name in timeline.names:
        one = registry[name]
        columns.append(
            Column(
                name,
                one.kind,
                timeline.columns[name],
                one.meaning,
                one.unit,
                DECIMALS.get(one.unit, 3),
                one.categories,
            )
        )
    about: dict[str, str | int | bool] = {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "time_zone": mark.document.time_zone,
    }
    place = mark.document
    series = Series(mark.record.id, place.name, place.latitude, place.longitude, about, timeline.times, columns)
    name = file_stem("conditions", [mark.record.id], timeline.span.start_us)
    return SeriesSet(name, "Conditions at a mark", [series])


def _values(column: AnyArray, unit: str) -> list[Any]:
    if column.dtype.kind == "f":
        return list(numbers(column, _DECIMALS.get(unit, 3)))
    return [value or None for value in column.tolist()]


def _write_basis(one: Basis, ids: Any, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    def instant(time: np.datetime64) -> str:
        return write_instant(time, zone)

    return {
        "variable": one.name,
        "known_share": number(one.known_share, 4),
        "uses": [_write_use(use, ids[use.place], zone) for use in one.uses],
        "gaps": [{"start": instant(start), "end": instant(end)} for start, end in one.gaps],
        "ends_at": None if one.ends_at is None else instant(one.ends_at),
    }


def _write_use(use: IssueUse, condition_id: str, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "condition_id": condition_id,
        "start": write_instant(use.start, zone),
        "end": write_instant(use.end, zone),
        "age_h": number(use.age_h, 2),
        "lead_h": number(use.lead_h, 2),
    }
