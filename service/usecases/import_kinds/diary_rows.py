"""Rows of old diaries."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from service.imports.cells import clock_cell, day_cell, json_cell, number_cell, text_cell
from service.imports.rows import Columns, Row
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.diary_rows import ahead_of_time, diary_row_links
from service.usecases.fished import no_mark
from service.usecases.import_kinds.documents import DocumentImport, text_of
from service.usecases.import_kinds.drafts import Draft
from service.usecases.import_kinds.kind import NOBODYS, Candidate, Ready, Rests, Wrong
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.references import ExternalRef
from tidecore.catchlog import DiaryRow, read_tide_hours
from tidecore.errors import Fault, InvalidInput

#: Says that a row was fished where something was caught, and a blank where nothing was.
BY_COUNT = "by_count"


class DiaryRowRow(DiaryRow):
    """A row of a diary, as a row of an import has it."""

    client_ref: ExternalRef


class DiaryRowImport(DocumentImport[DiaryRowRow]):
    """Rows of diaries: each is of a mark, and of a day that has come."""

    kind, row, document, by_id = "diary_row", DiaryRowRow, DiaryRow, True
    rows = TypeAdapter(list[DiaryRowRow])
    links = ("mark_id", "local_day", "outcome", "why_not", "coarse_us", "caught")
    harmless: ClassVar[Mapping[str, Any]] = {"date": "2000-01-01", "mark": NOBODYS, "outcome": "fished"}
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
        return [row if row.broken else _prepared(row, known) for row in rows]

    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where rows are kept."""
        return unit.diary_rows

    def name_of(self, one: Candidate[DiaryRowRow]) -> str:
        """Return the name of the mark."""
        return one.said.mark

    def resting(self, unit: UnitOfWork, names: Collection[str]) -> Rests:
        """Return the records of marks."""
        return things_named(unit.marks, names)

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[DiaryRowRow]], rests: Rests
    ) -> Sequence[Ready | Wrong]:
        """Return rows with the ids of their marks."""
        clocks = {key: ZoneInfo(mark["time_zone"]) for key, mark in current(unit.marks, rests).items()}
        now = utc_now()

        def settled(one: Candidate[DiaryRowRow]) -> Ready | Wrong:
            row, found = one.said, rests.get(one.said.mark)
            if found is None:
                return Wrong(no_mark("mark", row.mark).faults)
            zone = clocks[found.id]
            faults = ahead_of_time(row, zone, now)
            if faults:
                return Wrong(faults)
            links = {**diary_row_links(row, zone), "mark_id": found.id}
            text = text_of(row.model_copy(update={"mark": found.id}))
            return Ready(one.client_ref, text, self.in_order(links))

        return list(map(settled, candidates))


def _prepared(row: Row, known: Known) -> Row:
    said = row.document
    tide, caught = said.get("tide"), said.get("caught")
    by_count = said.get("outcome") == BY_COUNT
    if not (isinstance(tide, str) or isinstance(caught, Mapping) or by_count):
        return row
    draft = Draft(row)
    document = draft.document
    if isinstance(tide, str):
        del document["tide"]
        try:
            document["tide"] = read_tide_hours(tide).to_document()
        except InvalidInput as error:
            draft.faults += error.faults
    if isinstance(caught, Mapping):
        document["caught"] = _tallies(caught, known, draft.faults)
    if by_count:
        document["outcome"] = "fished" if _is_caught(document.get("caught")) else "blank"
    return draft.row()


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


def _is_caught(tallies: Any) -> bool:
    """Return whether there is a tally of more than none; one that cannot be read is for the document to refuse."""
    return isinstance(tallies, list) and any(not isinstance(one, Mapping) or one.get("count") != 0 for one in tallies)
