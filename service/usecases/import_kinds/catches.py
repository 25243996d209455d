"""Rows of catches: each names the trip it belongs to; those of one batch and trip make one new version of it."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.cells import clock_cell, day_cell, moment_cell, number_cell, text_cell
from service.imports.mapping import CLIENT_REF, ColumnMapping
from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.records import UPDATED, Change, DocumentRecord
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.import_kinds.documents import text_of
from service.usecases.import_kinds.drafts import Draft
from service.usecases.import_kinds.kind import NOBODYS, Candidate, ImportKind, Ready, Rests, Stored, Wrong, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.import_kinds.local_times import beside_local, in_utc, is_local, take_clocks, write_clock
from service.usecases.import_kinds.written import fields_of, write_fields, write_longer
from service.usecases.references import ExternalRef
from service.usecases.tallies import trip_sums
from service.usecases.trips import trip_ahead_of_time, trip_has_come
from tidecore.catchlog import Catch, TripRecord
from tidecore.documents import Name
from tidecore.errors import Fault, InvalidInput

_OF_A_CATCH = re.compile(r"catches\.(\d+)(?:\.(.+))?")
#: The next version of a trip: what is replaced, its document as JSON, and the columns that sum it up.
Edit = tuple[DocumentRecord, str, Mapping[str, Link]]


class CatchRow(Catch):
    """A catch, as a row of an import has it: its ``client_ref`` is its ref within the trip."""

    client_ref: ExternalRef
    trip: Name


_ROWS = TypeAdapter(list[CatchRow])
#: Fields of a row that its catch does not have.
_OF_THE_ROW = frozenset({"client_ref", "trip"})


@dataclass(frozen=True, slots=True)
class Onto:
    """A trip that catches are added to, as it stands, and the catches it has by their references."""

    record: DocumentRecord
    document: Mapping[str, Any]
    trip: TripRecord
    there: Mapping[str, Catch]

    def faults(self, added: Sequence[Catch], now: datetime) -> list[Fault]:
        """Return all that stands against catches at the end of those that there are."""
        if self.trip.takes(added) and trip_has_come(self.trip, now, added):
            # Nearly always: to check the whole trip anew would cost ten times as much.
            return []
        said = {name: getattr(self.trip, name) for name in ("trip", "deployments", "bites", "corrections")}
        try:
            whole = TripRecord.parse({**said, "catches": (*self.trip.catches, *added)})
        except InvalidInput as error:
            return list(error.faults)
        return trip_ahead_of_time(whole, now)

    def with_more(self, added: Sequence[Catch], texts: Sequence[str]) -> Edit:
        """Return its next version, with catches at the end that are given as JSON too."""
        return self.record, write_longer(self.document, "catches", texts), trip_sums(self.trip, added)


class OfTrip(NamedTuple):
    """What is particular to a settled catch: its trip, what a catch of its name there says, and the trip's next
    version with the new catches of all rows, at the first of them."""

    trip_id: str
    there: Mapping[str, Any] | None
    edit: Edit | None


class CatchImport(ImportKind[CatchRow]):
    """Catches: each lies within its trip, and within its deployment where it names one."""

    harmless: ClassVar[Mapping[str, Any]] = {
        "trip": NOBODYS, "at": "2000-01-01T00:00:00Z", "species": {"scientific_name": "Piscis"}, "fate": "kept",
    }  # fmt: skip
    columns: ClassVar[Columns] = {
        **dict.fromkeys(("trip", "deployment", "species", "species.scientific_name", "species.fao_code"), text_cell),
        **dict.fromkeys(("species.local_name", "length.kind", "weight.how", "hook_position", "fate"), text_cell),
        **dict.fromkeys(("condition", "notes"), text_cell),
        **dict.fromkeys(("precision_min", "length.cm", "length.precision_cm", "weight.grams"), number_cell),
        "at": moment_cell,
        "local.date": day_cell,
        "local.time": clock_cell,
    }

    def prepare(self, rows: Sequence[Row], known: Known) -> Sequence[Row]:
        """Return rows with species by their names, and times of clocks in UTC."""
        by_clock = known.mapping is not None and known.mapping.time_zone is not None
        trips = {_trip_of(row) for row in rows if _by_clock(row.document, by_clock)}
        zones = known.zones_of_trips(trips) if trips else {}
        return [row if row.broken else _prepared(row, by_clock, zones.get(_trip_of(row)), known) for row in rows]

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[CatchRow]:
        """Return the catch of a row."""
        another = _another_ref(document)
        try:
            row = CatchRow.parse(_with_ref(document))
        except InvalidInput as error:
            # The row calls it client_ref, and both are wrong where it is.
            named = [Fault(CLIENT_REF if one.field == "ref" else one.field, *_told(one)) for one in error.faults]
            raise InvalidInput([*another, *{one.field: one for one in named}.values()]) from error
        if another:
            raise InvalidInput(another)
        return Candidate(row.client_ref, row)

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[CatchRow]] | None:
        """Return the catches of many rows."""
        if any(map(_another_ref, documents)):
            return None
        try:
            rows = _ROWS.validate_python([_with_ref(one) for one in documents])
        except ValidationError:
            return None
        return [Candidate(row.client_ref, row) for row in rows]

    def name_of(self, one: Candidate[CatchRow]) -> str:
        """Return the name of the trip."""
        return one.said.trip

    def resting(self, unit: UnitOfWork, names: Collection[str]) -> Rests:
        """Return the records of trips."""
        return things_named(unit.trips, names)

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[CatchRow]], rests: Rests
    ) -> Sequence[Ready | Wrong]:
        """Return catches with their trips, or what stands against them there."""
        records = {one.id: one for one in rests.values()}
        trips = {}
        for key, document in current(unit.trips, rests).items():
            trip = TripRecord.parse(document)
            trips[key] = Onto(records[key], document, trip, {fish.ref: fish for fish in trip.catches})
        named = {
            name: (record.id, trips[record.id].there, OfTrip(record.id, None, None)) for name, record in rests.items()
        }
        settled: list[Ready | Wrong] = []
        new: dict[str, dict[str, list[int]]] = {}
        texts = [_text_of(row) for _, row in candidates]
        for place, ((reference, row), text) in enumerate(zip(candidates, texts, strict=True)):
            if row.trip not in named:
                settled.append(Wrong(_no_trip(row.trip).faults))
                continue
            key, there, of = named[row.trip]
            if reference in there:
                of = of._replace(there=there[reference].to_document())
            else:
                new.setdefault(key, {}).setdefault(reference, []).append(place)
            settled.append(Ready(reference, text, (), of))
        now = utc_now()
        for key, by_reference in new.items():
            fit = _drop_misfits(trips[key], list(by_reference.values()), candidates, settled, now)
            if fit:
                edit = trips[key].with_more([candidates[one].said for one in fit], [texts[one] for one in fit])
                first = settled[fit[0]]
                assert isinstance(first, Ready), "those that fit are not refused"
                settled[fit[0]] = first._replace(more=first.more._replace(edit=edit))
        return settled

    def key(self, one: Ready) -> str:
        """Return the trip and the reference within it."""
        return f"{one.more.trip_id}/{one.client_ref}"

    def key_of(self, client_ref: str, told: str) -> str:
        """Return the same of what a row told."""
        return f"{told.partition(':')[0]}/{client_ref}"

    def told(self, one: Ready) -> str:
        """Return the trip, and the hash of the catch."""
        return _told_of(one.more.trip_id, json.loads(one.text))

    def stored(self, _unit: UnitOfWork, rows: Sequence[Ready]) -> dict[str, Stored]:
        """Return the catches there are, in their trips as they were found."""
        return {
            self.key(one): Stored(one.more.trip_id, _told_of(one.more.trip_id, one.more.there), one.more.there)
            for one in rows
            if one.more.there is not None
        }

    def write(self, unit: UnitOfWork, rows: Sequence[Ready], now: datetime) -> list[str]:
        """Add catches to their trips, each in its next version, and return the ids of the trips."""
        edits = [one.more.edit for one in rows if one.more.edit is not None]
        for record in unit.trips.replace_many(edits, now):
            unit.note(Change("trip", record.id, UPDATED, record.version, now))
        return [one.more.trip_id for one in rows]


def _another_ref(document: Mapping[str, Any]) -> list[Fault]:
    """Return the fault of a row that gives its catch another reference than its own."""
    if "ref" not in document or document["ref"] == document.get(CLIENT_REF):
        return []
    return [Fault("ref", "is not the client_ref", "no ref: the client_ref is that of the catch")]


def _with_ref(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row with its reference as that of the catch."""
    plain = {name: value for name, value in document.items() if name != "ref"}
    reference = document.get(CLIENT_REF)
    return {**plain, "ref": reference} if isinstance(reference, str) else plain


def _text_of(row: CatchRow) -> str:
    """Return the catch of a row as JSON."""
    return write_fields(fields_of(row, Catch), lambda: text_of(row, _OF_THE_ROW))


def _told(fault: Fault) -> tuple[str, str]:
    return fault.problem, fault.expected


def _told_of(trip_id: str, document: Mapping[str, Any]) -> str:
    return f"{trip_id}:{content_hash(document)}"


def _no_trip(name: str) -> DocumentInvalid:
    expected = "the id or the external_ref of a trip, as GET /v1/trips lists them"
    return DocumentInvalid(Fault("trip", f"there is no trip {name!r}", expected))


def _drop_misfits(
    onto: Onto,
    rows: list[list[int]],
    candidates: Sequence[Candidate[CatchRow]],
    settled: list[Ready | Wrong],
    now: datetime,
) -> list[int]:
    """Put what stands against new catches of a trip in their places, and return the places of those that fit.

    Of ``rows``, places by reference, the first that fits is added; those after it are only compared with it.
    """
    before = len(onto.trip.catches)
    while places := sorted(its[0] for its in rows):
        faults = onto.faults([candidates[place].said for place in places], now)
        if not faults:
            break
        wrong: dict[int, list[Fault]] = {}
        for one in faults:
            match = _OF_A_CATCH.fullmatch(one.field)
            number = int(match[1]) - before if match is not None else -1
            # What stands against no row alone stands against all of them: the trip was a blank, or has too many.
            for place in [places[number]] if number >= 0 else places:
                its = "trip" if match is None else match[2] or "row"
                wrong.setdefault(place, []).append(Fault(its, one.problem, one.expected))
        for place, its_faults in wrong.items():
            settled[place] = Wrong(its_faults)
        rows = [left for its in rows if (left := its[1:] if its[0] in wrong else its)]
    return places


def _by_clock(document: Mapping[str, Any], by_clock: bool) -> bool:
    return isinstance(document.get("local"), Mapping) or (by_clock and is_local(document.get("at")))


def _trip_of(row: Row) -> str:
    name = row.document.get("trip")
    return name if isinstance(name, str) else ""


def _prepared(row: Row, by_clock: bool, zone: ZoneInfo | None, known: Known) -> Row:
    said = row.document
    if not isinstance(said.get("species"), str) and not _by_clock(said, by_clock):
        return row
    draft = Draft(row)
    if isinstance(said.get("species"), str):
        species = known.species(draft.document.pop("species"))
        if isinstance(species, Fault):
            draft.faults.append(species)
        else:
            draft.document["species"] = species
    if _by_clock(said, by_clock):
        _tell_by_clocks(draft, zone, known.mapping or ColumnMapping())
    return draft.row()


def _tell_by_clocks(draft: Draft, zone: ZoneInfo | None, mapping: ColumnMapping) -> None:
    """Put the time of a catch in UTC; leave it out where that cannot be, for no more to be said of it."""
    at, local, column, write = draft.document.pop("at", None), draft.document.get("local"), "at", mapping.written
    if local is not None:
        if at is not None:
            draft.faults.append(beside_local("at", local))
        day, (clock,) = take_clocks(draft, mapping, ["time"])
        text = f"{day}T{clock}" if day and clock and at is None else None
        at, column, write = text, "local.time", write_clock
    found = None if at is None or zone is None else in_utc(at, zone, column, write)
    if isinstance(found, Fault):
        draft.faults.append(found)
    if isinstance(found, str):
        draft.document["at"] = found
    draft.told_as["at"] = column if isinstance(found, str) else None
