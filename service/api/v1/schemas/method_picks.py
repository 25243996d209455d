"""Picks of methods for a session, in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, to_numpy, write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema, whole
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.methods import TackleRemarkSchema, write_tackle
from service.api.v1.schemas.searched import SearchedRule, write_rule
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.session_search import ZoneName
from service.api.v1.schemas.windows import Ids
from service.usecases.method_picks import PickQuestion, PickResult
from service.usecases.methods import MethodView
from tidecore.place import Document, Name, Number
from tidecore.rules import BagItem, BaitLife, RodState, Step
from tidecore.rules.bait import LifeBasis
from tidecore.rules.method import Bait, BaitKind
from tidecore.rules.rod_plan import Change, Search
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.windows import MethodPick
from tidecore.windows.method_plan import RodReason, SessionRemarkKind
from tidecore.windows.picks import Held, LeftOut, Verdict

EXAMPLE: dict[str, Any] = {
    "mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "start": "2026-06-01T18:00:00Z",
    "end": "2026-06-01T22:00:00Z",
    "species": ["Dicentrarchus labrax"],
    "rods": 2,
}

CAUTION = (
    "Numbers of baits, leaders and rods are common practice with no source. Not for navigation: hazards are not "
    "assessed here; follow the coastguard, official warnings, byelaws and licensed advice."
)


class MethodQuestion(Document):
    """A session at a mark, what is fished for, and with which methods."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    mark_id: Annotated[str, Field(min_length=1, max_length=64)]
    start: Annotated[Instant, Field(description="First cast.")]
    end: Annotated[Instant, Field(description="End of the fishing, a quarter of an hour to a day later.")]
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules; methods for their species.")] = None
    species: Annotated[
        tuple[Name, ...],
        Field(max_length=100, description="Scientific names or FAO codes, beside those of rules; any unless given."),
    ] = ()
    method_ids: Annotated[Ids | None, Field(description="Ids of methods; all of the account's unless given.")] = None
    rods: Annotated[int, Field(strict=True, ge=1, le=2, description="How many rods."), BeforeValidator(whole)] = 2
    sea_temperature_c: Annotated[
        Annotated[Number, Field(ge=-2.0, le=40.0)] | None,
        Field(description="As measured there; that of the conditions unless given."),
    ] = None
    crab_ground: Annotated[
        Annotated[bool, Field(strict=True)] | None,
        Field(description="Whether crabs strip baits there; by the beds of the mark unless given."),
    ] = None
    tz: ZoneName = None

    def question(self) -> PickQuestion:
        """Return what is asked; InvalidSpan if the span runs backwards."""
        return PickQuestion(
            self.mark_id,
            TimeSpan(to_numpy(self.start), to_numpy(self.end)),
            self.rule_ids or (),
            self.species,
            self.method_ids,
            self.rods,
            self.sea_temperature_c,
            self.crab_ground,
        )


class PickReason(Schema):
    """What one term of `suits` says of a method in the session."""

    path: Annotated[str, Field(description="Where in the method, as `suits.1`.")]
    factors: list[str]
    verdict: Annotated[
        Verdict, Field(description="By the mean membership: suits from 0.75 on, against below 0.25, else partly.")
    ]
    mean_membership: Annotated[float | None, Field(description="Over the time it is known; null if it never is.")]
    known_share: float
    weight: float
    text: Annotated[str, Field(description="The values there were, or why they are unknown.")]


class PickedLead(Schema):
    """Whether the lead holds in the stream of the session; common practice, beside the score and not in it."""

    verdict: Held
    fastest_m_per_s: Annotated[float | None, Field(description="The strongest stream that is known; null if none is.")]
    holds_to_m_per_s: Annotated[float | None, Field(description="Up to which the lead holds; null if nobody says.")]
    share: Annotated[float, Field(description="Of the session in which the stream is known to be stronger than that.")]
    text: str


class PickedMethod(Schema):
    """A method for the session."""

    method_id: str
    version: int
    name: str
    score: Annotated[float | None, Field(description="Mean over the session of what is known; null if nothing is.")]
    least: Annotated[float, Field(description="The same with all that is unknown at its worst.")]
    most: Annotated[float, Field(description="The same with all that is unknown at its best.")]
    rank: Annotated[float, Field(description="Geometric mean of least and most; picks go by it.")]
    reasons: list[PickReason]
    lead: PickedLead


class MethodLeftOut(Schema):
    """A method that is not for this session."""

    method_id: str
    version: int
    name: str
    reason: LeftOut
    text: str


class PlanRod(Schema):
    """What one rod does."""

    rod: int
    search: Annotated[Search, Field(description="near and far of two; alone of one.")]
    method_id: Annotated[str, Field(description="Whose rig is tied on.")]
    reach_m: Annotated[float, Field(description="From the waterline.")]
    bait: str
    cocktail: str | None


class PlanStep(Schema):
    """A part of the plan, from one change to the next."""

    start: InstantText
    end: InstantText
    start_min: Annotated[float, Field(description="Since the first cast.")]
    end_min: float
    rod: Annotated[int, Field(description="The rod that was changed; 0 at the start.")]
    change: Annotated[Change, Field(description="The one thing that was changed.")]
    rods: list[PlanRod]
    text: str


class PickPlan(Schema):
    """What each rod does over the session."""

    rods: int
    rods_asked: int
    reasons: Annotated[list[RodReason], Field(description="Why it is one rod; none where it is two.")]
    why: str
    judge_min: Annotated[float, Field(description="How long before a change is judged: 2 to 3 baits or 30 to 40 min.")]
    steps: list[PlanStep]


class BaitLifeSchema(Schema):
    """How long a bait of the plan's methods lasts in the sea; null of a lure."""

    bait: str
    kind: BaitKind
    from_min: float | None
    to_min: float | None
    basis: LifeBasis
    text: str


class BagItemSchema(Schema):
    """What of a bait to take for the plan."""

    bait: str
    kind: Annotated[BaitKind | None, Field(description="null of what a bait is tipped with.")]
    rod_minutes: float
    changes_from: int | None
    changes_to: int | None
    amount_from: Annotated[int | None, Field(description="null where nobody said how many go on a change.")]
    amount_to: int | None
    counted: Annotated[str, Field(description="What the amount counts.")]
    text: str


class PickRemark(Schema):
    """Something to know about the session."""

    kind: SessionRemarkKind
    text: str


class MethodTackle(Schema):
    """What is not right with the tackle of one of the plan's methods, or cannot be told."""

    method_id: str
    remark: TackleRemarkSchema


class MethodPicks(Schema):
    """Methods for a session, best first, the plan and the bag, and what they rest on."""

    start: InstantText
    end: InstantText
    numerics: int
    mark: SearchedMark
    rules: list[SearchedRule]
    picks: list[PickedMethod]
    left_out: list[MethodLeftOut]
    plan: Annotated[PickPlan | None, Field(description="By the picks of at least half the best one's rank.")]
    bait_lives: list[BaitLifeSchema]
    bag: list[BagItemSchema]
    remarks: list[PickRemark]
    tackle: list[MethodTackle]
    provenance: Literal["common practice"]
    caution: str


def write_picks(result: PickResult, rods_asked: int, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return picks as `MethodPicks` has them."""
    plan, methods = result.plan, result.methods
    told = write_told({result.mark.record.id: result.told}, result.span)
    return {
        "start": write_instant(result.span.start, zone),
        "end": write_instant(result.span.end, zone),
        "numerics": numerics,
        "mark": write_searched_mark(result.mark, result.served, told[result.mark.record.id]),
        "rules": [write_rule(view) for view in result.rules],
        "picks": [_write_pick(one, methods[one.place]) for one in result.picked.picks],
        "left_out": [
            {**_named(methods[one.place]), "reason": one.reason, "text": one.text} for one in result.picked.left_out
        ],
        "plan": None
        if plan.rods is None
        else {
            "rods": plan.rods.rods,
            "rods_asked": rods_asked,
            "reasons": list(plan.reasons),
            "why": plan.rods.why,
            "judge_min": number(plan.rods.judge_min, 1),
            "steps": [_write_step(step, result, zone) for step in plan.rods.steps],
        },
        "bait_lives": [_write_life(bait, life) for bait, life in plan.lives],
        "bag": [_write_item(item) for item in plan.bag],
        "remarks": [{"kind": one.kind, "text": one.text} for one in plan.remarks],
        "tackle": [
            {"method_id": methods[one.place].record.id, "remark": write_tackle([one.remark])[0]} for one in plan.tackle
        ],
        "provenance": "common practice",
        "caution": CAUTION,
    }


def _named(view: MethodView) -> dict[str, Any]:
    return {"method_id": view.record.id, "version": view.record.version, "name": view.document.name}


def _write_pick(pick: MethodPick, view: MethodView) -> dict[str, Any]:
    return {
        **_named(view),
        "score": number(pick.score, 3),
        "least": number(pick.least, 3),
        "most": number(pick.most, 3),
        "rank": number(pick.rank, 3),
        "reasons": [
            {
                "path": one.path,
                "factors": list(one.factors),
                "verdict": one.verdict,
                "mean_membership": number(one.membership, 3),
                "known_share": number(one.known, 3),
                "weight": one.weight,
                "text": one.text,
            }
            for one in pick.reasons
        ],
        "lead": {
            "verdict": pick.lead.verdict,
            "fastest_m_per_s": number(pick.lead.fastest, 3),
            "holds_to_m_per_s": number(pick.lead.holds_to, 3),
            "share": number(pick.lead.share, 3),
            "text": pick.lead.text,
        },
    }


def _write_step(step: Step, result: PickResult, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    start, end = (
        write_instant(result.span.start + np.timedelta64(round(minutes * US_PER_MINUTE), "us"), zone)
        for minutes in (step.start_min, step.end_min)
    )
    return {
        "start": start,
        "end": end,
        "start_min": number(step.start_min, 1),
        "end_min": number(step.end_min, 1),
        "rod": step.rod,
        "change": step.change,
        "rods": [_write_rod(state, result) for state in step.rods],
        "text": step.text,
    }


def _write_rod(state: RodState, result: PickResult) -> dict[str, Any]:
    return {
        "rod": state.rod,
        "search": state.search,
        "method_id": result.methods[result.plan.used[state.method].place].record.id,
        "reach_m": number(state.reach_m, 1),
        "bait": state.bait.name,
        "cocktail": state.bait.cocktail,
    }


def _write_life(bait: Bait, life: BaitLife) -> dict[str, Any]:
    return {
        "bait": bait.name,
        "kind": bait.kind,
        "from_min": life.from_min,
        "to_min": life.to_min,
        "basis": life.basis,
        "text": life.text,
    }


def _write_item(item: BagItem) -> dict[str, Any]:
    changes, amount = item.changes or (None, None), item.amount or (None, None)
    return {
        "bait": item.bait,
        "kind": item.kind,
        "rod_minutes": number(item.minutes, 1),
        "changes_from": changes[0],
        "changes_to": changes[1],
        "amount_from": amount[0],
        "amount_to": amount[1],
        "counted": item.counted,
        "text": item.text,
    }
