"""Why a rule does not hold, in requests and answers."""

from __future__ import annotations

import math
import zoneinfo
from typing import Annotated, Any, Self

import numpy as np
from pydantic import ConfigDict, Field, model_validator

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import HazardSchema, OutingField, SafetySchema, write_safety
from service.api.v1.schemas.rule_remarks import SuitabilityText
from service.api.v1.schemas.searched import (
    SearchedRule,
    write_rule,
)
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.session_search import Id, ZoneName
from service.api.v1.schemas.window_terms import (
    Role,
)
from service.usecases.why_not import WhyNotResult
from tidecore.place import Document, Number, fault
from tidecore.timebase import TimeSpan
from tidecore.windows import Obstacle, Window

EXAMPLE: dict[str, Any] = {
    "mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "rule_id": "rul_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "at": "2026-06-03T12:00:00Z",
}


class WhyNotQuestion(Document):
    """Which rule, at which mark, and when: `at` an instant, or from `start` to `end`."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    mark_id: Id
    rule_id: Id
    at: Instant | None = None
    start: Instant | None = None
    end: Instant | None = None
    around_days: Annotated[
        Number, Field(ge=1.0, le=31.0, description="How far around it a time that would do is looked for.")
    ] = 7.0
    outing: OutingField = None
    tz: ZoneName = None

    @model_validator(mode="after")
    def _one_time(self) -> Self:
        ends = (self.start is not None, self.end is not None)
        if (self.at is None) == (ends == (False, False)) or ends[0] != ends[1]:
            raise fault("does not say when", "at, or start and end")
        return self

    @property
    def asked(self) -> TimeSpan | np.datetime64:
        """The instant or the span; InvalidSpan if it runs backwards."""
        if self.start is not None and self.end is not None:
            return TimeSpan(to_numpy(self.start), to_numpy(self.end))
        assert self.at is not None
        return to_numpy(self.at)


class ObstacleSchema(Schema):
    """One factor that stands in the way, by how much, and what would have to change."""

    factor: str
    role: Role
    value: Annotated[float | str | bool | None, Field(description="What it is then; null if it is not known.")]
    needed: Annotated[float | str | bool | None, Field(description="The nearest value that suits well enough.")]
    off_by: Annotated[float | None, Field(description="How far the value is from that, in the unit.")]
    unit: str
    membership: float | None
    loss: Annotated[float | None, Field(description="Fall of ln score due to it; null if it lets nothing through.")]
    score_without: Annotated[float, Field(description="Score if this factor alone were at its best.")]
    enough_alone: Annotated[bool, Field(description="Whether a change of this factor alone would do.")]
    before: Annotated[InstantText | None, Field(description="When the factor suited last, to ten minutes.")]
    after: Annotated[InstantText | None, Field(description="When the factor suits next, to ten minutes.")]
    unknown_because: str | None


class NearWindow(Schema):
    """A window near the time asked about."""

    start: InstantText
    end: InstantText
    mean_score: float


class WhyNot(Schema):
    """Why a rule does not hold at a mark, and when it would."""

    mark: SearchedMark
    rule: SearchedRule
    numerics: int
    time_zone: str
    date_local: DateText
    time: Annotated[InstantText, Field(description="The instant looked at: of a span, that at which it holds best.")]
    holds: bool
    score: float
    threshold: float
    suitability: SuitabilityText
    obstacles: list[ObstacleSchema]
    inside: list[NearWindow]
    before: NearWindow | None
    after: NearWindow | None
    looked_from: InstantText
    looked_to: InstantText
    reasons: list[str]
    hazards: Annotated[list[HazardSchema], Field(description="Of being there then, and of walking in and out.")]
    safe: SafetySchema


def write_why_not(result: WhyNotResult, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return what stands in the way as `WhyNot` has it."""
    found, mark, key = result.why_not, result.mark.document, result.mark.record.id
    told = write_told({key: result.conditions}, result.looked_at)
    return {
        "mark": write_searched_mark(result.mark, result.served, told[key]),
        "rule": write_rule(result.rule),
        "numerics": numerics,
        "time_zone": mark.time_zone,
        "date_local": local_date(found.time, mark.zone),
        "time": write_instant(found.time, zone),
        "holds": found.holds,
        "score": number(found.score, 3),
        "threshold": number(found.threshold, 3),
        "suitability": found.suitability,
        "obstacles": [_write_obstacle(one, zone) for one in found.obstacles],
        "inside": [_write_window(one, zone) for one in found.inside],
        "before": None if found.before is None else _write_window(found.before, zone),
        "after": None if found.after is None else _write_window(found.after, zone),
        "looked_from": write_instant(result.looked_at.start, zone),
        "looked_to": write_instant(result.looked_at.end, zone),
        "reasons": list(found.sentences),
        **write_safety(result.hazards, zone),
    }


def _write_obstacle(one: Obstacle, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "factor": one.factor,
        "role": one.role,
        "value": _told(one.value),
        "needed": _told(one.needed),
        "off_by": number(one.off_by, 3),
        "unit": one.unit,
        "membership": number(one.membership, 3),
        "loss": None if math.isinf(one.loss) else number(one.loss, 3),
        "score_without": number(one.score_without, 3),
        "enough_alone": one.enough_alone,
        "before": None if one.before is None else write_instant(one.before, zone),
        "after": None if one.after is None else write_instant(one.after, zone),
        "unknown_because": one.unknown_because,
    }


def _told(value: float | str | bool | None) -> float | str | bool | None:
    return number(value, 3) if isinstance(value, float) else value


def _write_window(window: Window, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "start": write_instant(window.start, zone),
        "end": write_instant(window.end, zone),
        "mean_score": number(window.mean_score, 3),
    }
