"""Searches for bait outings in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema, whole
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import (
    DangerousField,
    HazardSchema,
    OutingField,
    SafetySchema,
    facts_of,
    write_safety,
)
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.session_search import ZoneName
from service.api.v1.schemas.windows import Ids
from service.usecases.bait_outings import BaitQuestion, BaitResult, FoundBait
from tidecore.calendars import FreeTime
from tidecore.place import Document, Number, fault
from tidecore.timebase import TimeSpan
from tidecore.windows.bait import LEAST_MIN, days_before

EXAMPLE: dict[str, Any] = {"before": "2026-06-20T18:00:00Z", "below_m": 2.2, "limit": 5}

Minutes = Annotated[Number, Field(ge=0.0, le=720.0)]


class BaitSearch(Document):
    """Where, when and below what level; from `start` to `end`, or one to three days before a session at `before`."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    below_m: Annotated[
        Number,
        Field(ge=-100.0, le=100.0, description="Level above the datum of each mark that the water must be below [m]."),
    ]
    before: Annotated[Instant | None, Field(description="Arrival at the session that the bait is for.")] = None
    start: Instant | None = None
    end: Instant | None = None
    mark_ids: Annotated[Ids | None, Field(description="Ids of marks; all of the account's unless given.")] = None
    in_daylight: Annotated[bool, Field(strict=True, description="Whether the sun must be up.")] = True
    least_min: Annotated[Minutes, Field(description="Shortest time on the ground.")] = LEAST_MIN
    travel_min: Annotated[Minutes, Field(description="The way there, and back; both lie in free time.")] = 0.0
    free_time: Annotated[FreeTime | None, Field(description="Free hours by the clocks of each mark.")] = None
    limit: Annotated[
        int, Field(strict=True, ge=1, le=500, description="Most outings answered, best first."), BeforeValidator(whole)
    ] = 50
    outing: OutingField = None
    include_dangerous: DangerousField = False
    tz: ZoneName = None

    @model_validator(mode="after")
    def _one_time(self) -> Self:
        ends = (self.start is not None, self.end is not None)
        if (self.before is None) == (ends == (False, False)) or ends[0] != ends[1]:
            raise fault("does not say when", "before, or start and end")
        return self

    def question(self) -> BaitQuestion:
        """Return what is asked; InvalidSpan if the span runs backwards."""
        if self.start is not None and self.end is not None:
            span = TimeSpan(to_numpy(self.start), to_numpy(self.end))
        else:
            assert self.before is not None
            span = days_before(to_numpy(self.before))
        return BaitQuestion(
            span,
            self.mark_ids,
            self.below_m,
            self.in_daylight,
            self.least_min,
            self.travel_min,
            self.free_time,
            facts_of(self.outing),
            self.include_dangerous,
        )


class BaitOutingSchema(Schema):
    """When the ground lies bare at a mark, and the low water that bares it."""

    mark_id: str
    time_zone: str
    date_local: DateText
    start: InstantText
    end: InstantText
    duration_h: float
    low_water: InstantText
    low_water_height_m: float
    below_m_h: Annotated[float, Field(description="Integral of how far the water is below the level; they go by it.")]
    reasons: list[str]
    hazards: list[HazardSchema]
    safe: SafetySchema


class BaitOutings(Schema):
    """Bait outings, best first, and what they rest on."""

    start: InstantText
    end: InstantText
    numerics: int
    below_m: float
    marks: list[SearchedMark]
    found: int
    outings: list[BaitOutingSchema]
    said: Annotated[list[str], Field(description="What time is left out for danger, by mark.")]
    caution: str


CAUTION = (
    "Not for navigation. Heights are estimates without the weather's part, and what is not named as a hazard may be "
    "one: follow the coastguard, official warnings, byelaws and the local rules for gathering."
)


def write_bait_outings(
    result: BaitResult, below_m: float, limit: int, numerics: int, zone: zoneinfo.ZoneInfo | None
) -> dict[str, Any]:
    """Return bait outings as `BaitOutings` has them."""
    told = write_told(result.conditions, result.span)
    return {
        "start": write_instant(result.span.start, zone),
        "end": write_instant(result.span.end, zone),
        "numerics": numerics,
        "below_m": below_m,
        "marks": [write_searched_mark(view, served, told[view.record.id]) for view, served in result.marks],
        "found": len(result.found),
        "outings": [_write_outing(one, zone) for one in result.found[:limit]],
        "said": list(result.said),
        "caution": CAUTION,
    }


def _write_outing(found: FoundBait, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    one, mark = found.outing, found.mark.document
    return {
        "mark_id": found.mark.record.id,
        "time_zone": mark.time_zone,
        "date_local": local_date(one.start, mark.zone),
        "start": write_instant(one.start, zone),
        "end": write_instant(one.end, zone),
        "duration_h": number(one.duration_h, 3),
        "low_water": write_instant(one.low_water, zone),
        "low_water_height_m": number(one.low_water_height, 3),
        "below_m_h": number(one.below_h, 3),
        "reasons": list(one.reasons),
        **write_safety(one.hazards, zone),
    }
