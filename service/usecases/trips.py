"""Trips: each one document with its deployments, bites and catches, at a mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from service.errors import DocumentInvalid
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, Draft
from service.usecases.fished import AHEAD, fished_mark
from service.usecases.inputs import Input, mark_input
from service.usecases.logged import Allows, Logged
from service.usecases.marks import MARKS, MarkView
from service.usecases.once import Keep, keep_nothing
from service.usecases.stale_joins import trip_removed, trip_written
from service.usecases.tallies import trip_sums
from tidecore.catchlog import Catch, Correction, TripRecord, corrected, out_of_bounds, surely_within, times_of
from tidecore.documents import Flaw
from tidecore.errors import Fault, InvalidInput

TripView = DocumentView[TripRecord]


@dataclass(frozen=True, slots=True)
class TripShown:
    """A trip, and the mark where it was."""

    view: TripView
    mark: MarkView

    @property
    def inputs(self) -> Sequence[Input]:
        """The trip and its mark."""
        record = self.view.record
        return Input("trip", record.id, record.version, record.updated_at), mark_input(self.mark)


def trip_links(record: TripRecord, zone: ZoneInfo) -> Mapping[str, Link]:
    """Return the columns of a trip that names its mark by id; ``zone`` is that of the mark."""
    trip = record.trip
    named = {one.method for one in record.deployments}
    methods = sorted(one for one in named if one is not None and is_id(one))
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
    """Return the faults of times of a trip that have not come yet, and of those that no trip may have.

    Asked of what is written alone: what is on record was not always held against all of it, and stays readable.
    """
    if trip_has_come(record, now):
        return []
    last = (now + AHEAD).astimezone(UTC)
    expected = f"{last.isoformat(timespec='seconds')} at the latest, by the clock of the service"
    late = [
        Flaw(path, f"is {time.isoformat()}, in the future", expected) for path, time in times_of(record) if time > last
    ]
    flaws = [*late, *out_of_bounds(record)]
    return [Fault(".".join(map(str, one.path)), one.problem, one.expected) for one in flaws]


def trip_has_come(record: TripRecord, now: datetime, more: Sequence[Catch] = ()) -> bool:
    """Return whether no time of a trip, with more catches after its own, is still to come or out of bounds.

    Where it is not sure that none is, the answer is no, and `trip_ahead_of_time` tells.
    """
    return surely_within(record, now + AHEAD, more)


def _settle(context: Context, unit: UnitOfWork, record: TripRecord) -> tuple[TripRecord, Mapping[str, Link]]:
    """Return a trip with the id of its mark, which may be named by the account's reference for it."""
    mark = fished_mark(context, unit, "trip.mark", record.trip.mark)
    faults = trip_ahead_of_time(record, context.clock())
    if faults:
        raise DocumentInvalid(faults)
    trip = record.trip.model_copy(update={"mark": mark.record.id})
    settled = record.model_copy(update={"trip": trip})
    return settled, trip_links(settled, ZoneInfo(mark.document.time_zone))


def keep_corrections(before: TripRecord, after: TripRecord) -> TripRecord:
    """Return what replaces a trip with the corrections of the one before: an edit takes none away and adds none."""
    if after.corrections not in ((), before.corrections):
        expected = "those on record, or none; POST to /corrections of the trip adds some"
        raise DocumentInvalid(Fault("corrections", "are others than those on record", expected))
    return after.model_copy(update={"corrections": before.corrections})


def _show(context: Context, unit: UnitOfWork, views: Sequence[TripView]) -> list[TripShown]:
    names = list(dict.fromkeys(view.document.trip.mark for view in views))
    # An old version may be of a mark that is gone: it is shown with the mark of the trip as it stands.
    there = unit.marks.many(names)
    marks = {mark.record.id: mark for mark in MARKS.find(context, unit, [name for name in names if name in there])}
    return [
        TripShown(view, marks.get(view.document.trip.mark) or _mark_now(context, unit, view.record.id))
        for view in views
    ]


def _mark_now(context: Context, unit: UnitOfWork, key: str) -> MarkView:
    (now,) = TRIPS.find(context, unit, [key])
    return MARKS.find(context, unit, [now.document.trip.mark])[0]


TRIPS = Documents(
    "trip", "trip", TripRecord, lambda unit: unit.trips, _settle, trip_removed, trip_written, carry=keep_corrections
)
TRIP_LOG = Logged(TRIPS, _show, "started_at")


def restore_trip(
    context: Context,
    caller: Caller,
    key: str,
    version: int,
    allows: Allows[TripShown],
    keep: Keep[TripShown] = keep_nothing,
) -> TripShown:
    """Make what a version of a trip said its newest version; raises as `Logged.edit`, NotFound without that version."""
    old = TRIPS.get(context, caller, key, version).document
    return TRIP_LOG.edit(context, caller, key, allows, lambda view: Draft(old, view.record.external_ref), keep)


def correct_trip(
    context: Context,
    caller: Caller,
    key: str,
    corrections: Sequence[Correction],
    allows: Allows[TripShown],
    keep: Keep[TripShown] = keep_nothing,
) -> TripShown:
    """Make a trip with corrections its newest version, and keep them in it; the version before stays as it was.

    Raises as `Logged.edit`, and InvalidInput where a correction names no field, another value than stands there, or
    makes something that is no trip.
    """
    return TRIP_LOG.edit(context, caller, key, allows, lambda view: _corrected(view, corrections), keep)


def _corrected(view: TripView, corrections: Sequence[Correction]) -> Draft[TripRecord]:
    before = view.document.to_document()
    kept = before.pop("corrections")
    try:
        after = corrected(before, corrections)
    except InvalidInput as error:
        raise InvalidInput(
            [Fault(f"corrections.{one.field}", one.problem, one.expected) for one in error.faults]
        ) from error
    after["corrections"] = [*kept, *(one.to_document() for one in corrections)]
    return Draft(TripRecord.parse(after), view.record.external_ref)
