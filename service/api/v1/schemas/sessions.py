"""Sessions in answers: searched, ranked, compared."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from service.api.instants import local_date, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import HazardSchema, SafetySchema, write_safety
from service.api.v1.schemas.regulation_findings import SessionRegulations, write_session_regulations
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
    UnknownSchema,
    write_unknown,
)
from service.usecases.regulation_checks import RulesOnFile
from service.usecases.sessions import SessionResult
from tidecore.calendars import ClockChange
from tidecore.safety import Grade
from tidecore.timebase import from_microseconds
from tidecore.windows import RankedOuting, Session, SessionLeg
from tidecore.windows.session import FactorSummary, RuleAccount
from tidecore.windows.verdicts import FishableGrade


class SafeSchema(Schema):
    """Whether it is safe to be there: never said to be, only what is known against it."""

    grade: Grade
    reasons: list[str]


class FishableSchema(Schema):
    """Whether the mark fishes: will the lead hold, is there weed, surf, wind."""

    grade: FishableGrade
    reasons: list[str]


class FeedingSchema(Schema):
    """Whether they feed: the rule that gives most, its mean score over the fishing, and what limits it."""

    rule_id: str | None
    mean_score: float
    limiting_factor: str | None


class VerdictsSchema(Schema):
    """Three verdicts, kept apart."""

    safe: SafeSchema
    fishable: FishableSchema
    feeding: FeedingSchema


class SessionWindowSchema(Schema):
    """The part of a window of one rule that is fished."""

    rule_id: str
    start: InstantText
    end: InstantText
    mean_score: Annotated[float, Field(description="Of the whole window.")]
    peak_score: Annotated[float, Field(description="The highest in this part of the window.")]
    peak_time: InstantText
    limiting_factor: str | None


class LullSchema(Schema):
    """A time between windows that is sat out, and what takes most meanwhile."""

    start: InstantText
    end: InstantText
    factor: str | None


class FactorAccountSchema(Schema):
    """What one factor gave a rule over the fishing."""

    factor: str
    mean_membership: Annotated[float | None, Field(description="0 to 1; null if it was never known.")]
    mean_loss: Annotated[float, Field(description="Mean fall of ln score due to it; of one instant at most 6.908.")]


class RuleAccountSchema(Schema):
    """One rule over the fishing at a mark."""

    rule_id: str
    species: str
    score_hours: Annotated[float, Field(description="Integral of its score over the fishing [h].")]
    mean_score: float
    limiting_factor: str | None
    factors: list[FactorAccountSchema]
    unknowns: list[UnknownSchema]


class FactorSummarySchema(Schema):
    """A factor over the fishing at a mark: a number's mean and ends, or the commonest value."""

    factor: str
    unit: str
    known_share: float
    mean: float | None
    least: float | None
    greatest: float | None
    commonest: str | None


class LegSchema(Schema):
    """A stay at one mark."""

    mark_id: str
    time_zone: str
    date_local: DateText
    arrive: InstantText
    start: Annotated[InstantText, Field(description="Start of the fishing.")]
    end: InstantText
    leave: InstantText
    score_hours: float
    windows: list[SessionWindowSchema]
    lulls: list[LullSchema]
    rules: list[RuleAccountSchema]
    factors: list[FactorSummarySchema]
    key_times: list[KeyTimeSchema]
    regulations: Annotated[
        SessionRegulations | None,
        Field(description="Null where the mark names no areas: no rule is known, and nothing is allowed by that."),
    ]


class SessionSchema(Schema):
    """One outing: arriving to leaving at a mark, or at two, with the account of it."""

    mark_ids: list[str]
    time_zone: Annotated[str, Field(description="Zone of the first mark.")]
    date_local: Annotated[DateText, Field(description="Date of the arrival by the clocks of the first mark.")]
    leave_home: InstantText
    arrive: InstantText
    leave: InstantText
    back_home: InstantText
    fishing_h: float
    score_hours: Annotated[
        float,
        Field(
            description="Integral over the fishing of the best score of all rules at each instant [h]; half where the "
            "mark is hard to fish, nothing where it does not fish."
        ),
    ]
    best_hour: BestHourSchema
    verdicts: VerdictsSchema
    hazards: Annotated[list[HazardSchema], Field(description="From walking in to walking out, the gravest first.")]
    safe: SafetySchema
    legs: list[LegSchema]
    unknowns: list[UnknownSchema]
    clock_changes: Annotated[list[str], Field(description="Changes of the clocks on the way or while there.")]
    reasons: list[str]


class RankedSession(Schema):
    """A session and its place in a list."""

    group: Annotated[str, Field(description="Mark id, scientific name or local date of the list; empty over all.")]
    rank: Annotated[int, Field(description="Place in its list, from 1.")]
    worth_h: Annotated[float, Field(description="Score hours by which it is ranked: of the species in a list of one.")]
    session: SessionSchema


class ClockChangeSchema(Schema):
    """A change of the clocks in the span: what is skipped is not free, what comes twice counts twice."""

    time_zone: str
    time: InstantText
    minutes: Annotated[float, Field(description="Forward; negative where they go back.")]
    sentence: str


class WithoutSessionSchema(Schema):
    """A mark without a session, and why."""

    mark_id: str
    reasons: list[str]


class Sessions(Schema):
    """One page of ranked sessions, and what they rest on."""

    start: InstantText
    end: InstantText
    numerics: int
    marks: list[SearchedMark]
    rules: list[SearchedRule]
    by: Literal["overall", "mark", "species", "day"]
    filter: Annotated[
        dict[str, Any] | bool | None, Field(description="The filter as CQL2 JSON; null where none was given.")
    ]
    found: Annotated[int, Field(description="How many there are in all lists.")]
    sessions: list[RankedSession]
    without_session: list[WithoutSessionSchema]
    clock_changes: list[ClockChangeSchema]
    next_cursor: str | None
    caution: str


CAUTION = (
    "Not for navigation. Tide, sea and sky are estimates, and that no hazard is named is not that there is none: "
    "follow the coastguard, official warnings, byelaws and licensed advice."
)


def write_sessions(
    result: SessionResult,
    page: Sequence[tuple[RankedOuting, Session]],
    next_cursor: str | None,
    numerics: int,
    zone: zoneinfo.ZoneInfo | None,
) -> dict[str, Any]:
    """Return one page of a search as `Sessions` has it."""
    span = result.question.span
    told = write_told(result.conditions, span)
    return {
        "start": write_instant(span.start, zone),
        "end": write_instant(span.end, zone),
        "numerics": numerics,
        "marks": [write_searched_mark(view, served, told[view.record.id]) for view, served in result.marks],
        "rules": [write_rule(view) for view in result.rules],
        "by": result.question.by,
        "filter": None if result.question.within is None else result.question.within.document,
        "found": len(result.ranked),
        "sessions": [
            {
                "group": one.group,
                "rank": one.rank,
                "worth_h": number(one.worth_h, 3),
                "session": write_session(session, result.on_file, zone),
            }
            for one, session in page
        ],
        "without_session": [{"mark_id": one.mark.record.id, "reasons": list(one.reasons)} for one in result.without],
        "clock_changes": [_write_change(name, change, zone) for name, change in result.clock_changes],
        "next_cursor": next_cursor,
        "caution": CAUTION,
    }


def _write_change(name: str, change: ClockChange, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "time_zone": name,
        "time": write_instant(from_microseconds(np.array([change.time_us]))[0], zone),
        "minutes": number(change.minutes, 3),
        "sentence": str(change),
    }


def write_session(session: Session, on_file: RulesOnFile, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a session as `SessionSchema` has it."""
    first, outing, verdicts = session.legs[0], session.outing, session.verdicts
    away, home = from_microseconds(np.array([outing.arrive_us - outing.there_us, outing.leave_us + outing.back_us]))
    return {
        "mark_ids": [leg.key for leg in session.legs],
        "time_zone": first.mark.time_zone,
        "date_local": local_date(session.arrive, first.mark.zone),
        "leave_home": write_instant(away, zone),
        "arrive": write_instant(session.arrive, zone),
        "leave": write_instant(session.leave, zone),
        "back_home": write_instant(home, zone),
        "fishing_h": number(session.fishing_h, 3),
        "score_hours": number(session.score_hours, 3),
        "best_hour": write_best_hour(session.best_hour, zone),
        "verdicts": {
            "safe": {"grade": verdicts.safe.grade, "reasons": list(verdicts.safe.reasons)},
            "fishable": {"grade": verdicts.fishable.grade, "reasons": list(verdicts.fishable.reasons)},
            "feeding": {
                "rule_id": verdicts.feeding.rule,
                "mean_score": number(verdicts.feeding.mean_score, 3),
                "limiting_factor": verdicts.feeding.limiting_factor,
            },
        },
        **write_safety(session.hazards, zone),
        "legs": [_write_leg(leg, on_file, zone) for leg in session.legs],
        "unknowns": [write_unknown(one) for one in session.unknowns],
        "clock_changes": list(session.clock_changes),
        "reasons": list(session.reasons),
    }


def _write_leg(leg: SessionLeg, on_file: RulesOnFile, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "mark_id": leg.key,
        "time_zone": leg.mark.time_zone,
        "date_local": local_date(leg.arrive, leg.mark.zone),
        "arrive": write_instant(leg.arrive, zone),
        "start": write_instant(leg.start, zone),
        "end": write_instant(leg.end, zone),
        "leave": write_instant(leg.leave, zone),
        "score_hours": number(leg.score_hours, 3),
        "windows": [
            {
                "rule_id": one.rule,
                "start": write_instant(one.start, zone),
                "end": write_instant(one.end, zone),
                "mean_score": number(one.window.mean_score, 3),
                "peak_score": number(one.peak_score, 3),
                "peak_time": write_instant(one.peak_time, zone),
                "limiting_factor": one.window.limiting_factor,
            }
            for one in leg.windows
        ],
        "lulls": [
            {"start": write_instant(one.start, zone), "end": write_instant(one.end, zone), "factor": one.factor}
            for one in leg.lulls
        ],
        "rules": [_write_rule_account(one) for one in leg.rules],
        "factors": [_write_summary(one) for one in leg.factors],
        "key_times": [write_key_time(event, zone) for event in leg.key_times],
        "regulations": write_session_regulations(on_file.said_of(leg), on_file.rules),
    }


def _write_rule_account(one: RuleAccount) -> dict[str, Any]:
    return {
        "rule_id": one.rule,
        "species": one.species,
        "score_hours": number(one.score_hours, 3),
        "mean_score": number(one.mean_score, 3),
        "limiting_factor": one.limiting_factor,
        "factors": [
            {
                "factor": given.factor,
                "mean_membership": number(given.mean_membership, 3),
                "mean_loss": number(given.mean_loss, 3),
            }
            for given in one.factors
        ],
        "unknowns": [write_unknown(unknown) for unknown in one.unknowns],
    }


def _write_summary(one: FactorSummary) -> dict[str, Any]:
    return {
        "factor": one.factor,
        "unit": one.unit,
        "known_share": number(one.known_share, 3),
        "mean": number(one.mean, 3),
        "least": number(one.least, 3),
        "greatest": number(one.greatest, 3),
        "commonest": one.commonest,
    }
