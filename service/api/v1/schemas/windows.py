"""Window searches in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema, whole
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import DangerousField, HazardSchema, OutingField, SafetySchema, write_safety
from service.api.v1.schemas.rule_remarks import SuitabilityText
from service.api.v1.schemas.searched import (
    BestHourSchema,
    KeyTimeSchema,
    SearchedRule,
    write_best_hour,
    write_key_time,
    write_rule,
)
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.window_terms import (
    ContributionSchema,
    GroupSchema,
    SeasonSchema,
    UnknownSchema,
    write_contribution,
    write_group,
    write_seasons,
    write_unknown,
)
from service.exports.series import Column, Table, file_stem
from service.usecases.windows import FoundWindow, Nothing, SearchResult
from tidecore.filters import Filter
from tidecore.filters.syntax import Language
from tidecore.place import Document
from tidecore.timebase import TimeSpan

Ids = Annotated[list[Annotated[str, Field(min_length=1, max_length=64)]], Field(min_length=1, max_length=1000)]


EXAMPLE: dict[str, Any] = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-15T00:00:00Z", "limit": 20}


CSV_EXAMPLE = (
    "mark_id,mark_version,station_id,station_version,rule_id,rule_version,time_zone,date_local,start,end,duration_h,"
    "starts_before,ends_after,mean_score,peak_score,peak_time,score_hours,limiting_factor,best_hour_start,"
    "best_hour_end,best_hour_mean_score,flow_reliable,ground_accepted,suitability,release_only\r\n"
    "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z,1,stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,rul_06hq3vy6vc0s2j0q8k5m1x2w3z,1,Etc/UTC,"
    "2026-06-03,2026-06-03T02:14:09Z,2026-06-03T04:31:40Z,2.292,false,false,0.871,0.964,2026-06-03T03:20:00Z,1.996,"
    "light,2026-06-03T02:55:00Z,2026-06-03T03:55:00Z,0.942,true,,unknown,false\r\n"
)


class WindowSearch(Document):
    """Which marks, which rules, over what span."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    start: Instant
    end: Instant
    mark_ids: Annotated[Ids | None, Field(description="Ids of marks; all of the account's unless given.")] = None
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules; all unless given.")] = None
    limit: Annotated[
        int,
        Field(strict=True, ge=1, le=2000, description="Most windows answered, best first."),
        BeforeValidator(whole),
    ] = 200
    tz: Annotated[
        str | None, Field(max_length=64, description="IANA zone whose offsets instants carry; UTC unless given.")
    ] = None

    filter: Annotated[
        str | dict[str, Any] | None,
        Field(
            description="CQL2 over /v1/queryables, as text or as an object of CQL2 JSON: windows lie where it is true.",
            examples=["light <> 'day' AND height > 2"],
        ),
    ] = None
    filter_lang: Annotated[
        Language | None, Field(description="How the filter is written; a text is cql2-text unless this says otherwise.")
    ] = None

    outing: OutingField = None
    include_dangerous: DangerousField = False

    @property
    def within(self) -> Filter | None:
        """The filter; InvalidFilter if it is wrong."""
        return None if self.filter is None else Filter.parse(self.filter, language=self.filter_lang)

    @property
    def span(self) -> TimeSpan:
        """The span; InvalidSpan if it runs backwards."""
        return TimeSpan(to_numpy(self.start), to_numpy(self.end))


class WindowSchema(Schema):
    """A span at one mark in which one rule holds, with the account of it."""

    mark_id: str
    rule_id: str
    time_zone: Annotated[str, Field(description="Zone of the mark.")]
    date_local: Annotated[DateText, Field(description="Date of its start by the clocks of the mark.")]
    start: InstantText
    end: InstantText
    duration_h: float
    starts_before: Annotated[bool, Field(description="Whether it was cut by the start of the span.")]
    ends_after: bool
    mean_score: float
    peak_score: float
    peak_time: InstantText
    score_hours: Annotated[float, Field(description="Integral of the score [h]; windows are ranked by it.")]
    limiting_factor: str | None
    contributions: list[ContributionSchema]
    groups: list[GroupSchema]
    best_hour: BestHourSchema
    key_times: list[KeyTimeSchema]
    unknowns: list[UnknownSchema]
    flow_reliable: Annotated[
        bool | None, Field(description="Whether the stream is known; null where the rule does not look at it.")
    ]
    ground_accepted: Annotated[
        bool | None,
        Field(description="Whether the rule accepts a bed of the mark; null, unknown, where the mark states none."),
    ]
    suitability: SuitabilityText
    release_only: Annotated[
        list[SeasonSchema], Field(description="Release-only seasons that it touches: what is caught goes back.")
    ]
    hazards: Annotated[list[HazardSchema], Field(description="From walking in to walking out, the gravest first.")]
    safe: SafetySchema


class WithoutWindow(Schema):
    """A mark and a rule without a window in the span, and why."""

    mark_id: str
    rule_id: str
    best_score: float
    best_time: InstantText | None
    excluded_share: float
    excluded_by: list[str]
    reasons: list[str]


class Windows(Schema):
    """Windows, best first, and what they rest on."""

    start: InstantText
    end: InstantText
    numerics: int
    marks: list[SearchedMark]
    rules: list[SearchedRule]
    filter: Annotated[
        dict[str, Any] | bool | None, Field(description="The filter as CQL2 JSON; null where none was given.")
    ]
    found: Annotated[int, Field(description="How many windows there are; `windows` holds the best of them.")]
    windows: list[WindowSchema]
    without_window: list[WithoutWindow]
    caution: str


CAUTION = (
    "Not for navigation. Tide, run-up, sky and forecasts are estimates, and that no hazard is named is not that there "
    "is none: follow the coastguard, official warnings, byelaws and licensed advice."
)


def write_windows(result: SearchResult, limit: int, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a search result as `Windows` has it."""
    told = write_told(result.conditions, result.span)
    return {
        "start": write_instant(result.span.start, zone),
        "end": write_instant(result.span.end, zone),
        "numerics": numerics,
        "marks": [write_searched_mark(view, served, told[view.record.id]) for view, served in result.marks],
        "rules": [write_rule(view) for view in result.rules],
        "filter": None if result.within is None else result.within.document,
        "found": len(result.windows),
        "windows": [_write_window(found, zone) for found in result.windows[:limit]],
        "without_window": [_write_nothing(nothing, zone) for nothing in result.nothing],
        "caution": CAUTION,
    }


def export_windows(result: SearchResult, limit: int) -> Table:
    """Return the windows of a search for the forms other than JSON, without what has columns of its own."""
    found = result.windows[:limit]
    served = {view.record.id: model for view, model in result.marks}
    stations = [served[one.mark.record.id] for one in found]
    windows = [one.window for one in found]
    ground = (one.rule.document.accepts_ground(one.mark.document) for one in found)
    texts = {
        "mark_id": [one.mark.record.id for one in found],
        "mark_version": [str(one.mark.record.version) for one in found],
        "station_id": [one.station.station_id for one in stations],
        "station_version": [str(one.version) for one in stations],
        "rule_id": [one.rule.record.id for one in found],
        "rule_version": [str(one.rule.record.version) for one in found],
        "time_zone": [one.mark.document.time_zone for one in found],
        "date_local": [local_date(one.window.start, one.mark.document.zone) for one in found],
        "limiting_factor": [window.limiting_factor or "" for window in windows],
        "suitability": [window.suitability for window in windows],
    }
    numbers = {
        "duration": ("h", [window.duration_h for window in windows]),
        "mean_score": ("", [window.mean_score for window in windows]),
        "peak_score": ("", [window.peak_score for window in windows]),
        "score_hours": ("", [window.score_hours for window in windows]),
        "best_hour_mean_score": ("", [window.best_hour.mean_score for window in windows]),
    }
    truths = {
        "starts_before": [window.starts_before for window in windows],
        "ends_after": [window.ends_after for window in windows],
        "flow_reliable": [_truth(window.flow_reliable) for window in windows],
        "ground_accepted": [_truth(accepted) for accepted in ground],
        "release_only": [_truth(bool(window.release_only)) for window in windows],
    }
    times = {
        "start": [window.start for window in windows],
        "end": [window.end for window in windows],
        "peak_time": [window.peak_time for window in windows],
        "best_hour_start": [window.best_hour.start for window in windows],
        "best_hour_end": [window.best_hour.end for window in windows],
    }
    columns = {name: Column(name, "text", np.array(values, dtype=np.str_), "") for name, values in texts.items()}
    columns |= {
        name: Column(name, "number", np.array(values, dtype=np.float64), "", unit)
        for name, (unit, values) in numbers.items()
    }
    columns |= {name: Column(name, "boolean", np.array(values, dtype=np.int8), "") for name, values in truths.items()}
    columns |= {
        name: Column(name, "time", np.array(values, dtype="datetime64[us]"), "") for name, values in times.items()
    }
    return Table(file_stem("windows", (), result.span.start_us), [columns[name] for name in _CSV_ORDER])


#: Columns of the CSV form in their order, without units.
_CSV_ORDER = (
    "mark_id mark_version station_id station_version rule_id rule_version time_zone date_local start end duration "
    "starts_before ends_after mean_score peak_score peak_time score_hours limiting_factor best_hour_start "
    "best_hour_end best_hour_mean_score flow_reliable ground_accepted suitability release_only"
).split()


def _truth(value: bool | None) -> int:
    """Return a truth as a boolean column has it."""
    return -1 if value is None else int(value)


def _write_window(found: FoundWindow, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    window, mark = found.window, found.mark.document
    return {
        "mark_id": found.mark.record.id,
        "rule_id": found.rule.record.id,
        "time_zone": mark.time_zone,
        "date_local": local_date(window.start, mark.zone),
        "start": write_instant(window.start, zone),
        "end": write_instant(window.end, zone),
        "duration_h": number(window.duration_h, 3),
        "starts_before": window.starts_before,
        "ends_after": window.ends_after,
        "mean_score": number(window.mean_score, 3),
        "peak_score": number(window.peak_score, 3),
        "peak_time": write_instant(window.peak_time, zone),
        "score_hours": number(window.score_hours, 3),
        "limiting_factor": window.limiting_factor,
        "contributions": [write_contribution(one) for one in window.contributions],
        "groups": [write_group(one) for one in window.groups],
        "best_hour": write_best_hour(window.best_hour, zone),
        "key_times": [write_key_time(event, zone) for event in window.key_times],
        "unknowns": [write_unknown(one) for one in window.unknowns],
        "flow_reliable": window.flow_reliable,
        "ground_accepted": found.rule.document.accepts_ground(mark),
        "suitability": window.suitability,
        "release_only": write_seasons(window.release_only),
        **write_safety(found.hazards(), zone),
    }


def _write_nothing(nothing: Nothing, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    explanation = nothing.explanation
    best_time = explanation.best_time
    return {
        "mark_id": nothing.mark.record.id,
        "rule_id": nothing.rule.record.id,
        "best_score": number(explanation.best_score, 3),
        "best_time": None if best_time is None else write_instant(best_time, zone),
        "excluded_share": number(explanation.excluded_share, 3),
        "excluded_by": list(explanation.excluded_by),
        "reasons": list(explanation.sentences),
    }
