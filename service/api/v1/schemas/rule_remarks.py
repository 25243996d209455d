"""Remarks on species rules in requests and answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.rule_remarks import RuleRemarks
from tidecore.rules import Remark as CoreRemark
from tidecore.rules import SpeciesRule

SuitabilityText = Annotated[
    Literal["declared", "accepted_bed", "any_bed", "other_bed", "unknown"],
    Field(
        description="What is known of the ground: the mark declares the species; the rule accepts one of its beds; the "
        "rule names no beds; the mark has only others; or unknown, for the mark states neither bed nor species."
    ),
]

EXAMPLE: dict[str, Any] = {
    "name": "Flounder on both sides of low water",
    "species": {"scientific_name": "Platichthys flesus", "fao_code": "FLE", "local_name": "flounder"},
    "require": [
        {"any": [{"event": "low_water", "from_min": -60, "to_min": 120}, {"season": {"from": "09-01", "to": "02-28"}}]},
        {"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": 0.1, "full_from": 0.3}},
        {"factor": "flow_strength", "shape": {"kind": "trapezoid", "full_to": 0.05, "to": 0.1}},
    ],
}


class RuleToLint(SpeciesRule):
    """A species rule to be looked at; it is not kept."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})


class Remark(Schema):
    """Something that the author of a rule can hardly mean; the rule can be used as it is."""

    path: Annotated[str, Field(description="Where in the rule, as `prefer.2`.")]
    kind: Literal["contradiction", "never_met", "no_effect", "never_known", "ground"]
    problem: str
    better: str


class Remarks(Schema):
    """Remarks on a rule, in its order."""

    remarks: list[Remark]


class RemarksAtMark(Schema):
    """Remarks on a rule as it would stand at a mark over a span."""

    rule_id: str
    rule_version: int
    mark_id: str
    mark_version: int
    start: InstantText
    end: InstantText
    suitability: SuitabilityText
    remarks: list[Remark]


def write_remarks(remarks: Sequence[CoreRemark]) -> list[dict[str, Any]]:
    """Return remarks as `Remark` has them."""
    return [{"path": one.path, "kind": one.kind, "problem": one.problem, "better": one.better} for one in remarks]


def write_remarks_at_mark(found: RuleRemarks) -> dict[str, Any]:
    """Return remarks at a mark as `RemarksAtMark` has them."""
    return {
        "rule_id": found.rule.record.id,
        "rule_version": found.rule.record.version,
        "mark_id": found.mark.record.id,
        "mark_version": found.mark.record.version,
        "start": write_instant(found.span.start, None),
        "end": write_instant(found.span.end, None),
        "suitability": found.suitability,
        "remarks": write_remarks(found.remarks),
    }
