"""Rows of stations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, NamedTuple

from service.errors import DocumentInvalid
from service.imports.delimited import number_cell, text_cell, truth_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change, StationRecord
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.references import ExternalRef
from service.usecases.station_documents import StationDocument
from service.usecases.stations import NewStation, check_station, write_version
from tidecore.errors import InvalidInput
from tidecore.model import TideModel


class StationRow(StationDocument):
    """A station, as a row of an import has it."""

    client_ref: ExternalRef


class SaidStation(NamedTuple):
    """What a row says of a station, and the model of its constituents."""

    station: NewStation
    model: TideModel | None


class StationImport(ImportKind[SaidStation]):
    """Stations: with constituents where the format has room for them; a row without leaves a tide as it is."""

    columns: ClassVar[Columns] = {
        "name": text_cell,
        "latitude": number_cell,
        "longitude": number_cell,
        "time_zone": text_cell,
        "public": truth_cell,
    }

    def parse(self, document: Mapping[str, Any], caller: Caller) -> Candidate[SaidStation]:
        """Return the station of a row."""
        row = StationRow.parse(document)
        new = row.to_station(row.client_ref)
        return Candidate(row.client_ref, SaidStation(new, check_station(caller, new, None)))

    def parse_many(
        self, _documents: Sequence[Mapping[str, Any]], _caller: Caller
    ) -> list[Candidate[SaidStation]] | None:
        """Return None: the model of each station takes far longer than reading its row."""
        return None

    def settle(
        self, _unit: UnitOfWork, candidates: Sequence[Candidate[SaidStation]]
    ) -> list[Candidate[SaidStation] | InvalidInput | DocumentInvalid]:
        """Return stations as they are: they rest on nothing."""
        return list(candidates)

    def told(self, said: SaidStation) -> str:
        """Return the hashes of what is said of the station and of its tide, the second one empty without."""
        model = said.model
        return _told_station(said.station, None if model is None else (model.input_hash, model.datum))

    def same(self, new: str, old: str) -> bool:
        """Return whether two stations are the same, as far as the new one says."""
        (said, tide), (said_before, tide_before) = new.split(":"), old.split(":")
        return said == said_before and tide in ("", tide_before)

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidStation]]) -> dict[str, Stored]:
        """Return the stations there are."""
        records = unit.stations.by_references([one.client_ref for one in candidates])
        models = unit.stations.current_models([one.station_id for one in records.values()]) if records else {}
        found = {}
        for reference, one in records.items():
            model = models.get(one.station_id)
            told = _told_station(one, None if model is None else (model.input_hash, model.datum))
            found[reference] = Stored(one.station_id, told)
        return found

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidStation]], now: datetime) -> list[str]:
        """Add stations, and the models of those that have one."""
        said = [{**_fields(one.said.station), "external_ref": one.client_ref} for one in candidates]
        made = unit.stations.add_many(said, now)
        for station_id, one in zip(made, candidates, strict=True):
            unit.note(Change("station", station_id, CREATED, None, now))
            if one.said.model is not None:
                write_version(unit, station_id, one.said.model, source="constituents", fit_id=None, now=now)
        return made


def _fields(station: NewStation | StationRecord) -> dict[str, Any]:
    return {name: getattr(station, name) for name in ("name", "latitude", "longitude", "time_zone", "public")}


def _told_station(station: NewStation | StationRecord, tide: tuple[str, str] | None) -> str:
    return f"{content_hash(_fields(station))}:{'' if tide is None else content_hash(tide)}"
