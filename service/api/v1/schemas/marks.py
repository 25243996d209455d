"""Marks in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.marks import MarkView
from service.usecases.page import Page
from service.usecases.references import ExternalRef
from tidecore.place import (
    AccessEntry,
    DeclaredSpecies,
    Exposure,
    GroundDatum,
    Leg,
    MarkLags,
    MarkOffsets,
    Peg,
    ProfilePoint,
    StreamRates,
)
from tidecore.place import Mark as MarkDocument

EXAMPLE: dict[str, Any] = {
    "name": "Pellwick Long Beach",
    "latitude": 51.23,
    "longitude": -20.37,
    "time_zone": "Etc/UTC",
    "station": "pellwick-roads",
    "kind": "open_beach",
    "beds": ["clean_sand"],
    "slack_lags": {"after_hw_min": 25.0, "after_lw_min": 35.0},
    "notes": "Invented.",
    "external_ref": "pellwick-long-beach",
}

FULL_EXAMPLE: dict[str, Any] = {
    "name": "Pellwick Steps",
    "latitude": 51.21,
    "longitude": -20.36,
    "time_zone": "Etc/UTC",
    "station": "pellwick-roads",
    "kind": "rock_ledge",
    "beds": ["rough_rock_and_kelp", "clean_sand"],
    "notes": "Invented.",
    "facing_degree": 240.0,
    "exposure": {"from_degree": 190.0, "to_degree": 300.0},
    "conditions_area": "pellwick-bay",
    "ground_datum": {
        "name": "post zero",
        "above_datum_m": 0.2,
        "uncertainty_m": 0.1,
        "source": "levelled from the gauge, invented",
    },
    "profile": [
        {"distance_m": 0.0, "level_m": 5.2, "bed": "rough_rock_and_kelp", "snag": 2},
        {"distance_m": 25.0, "level_m": 1.1, "bed": "rough_rock_and_kelp", "snag": 3},
        {"distance_m": 60.0, "level_m": -3.5, "bed": "clean_sand", "snag": 0},
    ],
    "peg": {"distance_m": 4.0},
    "ledge_height_m": 4.8,
    "cliff": ["top"],
    "species": [
        {
            "scientific_name": "Dicentrarchus labrax",
            "fao_code": "BSS",
            "override": {
                "require": [
                    {
                        "factor": "hours_from_hw",
                        "shape": {"kind": "trapezoid", "from": -3.0, "full_from": -2.0, "full_to": 1.0, "to": 2.0},
                    }
                ],
                "note": "Over the ledge on the last of the flood.",
            },
        }
    ],
    "access": [
        {"kind": "gate", "state": "open", "hours": {"from": "05:00", "to": "23:00"}, "source": "board at the gate"},
        {"kind": "nesting", "state": "closed", "season": {"from": "03-15", "to": "05-31"}},
        {"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 17.0, "wave_height_over_m": 2.5},
    ],
    "regulation_areas": ["Pellwick district"],
    "facilities": ["car park"],
    "phone_signal": "patchy",
    "way_back": [
        {
            "name": "gully under the steps",
            "lowest_sill_m": 2.6,
            "bed": "rough_rock_and_kelp",
            "length_m": 40.0,
            "minutes": 5.0,
            "surveyed": "2026-05-16",
        }
    ],
    "external_ref": "pellwick-steps",
}


class MarkCreate(MarkDocument):
    """A mark to be made; `station` is the id or the external_ref of a station."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE, FULL_EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[MarkDocument]:
        """Return the mark, and what the account calls it."""
        mark = MarkDocument.model_construct(**{name: getattr(self, name) for name in MarkDocument.model_fields})
        return Draft(mark, self.external_ref)


class Mark(Schema):
    """A mark in its current version."""

    id: str
    version: int
    external_ref: str | None
    name: str
    latitude: float
    longitude: float
    time_zone: str
    station_id: Annotated[str, Field(description="The station whose tide it follows.")]
    kind: str
    beds: list[str]
    offsets: Annotated[MarkOffsets | None, Field(description="By what its tide is that of the station; null if alike.")]
    slack_lags: MarkLags | None
    stream_rates: StreamRates | None
    flow_reliable: Annotated[bool, Field(description="Whether it is known when the stream turns here.")]
    notes: str
    facing_degree: Annotated[float | None, Field(description="In which direction it looks out to sea.")]
    exposure: Annotated[Exposure | None, Field(description="From where waves reach it.")]
    conditions_area: Annotated[str | None, Field(description="Whose conditions it takes where it has none of its own.")]
    ground_datum: Annotated[GroundDatum | None, Field(description="The zero of the levels of its ground.")]
    profile: Annotated[list[ProfilePoint], Field(description="The ground across the shore, seaward.")]
    beach_slope: Annotated[float | None, Field(description="Tangent of the slope of a plane beach.")]
    peg: Annotated[Peg | None, Field(description="Where the angler stands on the profile.")]
    ledge_height_m: Annotated[float | None, Field(description="Of ledge, wall or deck above the ground datum.")]
    cliff: Annotated[list[str], Field(description="Whether a cliff stands over it (foot) or falls below it (top).")]
    species: Annotated[list[DeclaredSpecies], Field(description="What is caught here, and otherwise than by its rule.")]
    access: Annotated[list[AccessEntry], Field(description="When it may be reached and fished.")]
    regulation_areas: Annotated[
        list[str],
        Field(description="Areas whose regulations hold here, by their name; unknown where none is named."),
    ]
    facilities: list[str]
    phone_signal: str | None
    way_back: Annotated[list[Leg], Field(description="The way from it to safe ground.")]
    created_at: InstantText
    updated_at: InstantText


PATCH_EXAMPLE: dict[str, Any] = {
    "notes": "Weed after an onshore blow.",
    "slack_lags": None,
    "facing_degree": 215.0,
    "access": [{"kind": "car_park", "state": "open", "hours": {"from": "06:00", "to": "22:00"}}],
}


class MarkList(Schema):
    """A page of marks."""

    items: list[Mark]
    next_cursor: str | None


def patched_mark(view: MarkView, patch: dict[str, Any]) -> Draft[MarkDocument]:
    """Return what a mark says once patched; InvalidInput if that is no mark."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return MarkCreate.parse(merge_patch(current, patch)).to_draft()


def write_mark(view: MarkView) -> dict[str, Any]:
    """Return a mark as `Mark` has it."""
    record, mark = view.record, view.document
    document = mark.to_document()
    document.pop("station")
    return {
        **document,
        "id": record.id,
        "version": record.version,
        "external_ref": record.external_ref,
        "station_id": mark.station,
        "flow_reliable": mark.flow_reliable,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_marks(page: Page[MarkView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `MarkList` has it."""
    return {"items": [write_mark(view) for view in page.items], "next_cursor": cursor}
