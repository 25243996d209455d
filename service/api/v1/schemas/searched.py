"""What the answers of all searches share: the rules that were searched for, key times, best hours."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.species_rules import RuleView
from tidecore.timeline import KeyTime
from tidecore.windows import BestHour


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
