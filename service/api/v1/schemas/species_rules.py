"""Species rules in requests and answers."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from service.usecases.species_rules import RuleView
from tidecore.rules import SpeciesRule as RuleDocument

EXAMPLE: dict[str, Any] = {
    "name": "Bass over the flood",
    "species": {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"},
    "require": [
        {
            "factor": "hours_from_lw",
            "shape": {"kind": "trapezoid", "from": -0.5, "full_from": 0.5, "full_to": 3.0, "to": 4.0},
        }
    ],
    "prefer": [
        {"factor": "light", "shape": {"kind": "set", "values": ["night", "nautical_twilight"]}, "weight": 2.0},
        {"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": 0.2, "full_from": 0.6}},
        {"factor": "wave_height", "shape": {"kind": "trapezoid", "from": 0.3, "full_from": 0.5}},
    ],
    "provenance": "common practice",
    "external_ref": "bass-over-the-flood",
}


class SpeciesRuleCreate(RuleDocument):
    """A species rule to be made."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[RuleDocument]:
        """Return the rule, and what the account calls it."""
        rule = RuleDocument.model_construct(**{name: getattr(self, name) for name in RuleDocument.model_fields})
        return Draft(rule, self.external_ref)


class SpeciesRule(Schema):
    """A species rule in its current version."""

    id: str
    version: int
    external_ref: str | None
    rule: RuleDocument
    created_at: InstantText
    updated_at: InstantText


PATCH_EXAMPLE: dict[str, Any] = {"name": "Bass over the first of the flood", "provenance": "my own record"}


class SpeciesRuleList(Schema):
    """A page of species rules."""

    items: list[SpeciesRule]
    next_cursor: str | None


def patched_rule(view: RuleView, patch: dict[str, Any]) -> Draft[RuleDocument]:
    """Return what a rule says once patched; InvalidRule if that is no rule."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return SpeciesRuleCreate.parse(merge_patch(current, patch)).to_draft()


def write_rule(view: RuleView) -> dict[str, Any]:
    """Return a species rule as `SpeciesRule` has it."""
    return {
        "id": view.record.id,
        "version": view.record.version,
        "external_ref": view.record.external_ref,
        "rule": view.document.to_document(),
        "created_at": write_instant(view.record.created_at),
        "updated_at": write_instant(view.record.updated_at),
    }


def write_rules(page: Page[RuleView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `SpeciesRuleList` has it."""
    return {"items": [write_rule(view) for view in page.items], "next_cursor": cursor}
