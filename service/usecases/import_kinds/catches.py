"""Rows of catches: each names the trip it belongs to; those of one batch and trip make one new version of it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.delimited import clock_cell, day_cell, moment_cell, number_cell, text_cell
from service.imports.mapping import CLIENT_REF
from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.records import UPDATED, Change, DocumentRecord
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.import_kinds.local_times import in_utc, is_local, joined
from service.usecases.references import ExternalRef
from service.usecases.tallies import trip_sums
from service.usecases.trips import trip_ahead_of_time
from tidecore.catchlog import Catch, TripRecord
from tidecore.documents import Name
from tidecore.errors import Fault, InvalidInput

_OF_A_CATCH = re.compile(r"catches\.(\d+)(?:\.(.+))?")
Settled = Candidate["SaidCatch"] | InvalidInput | DocumentInvalid


class CatchRow(Catch):
    """A catch, as a row of an import has it: its ``client_ref`` is its ref within the trip."""

    client_ref: ExternalRef
    trip: Name


_ROWS = TypeAdapter(list[CatchRow])


@dataclass(frozen=True, slots=True)
class Onto:
    """A trip that catches are added to, as it stands, and the catches it has by their references."""

    record: DocumentRecord
    document: Mapping[str, Any]
    trip: TripRecord
    there: Mapping[str, Catch]

    def faults(self, added: Sequence[Catch], now: datetime) -> list[Fault]:
        """Return all that stands against catches at the end of those that there are."""
        said = {name: getattr(self.trip, name) for name in ("trip", "deployments", "bites", "corrections")}
        try:
            whole = TripRecord.parse({**said, "catches": (*self.trip.catches, *added)})
        except InvalidInput as error:
            return list(error.faults)
        return trip_ahead_of_time(whole, now)

    def with_more(self, added: Sequence[SaidCatch]) -> tuple[Mapping[str, Any], Mapping[str, Link]]:
        """Return its document with catches at the end, and the columns that sum it up."""
        document = {**self.document, "catches": [*self.document["catches"], *(one.document for one in added)]}
        whole = self.trip.model_copy(update={"catches": (*self.trip.catches, *(one.catch for one in added))})
        return document, trip_sums(whole)


class SaidCatch(NamedTuple):
    """A catch, its document, the trip that it names, and that trip once it is found."""

    catch: Catch
    document: Mapping[str, Any]
    trip: str
    onto: Onto | None = None


class CatchImport(ImportKind[SaidCatch]):
    """Catches: each lies within its trip, and within its deployment where it names one."""

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
        trips = {str(row.document.get("trip")) for row in rows if _by_clock(row.document, by_clock)}
        zones = known.zones_of_trips(trips) if trips else {}
        return [row if row.faults else _prepared(row, by_clock, zones, known) for row in rows]

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[SaidCatch]:
        """Return the catch of a row."""
        try:
            return _said(CatchRow.parse(_with_ref(document)))
        except InvalidInput as error:
            # The row calls it client_ref, and both are wrong where it is.
            named = [Fault(CLIENT_REF if one.field == "ref" else one.field, *_told(one)) for one in error.faults]
            raise InvalidInput(list({one.field: one for one in named}.values())) from error

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[SaidCatch]] | None:
        """Return the catches of many rows."""
        try:
            return list(map(_said, _ROWS.validate_python([_with_ref(one) for one in documents])))
        except (ValidationError, InvalidInput):
            return None

    def settle(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidCatch]]) -> list[Settled]:
        """Return catches with their trips, or what stands against them there."""
        named = things_named(unit.trips, {one.said.trip for one in candidates})
        records = {one.id: one for one in named.values()}
        trips = {}
        for key, document in current(unit.trips, named).items():
            trip = TripRecord.parse(document)
            trips[key] = Onto(records[key], document, trip, {fish.ref: fish for fish in trip.catches})
        settled: list[Settled] = []
        new: dict[str, dict[str, int]] = {}
        for place, one in enumerate(candidates):
            if one.said.trip not in named:
                settled.append(_no_trip(one.said.trip))
                continue
            onto = trips[named[one.said.trip].id]
            settled.append(Candidate(one.client_ref, _onto(one.said, onto)))
            if one.client_ref not in onto.there:
                # A second row of the same reference is compared with the first, and never added.
                new.setdefault(onto.record.id, {}).setdefault(one.client_ref, place)
        now = utc_now()
        for key, places in new.items():
            _drop_misfits(trips[key], list(places.values()), candidates, settled, now)
        return settled

    def key(self, one: Candidate[SaidCatch]) -> str:
        """Return the trip and the reference within it."""
        assert one.said.onto is not None, "only settled rows have a key"
        return f"{one.said.onto.record.id}/{one.client_ref}"

    def key_of(self, client_ref: str, told: str) -> str:
        """Return the same of what a row told."""
        return f"{told.partition(':')[0]}/{client_ref}"

    def told(self, said: SaidCatch) -> str:
        """Return the trip, and the hash of the catch."""
        assert said.onto is not None, "only settled rows are compared"
        return f"{said.onto.record.id}:{content_hash(said.document)}"

    def same(self, new: str, old: str) -> bool:
        """Return whether two catches are the same."""
        return new == old

    def stored(self, _unit: UnitOfWork, candidates: Sequence[Candidate[SaidCatch]]) -> dict[str, Stored]:
        """Return the catches there are, in their trips as they were found."""
        found = {}
        for one in candidates:
            onto = one.said.onto
            before = None if onto is None else onto.there.get(one.client_ref)
            if onto is not None and before is not None:
                told = f"{onto.record.id}:{content_hash(before.to_document())}"
                found[self.key(one)] = Stored(onto.record.id, told)
        return found

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidCatch]], now: datetime) -> list[str]:
        """Add catches to their trips, each in its next version, and return the ids of the trips."""
        added: dict[str, list[SaidCatch]] = {}
        trips: dict[str, Onto] = {}
        for one in candidates:
            assert one.said.onto is not None, "only settled rows are written"
            trips[one.said.onto.record.id] = one.said.onto
            added.setdefault(one.said.onto.record.id, []).append(one.said)
        edits = [(onto.record, *onto.with_more(added[key])) for key, onto in trips.items()]
        for record in unit.trips.replace_many(edits, now):
            unit.note(Change("trip", record.id, UPDATED, record.version, now))
        return [one.said.onto.record.id for one in candidates if one.said.onto is not None]


def _with_ref(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row with its reference as that of the catch; InvalidInput where it says another."""
    reference = document.get("client_ref")
    if "ref" in document and document["ref"] != reference:
        raise InvalidInput(Fault("ref", "is not the client_ref", "no ref: the client_ref is that of the catch"))
    return {**document, "ref": reference} if isinstance(reference, str) else dict(document)


def _told(fault: Fault) -> tuple[str, str]:
    return fault.problem, fault.expected


def _said(row: CatchRow) -> Candidate[SaidCatch]:
    document = row.to_document()
    trip = document.pop("trip")
    return Candidate(document.pop("client_ref"), SaidCatch(row, document, trip))


def _onto(said: SaidCatch, onto: Onto) -> SaidCatch:
    return SaidCatch(said.catch, said.document, said.trip, onto)


def _no_trip(name: str) -> DocumentInvalid:
    expected = "the id or the external_ref of a trip, as GET /v1/trips lists them"
    return DocumentInvalid(Fault("trip", f"there is no trip {name!r}", expected))


def _drop_misfits(
    onto: Onto, places: list[int], candidates: Sequence[Candidate[SaidCatch]], settled: list[Settled], now: datetime
) -> None:
    """Put what stands against new catches of a trip in their ``places``, until those that are left fit."""
    before = len(onto.trip.catches)
    while places:
        faults = onto.faults([candidates[place].said.catch for place in places], now)
        if not faults:
            return
        wrong: dict[int, list[Fault]] = {}
        for one in faults:
            match = _OF_A_CATCH.fullmatch(one.field)
            number = int(match[1]) - before if match is not None else -1
            # What stands against no row alone stands against all of them: the trip was a blank, or has too many.
            for place in [places[number]] if number >= 0 else places:
                its = "trip" if match is None else match[2] or "row"
                wrong.setdefault(place, []).append(Fault(its, one.problem, one.expected))
        for place, its_faults in wrong.items():
            settled[place] = InvalidInput(its_faults)
        places = [place for place in places if place not in wrong]


def _by_clock(document: Mapping[str, Any], by_clock: bool) -> bool:
    return "local" in document or (by_clock and is_local(document.get("at")))


def _prepared(row: Row, by_clock: bool, zones: Mapping[str, ZoneInfo | None], known: Known) -> Row:
    said = row.document
    if not isinstance(said.get("species"), str) and not _by_clock(said, by_clock):
        return row
    document, faults = dict(said), list[Fault]()
    if isinstance(said.get("species"), str):
        species = known.species(said["species"])
        if isinstance(species, Fault):
            faults.append(species)
        document["species"] = species
    if _by_clock(said, by_clock):
        local, zone = document.pop("local", None), zones[str(said.get("trip"))]
        at = said["at"] if local is None else joined(local.get("date"), local.get("time"), "local.time")
        if zone is None:
            faults += _no_trip(str(said.get("trip"))).faults
        elif isinstance(at, str):
            at = in_utc(at, zone, "at")
        document["at"] = at
        faults += [at] if isinstance(at, Fault) else []
    return Row(row.number, said if faults else document, tuple(faults))
