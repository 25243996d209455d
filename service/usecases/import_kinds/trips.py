"""Rows of trips: whole ones in NDJSON; in CSV the trip alone, with the number of rods that fished all of it."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from service.imports.cells import clock_cell, day_cell, json_cell, list_cell, moment_cell, number_cell, text_cell
from service.imports.rows import Columns, Row
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.fished import no_mark
from service.usecases.import_kinds.documents import DocumentImport, text_of
from service.usecases.import_kinds.kind import Candidate, Ready, Rests, Wrong, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.import_kinds.local_times import beside_local, in_utc, is_local, joined
from service.usecases.import_kinds.written import fields_of, write_fields
from service.usecases.references import ExternalRef
from service.usecases.trips import trip_ahead_of_time, trip_links
from tidecore.catchlog import Trip, TripRecord
from tidecore.documents import shown
from tidecore.errors import Fault

#: Parts of a trip; of those that a row does not say it says nothing, and leaves what is there as it is.
_PARTS = ("trip", "deployments", "bites", "catches", "corrections")
_SAID = frozenset(_PARTS)
#: Characters of the hash of a part.
_HASH = 32
_MOST_RODS = 20


class TripRow(TripRecord):
    """A trip, as a row of an import has it."""

    client_ref: ExternalRef


class TripImport(DocumentImport[TripRow]):
    """Trips: each is of a mark, and has not come before its time."""

    kind, row, document, by_id = "trip", TripRow, TripRecord, True
    rows = TypeAdapter(list[TripRow])
    links = (
        *("mark_id", "started_at", "ended_at", "local_day", "outcome", "method_ids"),
        *("purpose", "why_not", "raw_us", "bait_on_us", "uncast_us", "caught", "bests"),
    )
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

    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where trips are kept."""
        return unit.trips

    def name_of(self, one: Candidate[TripRow]) -> str:
        """Return the name of the mark."""
        return one.said.trip.mark

    def resting(self, unit: UnitOfWork, names: Collection[str]) -> Rests:
        """Return the records of marks."""
        return things_named(unit.marks, names)

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[TripRow]], rests: Rests
    ) -> Sequence[Ready | Wrong]:
        """Return trips with the ids of their marks."""
        clocks = {key: ZoneInfo(mark["time_zone"]) for key, mark in current(unit.marks, rests).items()}
        now = utc_now()

        def settled(one: Candidate[TripRow]) -> Ready | Wrong:
            record = one.said
            found = rests.get(record.trip.mark)
            if found is None:
                return Wrong(no_mark("trip.mark", record.trip.mark).faults)
            faults = trip_ahead_of_time(record, now)
            if faults:
                return Wrong(faults)
            links = (found.id, *_LINKS(trip_links(record, clocks[found.id])))
            text = _text_at(record, found.id)
            return Ready(one.client_ref, text, links, _once(_SAID & record.model_fields_set))

        return list(map(settled, candidates))

    def told(self, one: Ready) -> str:
        """Return the hash of each part, an empty one where the row does not say it."""
        return _told(json.loads(one.text), one.more)

    def said(self, one: Ready) -> Mapping[str, Any]:
        """Return the parts that the row says."""
        return {part: said for part, said in super().said(one).items() if part in one.more}

    def told_of(self, document: Mapping[str, Any]) -> str:
        """Return the same of a trip that is there, which says all of them."""
        return _told(TripRecord.parse(document).to_document(), _PARTS)

    def same(self, new: str, old: str) -> bool:
        """Return whether two trips are the same, as far as the new one says."""
        parts = zip(new.split(":"), old.split(":"), strict=True)
        return all(said in ("", before) for said, before in parts)


#: The columns beside a trip in their order, but for that of its mark.
_LINKS = itemgetter(*TripImport.links[1:])


def _told(document: Mapping[str, Any], parts: Collection[str]) -> str:
    return ":".join(content_hash(document[part])[:_HASH] if part in parts else "" for part in _PARTS)


@lru_cache(maxsize=1 << len(_PARTS))
def _once(parts: frozenset[str]) -> frozenset[str]:
    """Return the same object for the same parts, so that it crosses to another process once for many rows."""
    return parts


def _text_at(record: TripRow, mark_id: str) -> str:
    """Return a trip at the mark of an id, whatever name it has for it, as the JSON of its document."""
    trip = {**fields_of(record.trip, Trip), "mark": mark_id}

    def slowly() -> str:
        at_mark = record.trip.model_copy(update={"mark": mark_id})
        return text_of(record.model_copy(update={"trip": at_mark}))

    return write_fields({**fields_of(record, TripRecord), "trip": trip}, slowly)


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
            if field in trip:
                faults.append(beside_local(f"trip.{field}", local))
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
