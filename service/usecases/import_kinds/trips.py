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
from service.imports.mapping import ColumnMapping
from service.imports.rows import Columns, Row
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import utc_now
from service.usecases.fished import no_mark
from service.usecases.import_kinds.documents import DocumentImport, text_of
from service.usecases.import_kinds.drafts import Draft
from service.usecases.import_kinds.kind import NOBODYS, Candidate, Ready, Rests, Wrong, content_hash
from service.usecases.import_kinds.known import Known, current, things_named
from service.usecases.import_kinds.local_times import (
    Write,
    beside_local,
    ended,
    in_utc,
    is_local,
    take_clocks,
    write_clock,
)
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
_OF_THE_WHOLE = "the rods that fished from the start of the trip to its end"


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
    harmless: ClassVar[Mapping[str, Any]] = {
        "trip.mark": NOBODYS, "trip.start": "2000-01-01T00:00:00Z", "trip.outcome": "fished",
    }  # fmt: skip
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
        marks = {_mark_of(row) for row in rows if _by_clock(row.document, by_clock)}
        zones = known.zones(marks) if marks else {}
        return [row if row.broken else _prepared(row, by_clock, zones.get(_mark_of(row)), known) for row in rows]

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
            faults = trip_ahead_of_time(record, now)
            if found is None:
                return Wrong([*no_mark("trip.mark", record.trip.mark).faults, *faults])
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


def _mark_of(row: Row) -> str:
    name = row.document.get("trip", {}).get("mark")
    return name if isinstance(name, str) else ""


def _prepared(row: Row, by_clock: bool, zone: ZoneInfo | None, known: Known) -> Row:
    draft = Draft(row)
    trip = draft.document["trip"] = dict(row.document.get("trip", {}))
    rods = draft.document.pop("rods", None)
    mapping = known.mapping or ColumnMapping()
    if "local" in draft.document:
        _tell_by_clocks(draft, trip, zone, mapping)
    if "local" in row.document or by_clock:
        for field in ("start", "end"):
            if is_local(trip.get(field)):
                _put(draft, trip, field, trip.pop(field), zone, f"trip.{field}", mapping.written)
    target = trip.get("target", [])
    # A constant may be anything: a name by itself, or what is no list of names, for the document to refuse.
    names = [target] if isinstance(target, str) else target
    if isinstance(names, list) and all(isinstance(name, str) for name in names):
        trip["target"] = [found for name in names if name and (found := _species(name, known, draft)) is not None]
    if rods is not None:
        _deploy(draft, trip, rods, constant="rods" in mapping.constants)
    return draft.row()


def _tell_by_clocks(draft: Draft, trip: dict[str, Any], zone: ZoneInfo | None, mapping: ColumnMapping) -> None:
    """Put start and end of a trip as ``local`` says them, by the clocks of ``zone``."""
    local = draft.document["local"]
    told = ["start", "end"] if "to" in local else ["start"]
    twice = [field for field in told if field in trip]
    draft.faults += [beside_local(f"trip.{field}", local) for field in twice]
    # Where the start is told besides, it need not be told by the clocks.
    names = [name for name in ("from", "to") if name in local or (name == "from" and "start" not in twice)]
    day, clocks = take_clocks(draft, mapping, names)
    found = dict(zip(names, clocks, strict=True))
    began, end = found.get("from"), found.get("to")
    texts = {
        "start": f"{day}T{began}" if day and began else None,
        "end": ended(day, end, began, zone) if day and began and end else None,
    }
    for field, name in zip(told, ("from", "to"), strict=False):
        trip.pop(field, None)
        _put(draft, trip, field, None if field in twice else texts[field], zone, f"local.{name}", write_clock)


def _put(
    draft: Draft, trip: dict[str, Any], field: str, text: str | None, zone: ZoneInfo | None, column: str, write: Write
) -> None:
    """Put a time of a trip in UTC, which a ``column`` says; leave it out where that cannot be, for no more to be said
    of it."""
    found = None if text is None or zone is None else in_utc(text, zone, column, write)
    if isinstance(found, Fault):
        draft.faults.append(found)
    if isinstance(found, str):
        trip[field] = found
    draft.told_as[f"trip.{field}"] = column if isinstance(found, str) else None


def _species(name: str, known: Known, draft: Draft) -> Any:
    found = known.species(name)
    if isinstance(found, Fault):
        draft.faults.append(Fault("trip.target", found.problem, found.expected))
        return None
    return found


def _deploy(draft: Draft, trip: Mapping[str, Any], rods: Any, *, constant: bool) -> None:
    """Give a trip one deployment for each of its rods, from its start to its end.

    Of one that was not fished a ``constant`` of the file says nothing.
    """
    idle = trip.get("outcome") == "not_fished"
    if rods not in range(_MOST_RODS + 1):
        draft.refuse("rods", f"is {shown(rods)}", f"a whole number up to {_MOST_RODS}")
    elif "deployments" in draft.document:
        draft.refuse("rods", "is given beside deployments", _OF_THE_WHOLE)
    elif idle and rods != 0 and not constant:
        draft.refuse("rods", f"is {rods:g} of a trip that was not fished", "0 or an empty cell, or another outcome")
    elif idle:
        draft.document["deployments"] = []
    elif "end" not in trip and "trip.end" not in draft.told_as:
        draft.refuse("rods", "is given of a trip without an end", _OF_THE_WHOLE)
    elif "start" in trip and "end" in trip:
        draft.document["deployments"] = [
            {"ref": f"d{number}", "rod": str(number), "start": trip["start"], "end": trip["end"]}
            for number in range(1, int(rods) + 1)
        ]
        # What is wrong with them is so with the trip, and is said of it.
        draft.told_as["deployments"] = None
