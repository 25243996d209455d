"""Marks that were searched, and what is told of each, in answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field

from service.api.v1.schemas.common import Schema
from service.usecases.marks import MarkView
from service.usecases.stations import ServedModel


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


def write_searched_mark(view: MarkView, served: ServedModel, told: Mapping[str, Any]) -> dict[str, Any]:
    """Return a mark as `SearchedMark` has it; ``told`` is what `write_told` says of it."""
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
