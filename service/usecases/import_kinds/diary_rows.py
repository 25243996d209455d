"""Rows of old diaries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.delimited import clock_cell, day_cell, json_cell, number_cell, text_cell
from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.records import CREATED, Change
from service.storage.repositories.documents import Link, NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.diary_rows import ahead_of_time, diary_row_links
from service.usecases.fished import no_mark
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.references import ExternalRef
from tidecore.catchlog import DiaryRow, read_tide_hours
from tidecore.errors import Fault, InvalidInput

#: Says that a row was fished where something was caught, and a blank where nothing was.
BY_COUNT = "by_count"


class DiaryRowRow(DiaryRow):
    """A row of a diary, as a row of an import has it."""

    client_ref: ExternalRef


_ROWS = TypeAdapter(list[DiaryRowRow])


class SaidRow(NamedTuple):
    """A row, its document, and the columns that say what it rests on."""

    row: DiaryRow
    document: Mapping[str, Any]
    links: Mapping[str, Link]


class DiaryRowImport(ImportKind[SaidRow]):
    """Rows of diaries: each is of a mark, and of a day that has come."""

    columns: ClassVar[Columns] = {
        "date": day_cell,
        "mark": text_cell,
        "hours.from": clock_cell,
        "hours.to": clock_cell,
        "tide": text_cell,
        "tide.event": text_cell,
        "tide.from_h": number_cell,
        "tide.to_h": number_cell,
        "tide.which": text_cell,
        "rods": number_cell,
        "caught": json_cell,
        "caught.*": number_cell,
        "outcome": text_cell,
        "why_not": text_cell,
        "notes": text_cell,
    }

    def prepare(self, rows: Sequence[Row], known: Known) -> Sequence[Row]:
        """Return rows with hours of the tide in words taken apart, counts of species as tallies, and an outcome."""
        return [row if row.faults else _prepared(row, known) for row in rows]

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[SaidRow]:
        """Return what a row says."""
        row = DiaryRowRow.parse(document)
        return _said(row, row.to_document())

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[SaidRow]] | None:
        """Return what many rows say."""
        try:
            rows = _ROWS.validate_python(documents)
        except ValidationError:
            return None
        return list(map(_said, rows, _ROWS.dump_python(rows, mode="json", by_alias=True)))

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidRow]]
    ) -> list[Candidate[SaidRow] | InvalidInput | DocumentInvalid]:
        """Return rows as they are stored, with the ids of their marks."""
        named = things_named(unit.marks, {one.said.row.mark for one in candidates})
        clocks = {key: ZoneInfo(mark["time_zone"]) for key, mark in current(unit.marks, named).items()}
        now = utc_now()

        def settled(one: Candidate[SaidRow]) -> Candidate[SaidRow] | InvalidInput | DocumentInvalid:
            name = one.said.row.mark
            if name not in named:
                return no_mark("mark", name)
            mark_id = named[name].id
            faults = ahead_of_time(one.said.row, clocks[mark_id], now)
            if faults:
                return InvalidInput(faults)
            links = {**diary_row_links(one.said.row, clocks[mark_id]), "mark_id": mark_id}
            document = {**one.said.document, "mark": mark_id}
            return Candidate(one.client_ref, one.said._replace(document=document, links=links))

        return [settled(one) for one in candidates]

    def told(self, said: SaidRow) -> str:
        """Return the hash of the document."""
        return content_hash(said.document)

    def same(self, new: str, old: str) -> bool:
        """Return whether two rows are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidRow]]) -> dict[str, Stored]:
        """Return the rows there are, by external reference or, as an export names those without, by id."""
        found = things_named(unit.diary_rows, {one.client_ref for one in candidates})
        documents = current(unit.diary_rows, found)
        return {
            name: Stored(one.id, content_hash(DiaryRow.parse(documents[one.id]).to_document()))
            for name, one in found.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidRow]], now: datetime) -> list[str]:
        """Add rows in their first versions."""
        drafts = [NewDocument(one.said.document, one.client_ref, one.said.links) for one in candidates]
        made = unit.diary_rows.add_many(drafts, now)
        for key in made:
            unit.note(Change("diary_row", key, CREATED, 1, now))
        return made


def _said(row: DiaryRowRow, dumped: dict[str, Any]) -> Candidate[SaidRow]:
    return Candidate(dumped.pop("client_ref"), SaidRow(row, dumped, {}))


def _prepared(row: Row, known: Known) -> Row:
    said = row.document
    tide, caught = said.get("tide"), said.get("caught")
    by_count = said.get("outcome") == BY_COUNT
    if not (isinstance(tide, str) or isinstance(caught, Mapping) or by_count):
        return row
    document, faults = dict(said), list[Fault]()
    if isinstance(tide, str):
        try:
            document["tide"] = read_tide_hours(tide).to_document()
        except InvalidInput as error:
            faults += error.faults
    if isinstance(caught, Mapping):
        document["caught"] = _tallies(caught, known, faults)
    if by_count:
        document["outcome"] = "fished" if document.get("caught") else "blank"
    return Row(row.number, said if faults else document, tuple(faults))


def _tallies(caught: Mapping[str, Any], known: Known, faults: list[Fault]) -> list[dict[str, Any]]:
    """Return counts by the names of species as tallies, without those of none."""
    tallies = []
    for name, count in caught.items():
        species = known.species(name)
        if isinstance(species, Fault):
            faults.append(Fault(f"caught.{name}", species.problem, species.expected))
        elif count != 0:
            tallies.append({"species": species, "count": count})
    return tallies
