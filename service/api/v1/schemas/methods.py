"""Methods in requests and answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.methods import MethodView
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from tidecore.rules import Method as MethodDocument
from tidecore.rules import TackleRemark, check_tackle
from tidecore.rules.tackle import TackleRemarkKind

EXAMPLE: dict[str, Any] = {
    "name": "Rough water, streamlined",
    "species": [{"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"}],
    "rig": "one hook clipped down",
    "style": "clipped",
    "hooks": [{"pattern": "wide gape", "size": "2/0"}],
    "snoods": [{"length_m": 0.6, "strength_lb": 30}],
    "baits": [
        {"name": "lugworm", "kind": "worm", "cocktail": "squid strip", "size": "large", "grams": 30},
        {"name": "peeler crab", "kind": "crab", "size": "large", "grams": 30},
    ],
    "reach": {"band": "middle", "from_m": 40, "to_m": 90},
    "lead": {"grams": 150, "type": "grip"},
    "main_line": {"material": "mono", "diameter_mm": 0.4, "strength_lb": 20},
    "leader": {"strength_lb": 70, "rod_lengths": 2, "turns": 7},
    "rods": 1,
    "suits": [
        {"factor": "wave_height", "shape": {"kind": "trapezoid", "from": 0.6, "full_from": 1.0}, "weight": 3.0},
        {
            "any": [
                {"factor": "light", "shape": {"kind": "set", "values": ["night"]}},
                {"factor": "clarity", "shape": {"kind": "set", "values": ["coloured"]}},
            ]
        },
    ],
    "notes": "Tip high.",
    "provenance": "common practice",
    "external_ref": "rough-streamlined",
}


class MethodCreate(MethodDocument):
    """A method to be made."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[MethodDocument]:
        """Return the method, and what the account calls it."""
        method = MethodDocument.model_construct(**{name: getattr(self, name) for name in MethodDocument.model_fields})
        return Draft(method, self.external_ref)


class TackleRemarkSchema(Schema):
    """Something about the tackle of a method that is not right, or cannot be told; the method stands."""

    path: Annotated[str, Field(description="Where in the method, as `leader.strength_lb`.")]
    kind: TackleRemarkKind
    problem: str
    better: Annotated[str, Field(description="What would be right; numbers are common practice.")]


class Method(Schema):
    """A method in its current version."""

    id: str
    version: int
    external_ref: str | None
    method: MethodDocument
    remarks: list[TackleRemarkSchema]
    created_at: InstantText
    updated_at: InstantText


PATCH_EXAMPLE: dict[str, Any] = {"name": "Rough water, heavier", "provenance": "my own record"}


class MethodList(Schema):
    """A page of methods."""

    items: list[Method]
    next_cursor: str | None


def patched_method(view: MethodView, patch: dict[str, Any]) -> Draft[MethodDocument]:
    """Return what a method says once patched; InvalidInput if that is none."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return MethodCreate.parse(merge_patch(current, patch)).to_draft()


def write_method(view: MethodView) -> dict[str, Any]:
    """Return a method as `Method` has it."""
    return {
        "id": view.record.id,
        "version": view.record.version,
        "external_ref": view.record.external_ref,
        "method": view.document.to_document(),
        "remarks": write_tackle(check_tackle(view.document)),
        "created_at": write_instant(view.record.created_at),
        "updated_at": write_instant(view.record.updated_at),
    }


def write_methods(page: Page[MethodView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `MethodList` has it."""
    return {"items": [write_method(view) for view in page.items], "next_cursor": cursor}


def write_tackle(remarks: Sequence[TackleRemark]) -> list[dict[str, Any]]:
    """Return remarks as `TackleRemarkSchema` has them."""
    return [{"path": one.path, "kind": one.kind, "problem": one.problem, "better": one.better} for one in remarks]
