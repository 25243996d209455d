"""Trips: each one document with its deployments, bites and catches, at a mark."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from service.errors import DocumentInvalid
from service.storage.identifiers import is_id
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from service.usecases.fished import AHEAD, fished_mark
from service.usecases.stale_joins import trip_removed, trip_written
from service.usecases.tallies import trip_sums
from tidecore.catchlog import TripRecord
from tidecore.errors import Fault

TripView = DocumentView[TripRecord]


def trip_links(record: TripRecord, zone: ZoneInfo) -> Mapping[str, Link]:
    """Return the columns of a trip that names its mark by id; ``zone`` is that of the mark."""
    trip = record.trip
    methods = sorted({one.method for one in record.deployments if one.method is not None and is_id(one.method)})
    return {
        "mark_id": trip.mark,
        "started_at": trip.start,
        "ended_at": trip.end,
        "local_day": trip.start.astimezone(zone).date(),
        "outcome": trip.outcome,
        "method_ids": f" {' '.join(methods)} " if methods else "",
        **trip_sums(record),
    }


def trip_ahead_of_time(record: TripRecord, now: datetime) -> list[Fault]:
    """Return the faults of times of a trip that have not come yet."""
    last = (now + AHEAD).astimezone(UTC)
    expected = f"{last.isoformat(timespec='seconds')} at the latest, by the clock of the service"
    return [
        Fault(field, f"is {time.isoformat()}, in the future", expected) for field, time in _times(record) if time > last
    ]


def _times(record: TripRecord) -> Iterator[tuple[str, datetime]]:
    """Give every time of a trip by its field; those of casts and changes lie within their deployment."""
    yield "trip.start", record.trip.start
    if record.trip.end is not None:
        yield "trip.end", record.trip.end
    yield from ((f"trip.slack_seen.{place}", time) for place, time in enumerate(record.trip.slack_seen))
    for place, one in enumerate(record.deployments):
        yield from ((f"deployments.{place}.start", one.start), (f"deployments.{place}.end", one.end))
    yield from ((f"bites.{place}.at", one.at) for place, one in enumerate(record.bites))
    yield from ((f"catches.{place}.at", one.at) for place, one in enumerate(record.catches))
    yield from ((f"corrections.{place}.at", one.at) for place, one in enumerate(record.corrections))


def _settle(context: Context, unit: UnitOfWork, record: TripRecord) -> tuple[TripRecord, Mapping[str, Link]]:
    """Return a trip with the id of its mark, which may be named by the account's reference for it."""
    mark = fished_mark(context, unit, "trip.mark", record.trip.mark)
    faults = trip_ahead_of_time(record, context.clock())
    if faults:
        raise DocumentInvalid(faults)
    trip = record.trip.model_copy(update={"mark": mark.record.id})
    settled = record.model_copy(update={"trip": trip})
    return settled, trip_links(settled, ZoneInfo(mark.document.time_zone))


TRIPS = Documents("trip", "trip", TripRecord, lambda unit: unit.trips, _settle, trip_removed, trip_written)
