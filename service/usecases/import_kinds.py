"""What can be imported: how a row of each kind is read, compared with what is there, and written with many others."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, ClassVar, Generic, Protocol, TypeVar

import orjson
from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.delimited import json_cell, list_cell, number_cell, text_cell, truth_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change, StationRecord
from service.storage.repositories.documents import NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.marks import check_tide, find_stations, no_station
from service.usecases.references import ExternalRef
from service.usecases.station_documents import StationDocument
from service.usecases.stations import NewStation, check_station, write_version
from tidecore.errors import InvalidInput
from tidecore.model import TideModel
from tidecore.offsets import needs_check
from tidecore.place import Mark
from tidecore.rules import Method, check_overrides

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Candidate(Generic[T]):
    """What a row says, checked, and what the account calls it."""

    client_ref: str
    said: T


@dataclass(frozen=True, slots=True)
class Stored:
    """A thing that is there already: its id, and what it says, as `ImportKind.told` gives it."""

    thing_id: str | None
    told: str


class ImportKind(Protocol[T]):
    """One kind of thing that can be imported.

    ``told`` is what a thing says, as a short text; `same` compares what a row says with what a thing said before.
    """

    columns: ClassVar[Columns]

    def parse(self, document: Mapping[str, Any], caller: Caller) -> Candidate[T]:
        """Return what a row says; CoreError or ServiceError with all that is wrong with it."""

    def parse_many(self, documents: Sequence[Mapping[str, Any]], caller: Caller) -> list[Candidate[T]] | None:
        """Return what many rows say, where that is faster than one by one; None where a row may be wrong."""

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[T]]
    ) -> list[Candidate[T] | InvalidInput | DocumentInvalid]:
        """Return rows with what they rest on found in the store, or the error that it is not there or not fit."""

    def told(self, said: T) -> str:
        """Return what a settled row says."""

    def same(self, new: str, old: str) -> bool:
        """Return whether a row that says ``new`` leaves a thing that says ``old`` as it is."""

    def stored(self, unit: UnitOfWork, references: Sequence[str]) -> dict[str, Stored]:
        """Return the things that are there, by the account's own names."""

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[T]], now: datetime) -> list[str]:
        """Add settled rows to the store with their changes, and return their ids."""


class MarkRow(Mark):
    """A mark, as a row of an import has it."""

    client_ref: ExternalRef


_MARK_ROWS = TypeAdapter(list[MarkRow])


class StationRow(StationDocument):
    """A station, as a row of an import has it."""

    client_ref: ExternalRef


@dataclass(frozen=True, slots=True)
class SaidMark:
    """The document of a mark, and the columns that say what it rests on once that is found."""

    document: Mapping[str, Any]
    links: Mapping[str, str]


class MarkImport:
    """Marks: each follows the station that it names."""

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
        "facilities": list_cell,
        "phone_signal": text_cell,
        "way_back": json_cell,
    }

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[SaidMark]:
        """Return the mark of a row."""
        return _said_mark(MarkRow.parse(document).to_document())

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[SaidMark]] | None:
        """Return the marks of many rows."""
        try:
            marks = _MARK_ROWS.validate_python(documents)
        except ValidationError:
            return None
        return [_said_mark(one) for one in _MARK_ROWS.dump_python(marks, mode="json", by_alias=True)]

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidMark]]
    ) -> list[Candidate[SaidMark] | InvalidInput | DocumentInvalid]:
        """Return marks as they are stored, with the ids of their stations, by whose tide they must have one."""
        known = find_stations(unit, {one.said.document["station"] for one in candidates})
        return _judged(unit, [_at_station(one, known) for one in candidates])

    def told(self, said: SaidMark) -> str:
        """Return the hash of the document."""
        return _hash(said.document)

    def same(self, new: str, old: str) -> bool:
        """Return whether two marks are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, references: Sequence[str]) -> dict[str, Stored]:
        """Return the marks there are in their current versions."""
        records = unit.marks.by_references(references)
        documents = unit.marks.documents([(one.id, one.version) for one in records.values()]) if records else {}
        return {
            reference: Stored(one.id, _hash(Mark.parse(documents[one.id, one.version]).to_document()))
            for reference, one in records.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidMark]], now: datetime) -> list[str]:
        """Add marks in their first versions."""
        drafts = [NewDocument(one.said.document, one.client_ref, one.said.links) for one in candidates]
        made = unit.marks.add_many(drafts, now)
        for record in made:
            unit.note(Change("mark", record.id, CREATED, record.version, now))
        return [record.id for record in made]


def _said_mark(document: dict[str, Any]) -> Candidate[SaidMark]:
    return Candidate(document.pop("client_ref"), SaidMark(document, {}))


def _at_station(one: Candidate[SaidMark], known: Mapping[str, str]) -> Candidate[SaidMark] | DocumentInvalid:
    name = one.said.document["station"]
    if name not in known:
        return no_station(name)
    said = SaidMark({**one.said.document, "station": known[name]}, {"station_id": known[name]})
    return Candidate(one.client_ref, said)


def _judged(
    unit: UnitOfWork, found: Sequence[Candidate[SaidMark] | DocumentInvalid]
) -> list[Candidate[SaidMark] | InvalidInput | DocumentInvalid]:
    """Return marks, or the errors that their overrides are no rules or their offsets or lags make no tide.

    The tide of a station is read once.
    """

    @cache
    def tide_of(station_id: str) -> TideModel | None:
        station = unit.stations.many([station_id])[station_id]
        document = unit.stations.document(station_id, station.version) if station.version else None
        return None if document is None else TideModel.from_document(document)

    def judge(one: Candidate[SaidMark] | DocumentInvalid) -> Candidate[SaidMark] | InvalidInput | DocumentInvalid:
        if isinstance(one, DocumentInvalid) or not (_has_override(one) or _needs_tide(one.said.document)):
            return one
        mark = Mark.parse(one.said.document)
        try:
            check_overrides(mark)
            check_tide(mark, lambda: tide_of(mark.station))
        except InvalidInput as error:
            return error
        return one

    return [judge(one) for one in found]


def _has_override(one: Candidate[SaidMark]) -> bool:
    return any(species["override"] for species in one.said.document["species"])


def _needs_tide(document: Mapping[str, Any]) -> bool:
    """Return whether it takes a tide to check a mark's document; told from plain data, as most don't."""
    lags = document["slack_lags"]
    return document["offsets"] is not None or (
        lags is not None and needs_check(None, (lags["after_hw_min"], lags["after_lw_min"]))
    )


class MethodRow(Method):
    """A method, as a row of an import has it."""

    client_ref: ExternalRef


class MethodImport:
    """Methods: they rest on nothing."""

    columns: ClassVar[Columns] = {
        **dict.fromkeys(("name", "rig", "style", "notes", "provenance", "reach.band", "lead.type"), text_cell),
        **dict.fromkeys(("main_line.material",), text_cell),
        **dict.fromkeys(("reach.from_m", "reach.to_m", "lead.grams", "wading_depth_m", "rods"), number_cell),
        **dict.fromkeys(("main_line.diameter_mm", "main_line.strength_lb"), number_cell),
        **dict.fromkeys(("leader.strength_lb", "leader.rod_lengths", "leader.turns"), number_cell),
        **dict.fromkeys(("species", "hooks", "snoods", "baits", "suits"), json_cell),
        "beds": list_cell,
    }

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[Mapping[str, Any]]:
        """Return the method of a row."""
        said = MethodRow.parse(document).to_document()
        return Candidate(said.pop("client_ref"), said)

    def parse_many(
        self, _documents: Sequence[Mapping[str, Any]], _caller: Caller
    ) -> list[Candidate[Mapping[str, Any]]] | None:
        """Return None: nobody has methods by the thousand."""
        return None

    def settle(
        self, _unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]]
    ) -> list[Candidate[Mapping[str, Any]] | InvalidInput | DocumentInvalid]:
        """Return methods as they are."""
        return list(candidates)

    def told(self, said: Mapping[str, Any]) -> str:
        """Return the hash of the document."""
        return _hash(said)

    def same(self, new: str, old: str) -> bool:
        """Return whether two methods are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, references: Sequence[str]) -> dict[str, Stored]:
        """Return the methods there are in their current versions."""
        records = unit.methods.by_references(references)
        documents = unit.methods.documents([(one.id, one.version) for one in records.values()]) if records else {}
        return {
            reference: Stored(one.id, _hash(Method.parse(documents[one.id, one.version]).to_document()))
            for reference, one in records.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]], now: datetime) -> list[str]:
        """Add methods in their first versions."""
        made = unit.methods.add_many([NewDocument(one.said, one.client_ref, {}) for one in candidates], now)
        for record in made:
            unit.note(Change("method", record.id, CREATED, record.version, now))
        return [record.id for record in made]


@dataclass(frozen=True, slots=True)
class SaidStation:
    """What a row says of a station, and the model of its constituents."""

    station: NewStation
    model: TideModel | None


class StationImport:
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

    def stored(self, unit: UnitOfWork, references: Sequence[str]) -> dict[str, Stored]:
        """Return the stations there are."""
        records = unit.stations.by_references(references)
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
    return f"{_hash(_fields(station))}:{'' if tide is None else _hash(tide)}"


def _hash(value: Any) -> str:
    return hashlib.sha256(orjson.dumps(value, option=orjson.OPT_SORT_KEYS)).hexdigest()


#: Kind by its name; a new one is an entry here, with its name in the contract.
IMPORT_KINDS: Mapping[str, ImportKind[Any]] = {
    "mark": MarkImport(),
    "method": MethodImport(),
    "station": StationImport(),
}
