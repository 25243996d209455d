"""What plans hold, in answers: sessions, marks, and what is other than in the plan before."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import DateText, InstantText, Schema, WorkProblem, write_problem
from service.api.v1.schemas.hazards import HazardSchema
from service.api.v1.schemas.searched import BestHourSchema, KeyTimeSchema
from service.api.v1.schemas.sessions import CAUTION, FeedingSchema, SessionWindowSchema
from service.usecases.page import Page
from service.usecases.plans import MarkOfPlan, SessionPage
from service.usecases.records import PlanMarkRecord, PlanRecord
from tidecore.safety import Grade
from tidecore.windows.verdicts import FishableGrade


class PlannedVerdicts(Schema):
    """Three verdicts, kept apart."""

    safe: Annotated[Grade, Field(description="The worst known against it; never that it is safe.")]
    fishable: FishableGrade
    feeding: FeedingSchema


class RuleHours(Schema):
    """What one rule gives over the fishing."""

    rule_id: str
    score_hours: float


class AtBest(Schema):
    """Factors at the middle of the best hour; null where unknown."""

    height_m: float | None
    flow_index: float | None
    range_ratio: float | None
    light: str | None
    wave_height_m: float | None
    wave_peak_period_s: float | None
    wind_speed_m_per_s: float | None
    wind_from_degree: float | None


class PlannedSessionSchema(Schema):
    """One session of a plan; instants are UTC."""

    mark_id: str
    key: Annotated[
        str,
        Field(description="What it is called at its mark, in this plan and in those that follow it in the series."),
    ]
    changed: Annotated[int, Field(description="How often it changed from plan to plan, so far.")]
    rank: Annotated[int, Field(description="Place among those of the mark, from 1.")]
    date_local: Annotated[DateText, Field(description="Date of the arrival by the clocks of the mark.")]
    leave_home: InstantText
    arrive: InstantText
    start: Annotated[InstantText, Field(description="Start of the fishing.")]
    end: InstantText
    leave: InstantText
    back_home: InstantText
    turn_back: Annotated[
        InstantText | None,
        Field(
            description="When turning back is due, where the water can cover the way back: before arriving, where it "
            "can by then; null where no hazard says."
        ),
    ]
    fishing_h: float
    worth_h: Annotated[float, Field(description="Integral over the fishing of the best score of all rules [h].")]
    best_hour: BestHourSchema
    verdicts: PlannedVerdicts
    rules: list[RuleHours]
    windows: list[SessionWindowSchema]
    hazards: Annotated[list[HazardSchema], Field(description="From walking in to walking out, the gravest first.")]
    not_assessed: Annotated[list[str], Field(description="Kinds of hazard that are not assessed.")]
    loosened: Annotated[list[str], Field(description="Thresholds that this account has loosened.")]
    key_times: list[KeyTimeSchema]
    at_best: AtBest
    unknowns: Annotated[list[str], Field(description="Factors of the rules unknown for a part of the windows.")]


class PlannedSessions(Schema):
    """A page of the sessions of a plan, over all its marks."""

    plan_id: str
    order: Literal["worth", "time"]
    total: int
    items: list[PlannedSessionSchema]
    next_cursor: str | None
    caution: str


class PlannedMarkItem(Schema):
    """How one mark of a plan fared."""

    mark_id: str
    state: Literal["done", "failed"]
    reused: Annotated[bool, Field(description="Whether the result was there already.")]
    input_hash: Annotated[str, Field(description="Of all that the result rests on.")]
    computed_at: InstantText
    found: Annotated[int, Field(description="Sessions that there are; most_per_mark of them are kept.")]
    kept: int
    best_worth_h: Annotated[float | None, Field(description="Of the best session; null where there is none.")]
    problem: WorkProblem | None


class PlannedMarks(Schema):
    """A page of the marks of a plan that are done so far."""

    plan_id: str
    items: list[PlannedMarkItem]
    next_cursor: str | None


class RuleVersion(Schema):
    """A rule in a version."""

    id: str
    version: int


class RestsOn(Schema):
    """What the result of a mark rests on."""

    mark_version: int
    station_id: str
    station_version: int
    thresholds_version: Annotated[int, Field(description="Of the account's safety thresholds; 0 are the defaults.")]
    rules: list[RuleVersion]
    condition_ids: list[str]
    warning_ids: list[str]
    numerics: int
    datum: str
    said: Annotated[list[str], Field(description="In words: what of sea and air is not assessed, old, or far ahead.")]


class PlannedMarkSchema(Schema):
    """One mark of a plan with all its sessions, in time order."""

    plan_id: str
    mark: PlannedMarkItem
    rests_on: Annotated[RestsOn | None, Field(description="Null where the mark failed.")]
    sessions: list[PlannedSessionSchema]
    nothing: Annotated[list[str], Field(description="Why there is no session.")]
    clock_changes: Annotated[list[str], Field(description="Changes of the mark's clocks in the span.")]
    caution: str


class BriefSession(Schema):
    """A session as it was, or is."""

    date_local: DateText
    arrive: InstantText
    leave: InstantText
    worth_h: float
    safe: Grade
    rule_id: str | None


class SessionChange(Schema):
    """One session that is other than in the plan before."""

    mark_id: str
    key: str
    kinds: Annotated[
        list[Literal["new", "gone", "moved", "rescored", "hazard"]],
        Field(description="moved by over a minute; rescored by over 0.05 h; hazard: of another grade."),
    ]
    before: Annotated[BriefSession | None, Field(description="Null for a new one.")]
    after: Annotated[BriefSession | None, Field(description="Null for one that is gone.")]


class PlanChanges(Schema):
    """A page of what is other than in the plan before, mark by mark; `limit` counts marks."""

    plan_id: str
    supersedes: str | None
    items: list[SessionChange]
    next_cursor: str | None


def write_sessions(page: SessionPage, order: str, cursor: str | None) -> dict[str, Any]:
    """Return a page as `PlannedSessions` has it."""
    return {
        "plan_id": page.plan.plan_id,
        "order": order,
        "total": page.total,
        "items": list(page.sessions),
        "next_cursor": cursor,
        "caution": CAUTION,
    }


def write_marks(plan: PlanRecord, page: Page[PlanMarkRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `PlannedMarks` has it."""
    return {"plan_id": plan.plan_id, "items": [_write_item(one) for one in page.items], "next_cursor": cursor}


def write_mark(found: MarkOfPlan) -> dict[str, Any]:
    """Return a mark as `PlannedMarkSchema` has it."""
    result = found.result
    return {
        "plan_id": found.plan.plan_id,
        "mark": _write_item(found.record),
        "rests_on": None if result is None else result["rests_on"],
        "sessions": found.sessions,
        "nothing": [] if result is None else result["nothing"],
        "clock_changes": [] if result is None else result["clock_changes"],
        "caution": CAUTION,
    }


def write_changes(plan: PlanRecord, page: Page[PlanMarkRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `PlanChanges` has it."""
    items = [{"mark_id": one.mark_id, **change} for one in page.items for change in one.changes or ()]
    return {"plan_id": plan.plan_id, "supersedes": plan.supersedes, "items": items, "next_cursor": cursor}


def _write_item(one: PlanMarkRecord) -> dict[str, Any]:
    return {
        "mark_id": one.mark_id,
        "state": "done" if one.problem is None else "failed",
        "reused": one.reused,
        "input_hash": one.input_hash,
        "computed_at": write_instant(one.computed_at),
        "found": one.found,
        "kept": len(one.sessions),
        "best_worth_h": max((worth for *_, worth in one.sessions), default=None),
        "problem": write_problem(one.problem),
    }
