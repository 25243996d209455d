"""Rows of stations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, NamedTuple

from service.imports.cells import number_cell, text_cell, truth_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change, StationRecord
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Ready, Rests, Stored, Wrong, content_hash
from service.usecases.references import ExternalRef
from service.usecases.station_documents import StationDocument
from service.usecases.stations import NewStation, check_station, write_version
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

    def settle(
        self, _unit: UnitOfWork, candidates: Sequence[Candidate[SaidStation]], _rests: Rests
    ) -> Sequence[Ready | Wrong]:
        """Return stations as they are: they rest on nothing."""
        return [Ready(reference, "", (), said) for reference, said in candidates]

    def told(self, one: Ready) -> str:
        """Return the hashes of what is said of the station and of its tide, the second one empty without."""
        station, model = one.more
        return _told_station(station, None if model is None else (model.input_hash, model.datum))

    def same(self, new: str, old: str) -> bool:
        """Return whether two stations are the same, as far as the new one says."""
        (said, tide), (said_before, tide_before) = new.split(":"), old.split(":")
        return said == said_before and tide in ("", tide_before)

    def stored(self, unit: UnitOfWork, rows: Sequence[Ready]) -> dict[str, Stored]:
        """Return the stations there are."""
        records = unit.stations.by_references([one.client_ref for one in rows])
        models = unit.stations.current_models([one.station_id for one in records.values()]) if records else {}
        found = {}
        for reference, one in records.items():
            model = models.get(one.station_id)
            told = _told_station(one, None if model is None else (model.input_hash, model.datum))
            found[reference] = Stored(one.station_id, told)
        return found

    def write(self, unit: UnitOfWork, rows: Sequence[Ready], now: datetime) -> list[str]:
        """Add stations, and the models of those that have one."""
        said = [{**_fields(one.more.station), "external_ref": one.client_ref} for one in rows]
        made = unit.stations.add_many(said, now)
        for station_id, one in zip(made, rows, strict=True):
            unit.note(Change("station", station_id, CREATED, None, now))
            if one.more.model is not None:
                write_version(unit, station_id, one.more.model, source="constituents", fit_id=None, now=now)
        return made


def _fields(station: NewStation | StationRecord) -> dict[str, Any]:
    return {name: getattr(station, name) for name in ("name", "latitude", "longitude", "time_zone", "public")}


def _told_station(station: NewStation | StationRecord, tide: tuple[str, str] | None) -> str:
    return f"{content_hash(_fields(station))}:{'' if tide is None else content_hash(tide)}"
