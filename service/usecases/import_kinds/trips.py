"""Rows of trips: whole ones in NDJSON; in CSV the trip alone, with the number of rods that fished all of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from service.errors import DocumentInvalid
from service.imports.delimited import clock_cell, day_cell, json_cell, list_cell, moment_cell, number_cell, text_cell
from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.records import CREATED, Change
from service.storage.repositories.documents import Link, NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.fished import no_mark
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.import_kinds.local_times import in_utc, is_local, joined
from service.usecases.references import ExternalRef
from service.usecases.trips import trip_ahead_of_time, trip_links
from tidecore.catchlog import TripRecord
from tidecore.documents import shown
from tidecore.errors import Fault, InvalidInput

#: Parts of a trip; of those that a row does not say it says nothing, and leaves what is there as it is.
_PARTS = ("trip", "deployments", "bites", "catches", "corrections")
_SAID = frozenset(_PARTS)
#: Characters of the hash of a part.
_HASH = 32
_MOST_RODS = 20


class TripRow(TripRecord):
    """A trip, as a row of an import has it."""

    client_ref: ExternalRef


_TRIP_ROWS = TypeAdapter(list[TripRow])


class SaidTrip(NamedTuple):
    """A trip, its document, which parts of it the row says, and the columns that say what it rests on."""

    record: TripRecord
    document: Mapping[str, Any]
    parts: frozenset[str]
    links: Mapping[str, Link]


class TripImport(ImportKind[SaidTrip]):
    """Trips: each is of a mark, and has not come before its time."""

    columns: ClassVar[Columns] = {
        **{f"trip.{name}": text_cell for name in ("mark", "purpose", "drawn_peg", "place", "others_fish", "sea_seen")},
        **{f"trip.{name}": text_cell for name in ("clarity_seen", "weed_seen", "why_left", "outcome", "why_not")},
        **{f"trip.{name}": number_cell for name in ("time_precision_min", "party", "others_rods")},
        "trip.start": moment_cell,
        "trip.end": moment_cell,
        "trip.target": list_cell,
        "trip.notes": text_cell,
        "local.date": day_cell,
        "local.from": clock_cell,
        "local.to": clock_cell,
        "rods": number_cell,
        "deployments": json_cell,
        "bites": json_cell,
        "catches": json_cell,
    }

    def prepare(self, rows: Sequence[Row], known: Known) -> Sequence[Row]:
        """Return rows of a table as trips: times of clocks in UTC, species by their names, rods as deployments."""
        if not known.tabular:
            return rows
        by_clock = known.mapping is not None and known.mapping.time_zone is not None
        marks = {str(row.document.get("trip", {}).get("mark")) for row in rows if _by_clock(row.document, by_clock)}
        zones = known.zones(marks) if marks else {}
        return [row if row.faults else _prepared(row, by_clock, zones, known) for row in rows]

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[SaidTrip]:
        """Return the trip of a row."""
        row = TripRow.parse(document)
        return _said(row, row.to_document(), document)

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[SaidTrip]] | None:
        """Return the trips of many rows."""
        try:
            rows = _TRIP_ROWS.validate_python(documents)
        except ValidationError:
            return None
        dumped = _TRIP_ROWS.dump_python(rows, mode="json", by_alias=True)
        return list(map(_said, rows, dumped, documents))

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidTrip]]
    ) -> list[Candidate[SaidTrip] | InvalidInput | DocumentInvalid]:
        """Return trips as they are stored, with the ids of their marks."""
        named = things_named(unit.marks, {one.said.record.trip.mark for one in candidates})
        clocks = {key: ZoneInfo(mark["time_zone"]) for key, mark in current(unit.marks, named).items()}
        now = utc_now()

        def settled(one: Candidate[SaidTrip]) -> Candidate[SaidTrip] | InvalidInput | DocumentInvalid:
            said, name = one.said, one.said.record.trip.mark
            if name not in named:
                return no_mark("trip.mark", name)
            faults = trip_ahead_of_time(said.record, now)
            if faults:
                return InvalidInput(faults)
            mark_id = named[name].id
            document = {**said.document, "trip": {**said.document["trip"], "mark": mark_id}}
            links = {**trip_links(said.record, clocks[mark_id]), "mark_id": mark_id}
            return Candidate(one.client_ref, said._replace(document=document, links=links))

        return [settled(one) for one in candidates]

    def told(self, said: SaidTrip) -> str:
        """Return the hash of each part, an empty one where the row does not say it."""
        return ":".join(content_hash(said.document[part])[:_HASH] if part in said.parts else "" for part in _PARTS)

    def same(self, new: str, old: str) -> bool:
        """Return whether two trips are the same, as far as the new one says."""
        parts = zip(new.split(":"), old.split(":"), strict=True)
        return all(said in ("", before) for said, before in parts)

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidTrip]]) -> dict[str, Stored]:
        """Return the trips there are, by external reference or, as an export names those without, by id."""
        found = things_named(unit.trips, {one.client_ref for one in candidates})
        documents = current(unit.trips, found)
        parsed = {key: TripRecord.parse(document) for key, document in documents.items()}
        told = {key: self.told(SaidTrip(one, one.to_document(), _SAID, {})) for key, one in parsed.items()}
        return {name: Stored(one.id, told[one.id]) for name, one in found.items()}

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[SaidTrip]], now: datetime) -> list[str]:
        """Add trips in their first versions."""
        drafts = [NewDocument(one.said.document, one.client_ref, one.said.links) for one in candidates]
        made = unit.trips.add_many(drafts, now)
        for key in made:
            unit.note(Change("trip", key, CREATED, 1, now))
        return made


def _said(row: TripRow, dumped: dict[str, Any], given: Mapping[str, Any]) -> Candidate[SaidTrip]:
    client_ref = dumped.pop("client_ref")
    return Candidate(client_ref, SaidTrip(row, dumped, _SAID.intersection(given), {}))


def _by_clock(document: Mapping[str, Any], by_clock: bool) -> bool:
    trip = document.get("trip", {})
    return "local" in document or (by_clock and (is_local(trip.get("start")) or is_local(trip.get("end"))))


def _prepared(row: Row, by_clock: bool, zones: Mapping[str, ZoneInfo | None], known: Known) -> Row:
    document = dict(row.document)
    trip = dict(document.get("trip", {}))
    faults: list[Fault] = []
    local, rods = document.pop("local", None), document.pop("rods", None)
    if local is not None:
        for field, clock, after in (("start", "from", None), ("end", "to", local.get("from"))):
            if field == "end" and "to" not in local:
                continue
            text = joined(local.get("date"), local.get(clock), f"local.{clock}", after)
            if isinstance(text, Fault):
                faults.append(text)
            else:
                trip[field] = text
    if local is not None or by_clock:
        faults += _in_utc(trip, zones)
    trip["target"] = [_species(name, known, faults) for name in trip.get("target", ()) if name]
    document["trip"] = trip
    if rods is not None and not faults:
        faults += _deploy(document, rods)
    return Row(row.number, row.document if faults else document, tuple(dict.fromkeys(faults)))


def _in_utc(trip: dict[str, Any], zones: Mapping[str, ZoneInfo | None]) -> list[Fault]:
    """Put the times of a trip in UTC; return what cannot be."""
    faults: list[Fault] = []
    for field in ("start", "end"):
        if not is_local(trip.get(field)):
            continue
        zone = zones[str(trip.get("mark"))]
        if zone is None:
            return list(no_mark("trip.mark", str(trip.get("mark"))).faults)
        text = in_utc(trip[field], zone, f"trip.{field}")
        if isinstance(text, Fault):
            faults.append(text)
        else:
            trip[field] = text
    return faults


def _species(name: str, known: Known, faults: list[Fault]) -> Any:
    found = known.species(name)
    if isinstance(found, Fault):
        faults.append(Fault("trip.target", found.problem, found.expected))
    return found


def _deploy(document: dict[str, Any], rods: Any) -> list[Fault]:
    """Give a trip one deployment for each of its rods, from its start to its end; return what stands against it."""
    trip = document["trip"]
    if rods not in range(_MOST_RODS + 1):
        return [Fault("rods", f"is {shown(rods)}", f"a whole number up to {_MOST_RODS}")]
    if "deployments" in document or "end" not in trip:
        problem = "is given beside deployments" if "deployments" in document else "is given of a trip without an end"
        return [Fault("rods", problem, "the rods that fished from the start of the trip to its end")]
    document["deployments"] = [
        {"ref": f"d{number}", "rod": str(number), "start": trip.get("start"), "end": trip["end"]}
        for number in range(1, int(rods) + 1)
    ]
    return []
