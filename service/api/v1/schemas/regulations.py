"""Regulations in requests and answers."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from service.usecases.regulations import RegulationView
from tidecore.catchlog import Regulation as RegulationDocument

EXAMPLE: dict[str, Any] = {
    "area": "Pellwick district",
    "source": "Pellwick district order 7, invented",
    "dated": "2026-02-01",
    "species": {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"},
    "sizes": [{"kind": "total", "min_cm": 42.0}],
    "bag": 2,
    "release_only": [{"from": "02-01", "to": "03-31"}],
    "external_ref": "pellwick-bass",
}
AREA_EXAMPLE: dict[str, Any] = {
    "area": "Pellwick district",
    "source": "board at the slip, invented",
    "dated": "2026-04-12",
    "no_fishing": [
        {"zone": "bathing beach", "when": {"season": {"from": "05-01", "to": "09-30"},
                                           "hours": {"from": "10:00", "to": "18:00"}}},
        {"zone": "slip"},
    ],
    "most_rods": 2,
    "permit": "district ticket",
    "gathering": "No digging above the wall; ragworm by hand only.",
}  # fmt: skip
PATCH_EXAMPLE: dict[str, Any] = {"dated": "2026-11-01", "bag": 1}


class RegulationCreate(RegulationDocument):
    """A rule to be put on file: what the authority says, with its area, its source and its date."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE, AREA_EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[RegulationDocument]:
        """Return the rule, and what the account calls it."""
        names = RegulationDocument.model_fields
        rule = RegulationDocument.model_construct(**{name: getattr(self, name) for name in names})
        return Draft(rule, self.external_ref)


class Regulation(Schema):
    """A rule on file, in its current version."""

    id: str
    version: int
    external_ref: str | None
    regulation: RegulationDocument
    stale: Annotated[bool, Field(description="Whether it is over 12 months old today: look it up again.")]
    created_at: InstantText
    updated_at: InstantText


class RegulationList(Schema):
    """A page of rules on file."""

    items: list[Regulation]
    next_cursor: str | None


def patched_regulation(view: RegulationView, patch: dict[str, Any]) -> Draft[RegulationDocument]:
    """Return what a rule says once patched; InvalidInput if that is none."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return RegulationCreate.parse(merge_patch(current, patch)).to_draft()


def write_regulation(view: RegulationView, day: date) -> dict[str, Any]:
    """Return a rule on file as `Regulation` has it, on a ``day``."""
    return {
        "id": view.record.id,
        "version": view.record.version,
        "external_ref": view.record.external_ref,
        "regulation": view.document.to_document(),
        "stale": view.document.stale_on(day),
        "created_at": write_instant(view.record.created_at),
        "updated_at": write_instant(view.record.updated_at),
    }


def write_regulations(page: Page[RegulationView], cursor: str | None, day: date) -> dict[str, Any]:
    """Return a page as `RegulationList` has it."""
    return {"items": [write_regulation(view, day) for view in page.items], "next_cursor": cursor}
