"""Stations in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.page import Page
from service.usecases.records import ModelRecord, StationRecord
from service.usecases.references import ExternalRef
from service.usecases.station_documents import StationDocument
from service.usecases.stations import NewStation, StationView

EXAMPLE: dict[str, Any] = {
    "name": "Pellwick Roads",
    "latitude": 51.2,
    "longitude": -20.4,
    "time_zone": "Etc/UTC",
    "external_ref": "pellwick-roads",
    "model": {
        "convention": "utide",
        "datum": "gauge zero",
        "mean_level_m": 3.1,
        "constituents": {
            "M2": {"amplitude_m": 2.1, "phase_deg": 141.0},
            "S2": {"amplitude_m": 0.74, "phase_deg": 187.0},
            "N2": {"amplitude_m": 0.41, "phase_deg": 120.0},
            "K1": {"amplitude_m": 0.08, "phase_deg": 95.0},
            "O1": {"amplitude_m": 0.06, "phase_deg": 340.0},
            "M4": {"amplitude_m": 0.12, "phase_deg": 30.0},
        },
    },
}


class StationCreate(StationDocument):
    """A station: without a model until a fit is adopted, or with the constituents given here."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_new(self) -> NewStation:
        """Return what the use case takes."""
        return self.to_station(self.external_ref)


class StationVersion(Schema):
    """What is known of one tide model of a station."""

    version: int
    source: Annotated[Literal["constituents", "fit"], Field(description="What the model was made from.")]
    fit_id: str | None
    datum: str
    input_hash: str
    numerics: int
    code_version: str
    created_at: InstantText


class StationSummary(Schema):
    """A station."""

    id: str
    external_ref: str | None
    name: str
    latitude: float
    longitude: float | None
    time_zone: str
    public: Annotated[bool, Field(description="Whether every account may read it.")]
    owned: Annotated[bool, Field(description="Whether it is the caller's own, and can be changed.")]
    current_version: Annotated[int | None, Field(description="Version of its tide model; null if it has none yet.")]
    created_at: InstantText
    updated_at: InstantText


class Station(StationSummary):
    """A station, the model of the version asked for, and every version there is."""

    model: StationVersion | None
    versions: list[StationVersion]


class StationList(Schema):
    """A page of stations."""

    items: list[StationSummary]
    next_cursor: str | None


PATCH_EXAMPLE: dict[str, Any] = {"name": "Pellwick Roads, outer gauge", "longitude": None}


def patched_station(record: StationRecord, patch: dict[str, Any]) -> NewStation:
    """Return what is said of a station once patched; InvalidInput if that is no station.

    ``model`` is patched as if there were none: constituents are given whole.
    """
    fields = ("name", "latitude", "longitude", "time_zone", "external_ref", "public")
    current = {name: getattr(record, name) for name in fields}
    return StationCreate.parse(merge_patch(current, patch)).to_new()


def write_summary(record: StationRecord, zone: zoneinfo.ZoneInfo | None = None) -> dict[str, Any]:
    """Return a station as `StationSummary` has it."""
    return {
        "id": record.station_id,
        # What its own account calls a public station is nobody else's business.
        "external_ref": record.external_ref if record.owned else None,
        "name": record.name,
        "latitude": record.latitude,
        "longitude": record.longitude,
        "time_zone": record.time_zone,
        "public": record.public,
        "owned": record.owned,
        "current_version": record.version or None,
        "created_at": write_instant(record.created_at, zone),
        "updated_at": write_instant(record.updated_at, zone),
    }


def write_station(view: StationView, zone: zoneinfo.ZoneInfo | None = None) -> dict[str, Any]:
    """Return a station as `Station` has it."""
    model = None if view.model is None else _write_version(view.model, zone)
    versions = [_write_version(record, zone) for record in view.versions]
    return {**write_summary(view.station, zone), "model": model, "versions": versions}


def write_stations(page: Page[StationRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `StationList` has it."""
    return {"items": [write_summary(record) for record in page.items], "next_cursor": cursor}


def _write_version(record: ModelRecord, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    return {
        "version": record.version,
        "source": record.source,
        "fit_id": record.fit_id,
        "datum": record.datum,
        "input_hash": record.input_hash,
        "numerics": record.numerics,
        "code_version": record.code_version,
        "created_at": write_instant(record.created_at, zone),
    }
