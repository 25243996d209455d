"""A mark now, in answers: as JSON, and as the words of one screen."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from service.api.instants import local_date, write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import HazardSchema, SafetySchema, write_safety
from service.api.v1.schemas.peg_plans import PegMoveSchema, TurnBackSchema, write_move, write_turn_back
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.usecases.now import NowView
from tidecore.safety import DEFERS
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import KeyTime
from tidecore.timeline.coming import NEXT, ToldNow


class LevelNow(Schema):
    """The level of the water; the surge is told beside the tide."""

    height_m: Annotated[float | None, Field(description="Of the tide, above the datum of the mark.")]
    rate_m_per_h: float | None
    surge_m: Annotated[float | None, Field(description="As given, or that of the pressure; null where not known.")]
    surge_source: str
    water_level_m: Annotated[float | None, Field(description="Tide and surge; null where the surge is not known.")]
    named_phase: str | None
    named_phase_basis: str | None
    hours_from_hw: float | None
    days_from_springs: float | None
    making: str | None


class FlowNow(Schema):
    """The run of the tide."""

    direction: str | None
    index: float | None
    strength: float | None
    stream_speed_m_per_s: float | None
    reliable: Annotated[bool, Field(description="Whether it is known when the stream turns here.")]


class LightNow(Schema):
    """Sun and moon."""

    light: str | None
    sun_altitude_degree: float | None
    moonlight: float | None


class NextSchema(Schema):
    """The next event of a kind."""

    time: InstantText
    in_min: Annotated[float, Field(description="Minutes from the instant.")]
    height_m: float | None


class AccessNow(Schema):
    """Whether the mark may be reached and fished."""

    open: bool | None
    changes_at: InstantText | None


class ShoreNow(Schema):
    """The water on the ground of the mark; without surge but in the minutes until turning back."""

    waterline_m: float | None
    water_behind: bool | None
    run_up_m: float | None
    dry_margin_m: float | None
    minutes_to_turn_back: Annotated[
        float | None,
        Field(
            description="To the time of turn_back, with its surge; negative where that was due before, and 1440 where "
            "it is a day or more ahead. Null where the way back or the tide is not known."
        ),
    ]
    holding: str | None
    fishable: str | None


class ConditionNow(Schema):
    """What is known of sea or air, and how old it is."""

    variable: str
    value: float | str
    unit: str
    kind: Literal["forecast", "observation"]
    source: str
    issued_at: InstantText
    age_h: float


class NowSchema(Schema):
    """A mark at one instant, what is known against being there, and what the hours after it bring."""

    model_config = ConfigDict(title="Now")

    mark: SearchedMark
    numerics: int
    time: InstantText
    time_zone: str
    date_local: DateText
    until: Annotated[InstantText, Field(description="How far ahead is looked: the end given, or six hours.")]
    level: LevelNow
    flow: FlowNow
    light: LightNow
    next: Annotated[
        dict[str, NextSchema | None], Field(description=f"By kind: {', '.join(NEXT)}; null where none is known.")
    ]
    access: AccessNow
    shore: ShoreNow
    conditions: list[ConditionNow]
    stand: Annotated[PegMoveSchema | None, Field(description="Where to stand now; only with the end of the session.")]
    next_move: Annotated[PegMoveSchema | None, Field(description="The next move; null where none comes.")]
    turn_back: Annotated[TurnBackSchema | None, Field(description="Only with the end of the session.")]
    plan_missing: Annotated[list[str], Field(description="Why no peg is told, where none is.")]
    hazards: list[HazardSchema]
    safe: SafetySchema
    coming: Annotated[list[str], Field(description="What comes, in words, by the clocks of the mark.")]
    unknown: Annotated[list[str], Field(description="What is not known, and why.")]
    cautions: list[str]


def write_now(view: NowView, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a mark at an instant as `NowSchema` has it."""
    basis, found = view.basis.outing, view.coming
    mark, key, values = basis.mark.document, basis.mark.record.id, found.values
    stand, move = view.stands
    return {
        "mark": write_searched_mark(basis.mark, basis.served, write_told({key: basis.told}, basis.span)[key]),
        "numerics": numerics,
        "time": write_instant(found.time_us, zone),
        "time_zone": mark.time_zone,
        "date_local": local_date(basis.span.start, mark.zone),
        "until": write_instant(found.until_us, zone),
        "level": _write_level(view),
        "flow": {
            "direction": values["direction"],
            "index": _number(values["flow_index"], 3),
            "strength": _number(values["flow_strength"], 3),
            "stream_speed_m_per_s": _number(values["stream_speed"], 2),
            "reliable": mark.flow_reliable,
        },
        "light": {
            "light": values["light"],
            "sun_altitude_degree": _number(values["sun_altitude"], 2),
            "moonlight": _number(values["moonlight"], 3),
        },
        "next": {name: _write_next(one, found.time_us, zone) for name, one in found.upcoming.items()},
        "access": {
            "open": values["access_open"],
            "changes_at": None if found.access_changes_us is None else write_instant(found.access_changes_us, zone),
        },
        "shore": {
            "waterline_m": _number(values["waterline"], 1),
            "water_behind": values["water_behind"],
            "run_up_m": _number(values["run_up"], 2),
            "dry_margin_m": _number(values["dry_margin"], 2),
            "minutes_to_turn_back": _number(values["minutes_to_turn_back"], 1),
            "holding": values["holding"],
            "fishable": values["fishable"],
        },
        "conditions": [_write_condition(one, zone) for one in found.conditions],
        "stand": None if stand is None else write_move(stand, zone),
        "next_move": None if move is None else write_move(move, zone),
        "turn_back": None if view.plan is None else write_turn_back(view.plan.turn_back, zone),
        "plan_missing": _missing(view),
        **write_safety(view.hazards, zone),
        "coming": list(found.sentences),
        "unknown": [*found.unknown, *([] if view.plan is None else view.plan.not_assessed)],
        "cautions": [*view.surge.cautions, DEFERS],
    }


def _write_level(view: NowView) -> dict[str, Any]:
    values, surge = view.coming.values, view.surge
    height = values["height"]
    water = None if surge.value_m is None or not isinstance(height, float) else height + surge.value_m
    return {
        "height_m": _number(height, 3),
        "rate_m_per_h": _number(values["rate"], 3),
        "surge_m": number(surge.value_m, 3),
        "surge_source": surge.source,
        "water_level_m": number(water, 3),
        "named_phase": values["named_phase"],
        "named_phase_basis": values["named_phase_basis"],
        "hours_from_hw": _number(values["hours_from_hw"], 2),
        "days_from_springs": _number(values["days_from_springs"], 2),
        "making": values["making"],
    }


def _missing(view: NowView) -> list[str]:
    if view.plan is None:
        return ["pegs are told with the end of the session: until="]
    now = view.coming.time_us
    return [*view.plan.missing, *(one.why for one in view.plan.untold if one.start_us <= now < one.end_us)]


def _write_next(one: KeyTime | None, now_us: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any] | None:
    if one is None:
        return None
    ahead = (int(one.time.astype("datetime64[us]").astype("int64")) - now_us) / US_PER_MINUTE
    return {"time": write_instant(one.time, zone), "in_min": number(ahead, 1), "height_m": number(one.height, 3)}


def _write_condition(one: ToldNow, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "variable": one.name,
        "value": number(one.value, 2) if isinstance(one.value, float) else one.value,
        "unit": one.unit,
        "kind": one.kind,
        "source": one.source,
        "issued_at": write_instant(one.issued_at, zone),
        "age_h": number(one.age_h, 1),
    }


def _number(value: float | str | bool | None, decimals: int) -> float | None:
    return number(value, decimals) if isinstance(value, float) else None
