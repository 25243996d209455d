"""What the answers of all searches share: the marks and rules that were searched, times, what was unknown."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.marks import MarkView
from service.usecases.species_rules import RuleView
from service.usecases.stations import ServedModel
from tidecore.timeline import KeyTime
from tidecore.windows import BestHour, UnknownTerm

Role = Literal["require", "prefer"]


class SearchedMark(Schema):
    """A mark that was searched, and the tide it follows."""

    id: str
    version: int
    name: str
    time_zone: str
    station_id: str
    station_version: int
    datum: str
    condition_ids: Annotated[list[str], Field(description="The issues of conditions that are told of it.")]
    warning_ids: Annotated[list[str], Field(description="The official warnings that are told of it.")]
    said: Annotated[
        list[str], Field(description="In words: what of sea and air is not assessed in the span, old, or far ahead.")
    ]


class SearchedRule(Schema):
    """A rule that was searched for."""

    id: str
    version: int
    name: str
    species: str


class KeyTimeSchema(Schema):
    """Something that happens inside a window."""

    time: InstantText
    kind: str
    height_m: float | None
    grazing: bool
    height_held: Annotated[
        bool,
        Field(description="A high or low water so far outside the mark's table of offsets that its outermost is kept."),
    ]


class UnknownSchema(Schema):
    """A term whose factor was unknown, and what was done about it."""

    factor: str
    role: Role
    policy: Annotated[
        Literal["exclude", "ignore", "penalise", "decided"],
        Field(description="`decided`: other members of its group decided all the same."),
    ]
    share: Annotated[float, Field(description="Share of the time, 0 to 1.")]
    reason: str
    path: str


class BestHourSchema(Schema):
    """The 60 minutes of highest mean score; the window itself where it is shorter."""

    start: InstantText
    end: InstantText
    mean_score: float
    whole_window: bool


def write_rule(view: RuleView) -> dict[str, Any]:
    """Return a rule that was searched for as `SearchedRule` has it."""
    return {
        "id": view.record.id,
        "version": view.record.version,
        "name": view.document.name,
        "species": view.document.species.scientific_name,
    }


def write_mark(view: MarkView, served: ServedModel, told: Mapping[str, Any]) -> dict[str, Any]:
    """Return a mark that was searched as `SearchedMark` has it."""
    return {
        **told,
        "id": view.record.id,
        "version": view.record.version,
        "name": view.document.name,
        "time_zone": view.document.time_zone,
        "station_id": served.station.station_id,
        "station_version": served.version,
        "datum": view.document.datum_of(served.model.datum),
    }


def write_best_hour(best: BestHour, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a best hour as `BestHourSchema` has it."""
    return {
        "start": write_instant(best.start, zone),
        "end": write_instant(best.end, zone),
        "mean_score": number(best.mean_score, 3),
        "whole_window": best.whole_window,
    }


def write_key_time(event: KeyTime, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a key time as `KeyTimeSchema` has it."""
    return {
        "time": write_instant(event.time, zone),
        "kind": event.kind,
        "height_m": number(event.height, 3),
        "grazing": event.grazing,
        "height_held": event.held,
    }


def write_unknown(one: UnknownTerm) -> dict[str, Any]:
    """Return an unknown term as `UnknownSchema` has it."""
    return {
        "factor": one.factor,
        "role": one.role,
        "policy": one.policy,
        "share": number(one.share, 3),
        "reason": one.reason,
        "path": one.path,
    }
