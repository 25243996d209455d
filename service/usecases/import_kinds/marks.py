"""Rows of marks."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cache
from typing import Any, ClassVar

from pydantic import TypeAdapter

from service.imports.cells import json_cell, list_cell, number_cell, text_cell
from service.imports.rows import Columns
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.documents import OF_THE_ROW, DocumentImport, text_of
from service.usecases.import_kinds.kind import NOBODYS, Candidate, Ready, Rests, Wrong
from service.usecases.marks import check_tide, find_stations, no_station
from service.usecases.references import ExternalRef
from tidecore.documents import Document
from tidecore.errors import InvalidInput
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.rules import check_overrides

#: Fields that are not written as they are named.
_NAMED = OF_THE_ROW | {"station"}


class MarkRow(Mark):
    """A mark, as a row of an import has it."""

    client_ref: ExternalRef


class MarkImport(DocumentImport[MarkRow]):
    """Marks: each follows the station that it names, and rests on its tide.

    What is not known of one is not stored either: it is half of its document.
    """

    kind, row, document = "mark", MarkRow, Mark
    rows = TypeAdapter(list[MarkRow])
    links = ("station_id",)
    harmless: ClassVar[Mapping[str, Any]] = {
        "name": "mark", "latitude": 0.0, "longitude": 0.0, "time_zone": "Etc/UTC", "station": NOBODYS,
        "kind": "open_beach",
    }  # fmt: skip
    columns: ClassVar[Columns] = {
        "name": text_cell,
        "latitude": number_cell,
        "longitude": number_cell,
        "time_zone": text_cell,
        "station": text_cell,
        "kind": text_cell,
        "beds": list_cell,
        "slack_lags.after_hw_min": number_cell,
        "slack_lags.after_lw_min": number_cell,
        "notes": text_cell,
        "facing_degree": number_cell,
        "exposure.from_degree": number_cell,
        "exposure.to_degree": number_cell,
        "conditions_area": text_cell,
        "ground_datum.name": text_cell,
        "ground_datum.above_datum_m": number_cell,
        "ground_datum.uncertainty_m": number_cell,
        "ground_datum.source": text_cell,
        "profile": json_cell,
        "beach_slope": number_cell,
        "peg.distance_m": number_cell,
        "ledge_height_m": number_cell,
        "cliff": list_cell,
        "species": json_cell,
        "access": json_cell,
        "regulation_areas": list_cell,
        "facilities": list_cell,
        "phone_signal": text_cell,
        "way_back": json_cell,
    }

    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where marks are kept."""
        return unit.marks

    def name_of(self, one: Candidate[MarkRow]) -> str:
        """Return the name of the station."""
        return one.said.station

    def resting(self, unit: UnitOfWork, names: Collection[str]) -> Rests:
        """Return the ids of stations, and the versions of their tides."""
        return find_stations(unit, names)

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[MarkRow]], rests: Rests
    ) -> Sequence[Ready | Wrong]:
        """Return marks with the ids of their stations, or that overrides are no rules or offsets and lags no tide.

        The tide of a station is read once.
        """

        @cache
        def tide_of(station_id: str, version: int) -> TideModel | None:
            document = unit.stations.document(station_id, version) if version else None
            return None if document is None else TideModel.from_document(document)

        def settled(one: Candidate[MarkRow]) -> Ready | Wrong:
            found = rests.get(one.said.station)
            if found is None:
                return Wrong(no_station(one.said.station).faults)
            station_id, version = found
            try:
                check_overrides(one.said)
                check_tide(one.said, lambda: tide_of(station_id, version))
            except InvalidInput as error:
                return Wrong(error.faults)
            # A copy of the mark, which would be at its station by the id, costs as much as all the rest.
            said = text_of(one.said, _NAMED, nulls=False)
            return Ready(one.client_ref, f'{{"station":"{station_id}",{said[1:]}', (station_id,))

        return list(map(settled, candidates))

    def stored_as(self, document: Document) -> Mapping[str, Any]:
        """Return what is known of a mark."""
        return document.model_dump(mode="json", by_alias=True, exclude_none=True)

    def said(self, one: Ready) -> Mapping[str, Any]:
        """Return all fields of a mark, those too of which it says nothing."""
        return Mark.parse(super().said(one)).to_document()
