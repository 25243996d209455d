"""Rows of marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any, ClassVar, NamedTuple

from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.delimited import json_cell, list_cell, number_cell, text_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change
from service.storage.repositories.documents import NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.marks import check_tide, find_stations, no_station
from service.usecases.references import ExternalRef
from tidecore.errors import InvalidInput
from tidecore.model import TideModel
from tidecore.offsets import needs_check
from tidecore.place import Mark
from tidecore.rules import check_overrides


class MarkRow(Mark):
    """A mark, as a row of an import has it."""

    client_ref: ExternalRef


_MARK_ROWS = TypeAdapter(list[MarkRow])


class SaidMark(NamedTuple):
    """The document of a mark, and the columns that say what it rests on once that is found."""

    document: Mapping[str, Any]
    links: Mapping[str, str]


class MarkImport(ImportKind[SaidMark]):
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
        "regulation_areas": list_cell,
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
        return content_hash(said.document)

    def same(self, new: str, old: str) -> bool:
        """Return whether two marks are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidMark]]) -> dict[str, Stored]:
        """Return the marks there are in their current versions."""
        records = unit.marks.by_references([one.client_ref for one in candidates])
        documents = unit.marks.documents([(one.id, one.version) for one in records.values()]) if records else {}
        return {
            reference: Stored(one.id, content_hash(Mark.parse(documents[one.id, one.version]).to_document()))
            for reference, one in records.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidMark]], now: datetime) -> list[str]:
        """Add marks in their first versions."""
        drafts = [NewDocument(one.said.document, one.client_ref, one.said.links) for one in candidates]
        made = unit.marks.add_many(drafts, now)
        for key in made:
            unit.note(Change("mark", key, CREATED, 1, now))
        return made


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
