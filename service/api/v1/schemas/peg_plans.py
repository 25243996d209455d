"""Plans of pegs, in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import HazardSchema, Pace, SafetySchema, write_safety
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.session_search import Id, ZoneName
from service.usecases.peg_plans import PegPlanView, PegQuestion
from tidecore.place import Document, Number
from tidecore.shore import TurnBack
from tidecore.shore.pegging import LEAST_STAY_MIN, NOTICE_MIN, PEG_STEP_M
from tidecore.timebase import TimeSpan
from tidecore.timeline.peg_plans import MoveCause, Stand
from tidecore.timeline.peg_words import WHY_MOVE, peg_sentences

EXAMPLE: dict[str, Any] = {
    "mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "start": "2026-06-03T18:00:00Z",
    "end": "2026-06-03T22:00:00Z",
    "step_m": 10,
}
CAUTION = (
    "Not for navigation: tide, run-up and weather are estimates, and shores move. Look for yourself, and follow the "
    "coastguard, official warnings, byelaws and licensed advice."
)


class PegQuestionSchema(Document):
    """Which mark, from setting up to packing up, and how pegs are chosen."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]}, title="PegQuestion")

    mark_id: Id
    start: Annotated[Instant, Field(description="When one sets up.")]
    end: Annotated[Instant, Field(description="When one packs up, two days later at most.")]
    surge_m: Annotated[
        Number | None,
        Field(
            ge=-15.0,
            le=15.0,
            description="Surge over the session [m]; that of the pressure of the air, where it is known, unless given.",
        ),
    ] = None
    step_m: Annotated[Number, Field(ge=1.0, le=500.0, description="From one peg to the next [m].")] = PEG_STEP_M
    notice_min: Annotated[
        Number, Field(ge=0.0, le=120.0, description="How long before the water comes to a peg it is left [min].")
    ] = NOTICE_MIN
    least_stay_min: Annotated[
        Number, Field(ge=0.0, le=240.0, description="Shortest stay that a move is worth [min].")
    ] = LEAST_STAY_MIN
    pace: Pace = 1.0
    tz: ZoneName = None

    def question(self) -> PegQuestion:
        """Return what is asked; InvalidSpan if it runs backwards."""
        span = TimeSpan(to_numpy(self.start), to_numpy(self.end))
        chosen = (self.step_m, self.notice_min, self.least_stay_min)
        return PegQuestion(self.mark_id, span, self.surge_m, *chosen, self.pace)


class PegMoveSchema(Schema):
    """To set up at a peg, or to move to it."""

    time: InstantText
    cause: MoveCause
    distance_m: Annotated[float, Field(description="Where the peg is along the profile, seaward of its fixed point.")]
    ground_level_m: Annotated[float, Field(description="Of the ground there, above the ground datum.")]
    water_level_m: Annotated[float, Field(description="Of the still water then, above the ground datum.")]
    metres: Annotated[float, Field(description="From the peg before, seaward positive; 0 where one sets up.")]
    minutes: Annotated[float, Field(description="Since one came to the peg before; 0 where one sets up.")]
    reached_at: Annotated[
        InstantText | None,
        Field(description="When the largest run-up and 0.38 m on it comes to the peg; null where not in the session."),
    ]
    why: str


class UntoldSchema(Schema):
    """A time with no peg, and why."""

    start: InstantText
    end: InstantText
    why: str


class TurnBackSchema(Schema):
    """When to turn back for the lowest sill of the way back, by the account's thresholds and the pace; null where that
    is not due until three hours after the walk out."""

    time: InstantText | None
    covered_at: InstantText | None
    already_covered: Annotated[
        bool,
        Field(
            description="Whether the sill was under water already as far back as was looked, a day before the start: "
            "it was covered, and turning back was due, before what covered_at and time say, and nobody knows when."
        ),
    ]
    sill: str
    sill_m: float
    walk_min: float | None


class PegPlanSchema(Schema):
    """Where to set up and when to move: up the shore with the flood, down it with the ebb."""

    model_config = ConfigDict(title="PegPlan")

    mark: SearchedMark
    numerics: int
    time_zone: str
    date_local: DateText
    ground_datum: str | None
    start: InstantText
    end: InstantText
    until: Annotated[InstantText, Field(description="When the plan ends: the end, or turning back before it.")]
    moves: list[PegMoveSchema]
    untold: Annotated[list[UntoldSchema], Field(description="When there is no peg though there is a plan.")]
    missing: Annotated[list[str], Field(description="What is not known, so that there is no plan at all.")]
    not_assessed: list[str]
    turn_back: Annotated[TurnBackSchema | None, Field(description="Null where the way back is not known.")]
    largest_over_r2: Annotated[float | None, Field(description="Largest run-up of the outing over R2.")]
    surge_m: Annotated[
        float | None, Field(description="As given; null where none was: the levels then hold that of the pressure.")
    ]
    hazards: list[HazardSchema]
    safe: SafetySchema
    sentences: Annotated[list[str], Field(description="The plan in words, by the clocks of the mark.")]
    caution: str


def write_peg_plan(view: PegPlanView, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a plan of pegs as `PegPlanSchema` has it."""
    plan, basis = view.plan, view.basis
    mark, key = basis.mark.document, basis.mark.record.id
    told = write_told({key: basis.told}, basis.span)
    return {
        "mark": write_searched_mark(basis.mark, basis.served, told[key]),
        "numerics": numerics,
        "time_zone": mark.time_zone,
        "date_local": local_date(plan.span.start, mark.zone),
        "ground_datum": None if mark.ground_datum is None else mark.ground_datum.name,
        "start": write_instant(plan.span.start, zone),
        "end": write_instant(plan.span.end, zone),
        "until": write_instant(plan.until_us, zone),
        "moves": [write_move(one, zone) for one in plan.stands],
        "untold": [
            {"start": write_instant(one.start_us, zone), "end": write_instant(one.end_us, zone), "why": one.why}
            for one in plan.untold
        ],
        "missing": list(plan.missing),
        "not_assessed": list(plan.not_assessed),
        "turn_back": write_turn_back(plan.turn_back, zone),
        "largest_over_r2": number(plan.largest_over_r2, 2),
        "surge_m": number(plan.surge_m, 3),
        **write_safety(view.hazards, zone),
        "sentences": list(peg_sentences(plan, mark.zone)),
        "caution": CAUTION,
    }


def write_turn_back(found: TurnBack | None, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any] | None:
    """Return when to turn back as `TurnBackSchema` has it."""
    if found is None:
        return None
    return {
        "time": None if found.time_us is None else write_instant(found.time_us, zone),
        "covered_at": None if found.covered_us is None else write_instant(found.covered_us, zone),
        "already_covered": found.already,
        "sill": found.way.sill_name,
        "sill_m": number(found.way.sill_m, 2),
        "walk_min": number(found.way.walk_min, 1),
    }


def write_move(stand: Stand, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a move as `PegMoveSchema` has it."""
    move = stand.move
    return {
        "time": write_instant(move.time_us, zone),
        "cause": stand.cause,
        "distance_m": number(move.distance_m, 1),
        "ground_level_m": number(move.level_m, 2),
        "water_level_m": number(stand.still_m, 2),
        "metres": number(move.metres, 1),
        "minutes": number(move.minutes, 1),
        "reached_at": None if move.reached_us is None else write_instant(move.reached_us, zone),
        "why": WHY_MOVE[stand.cause],
    }
