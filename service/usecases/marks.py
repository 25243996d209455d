"""Marks: documents that follow a station."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager

from service.errors import DocumentInvalid, InUse
from service.storage.identifiers import is_id
from service.storage.records import DELETED, Change
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from service.usecases.stale_joins import mark_written
from service.usecases.stations import model_of
from tidecore.errors import Fault, InvalidInput
from tidecore.model import TideModel
from tidecore.offsets import check_offsets, needs_check
from tidecore.place import Mark
from tidecore.rules import check_overrides

MarkView = DocumentView[Mark]

_RELEASED_AT_ONCE = 500
#: Trips, diary rows and plans that are looked for where they keep a mark from being deleted.
_USERS = InUse.MOST_NAMED + 1


def _settle(context: Context, unit: UnitOfWork, mark: Mark) -> tuple[Mark, Mapping[str, str]]:
    """Return a mark with the id of its station, which may be named by the account's reference for it.

    What it says of species must be rules, and its offsets and lags must make a tide.
    """
    station = unit.stations.get(mark.station) or unit.stations.by_reference(mark.station)
    if station is None:
        raise no_station(mark.station)
    check_overrides(mark)
    check_tide(mark, lambda: model_of(context, unit, station, None).model if station.version else None)
    return mark.model_copy(update={"station": station.station_id}), {"station_id": station.station_id}


def find_stations(unit: UnitOfWork, names: Collection[str]) -> dict[str, tuple[str, int]]:
    """Return ids and versions of the stations that marks name, each by its id or reference; those that there are."""
    found = unit.stations.by_references(sorted(names)) | unit.stations.many(sorted(filter(is_id, names)))
    return {name: (one.station_id, one.version) for name, one in found.items()}


def check_tide(mark: Mark, model: Callable[[], TideModel | None]) -> None:
    """Refuse offsets and slack lags under which the ``model`` of the station makes no tide at the mark, in 18.6 years.

    At a station without a tide yet this waits until somebody asks for the mark's timeline.
    """
    lags = None if mark.slack_lags is None else (mark.slack_lags.after_hw_min, mark.slack_lags.after_lw_min)
    if needs_check(mark.offsets, lags):
        tide = model()
        if tide is not None:
            check_offsets(tide.harmonics, mark.offsets, lags)


@contextmanager
def of_one_mark(view: MarkView) -> Iterator[None]:
    """Say at which of many marks faults come up: its offsets or lags may not fit the station's new tide."""
    try:
        yield
    except InvalidInput as error:
        if type(error) is not InvalidInput:
            raise
        named = [Fault(f"marks.{view.record.id}.{one.field}", one.problem, one.expected) for one in error.faults]
        raise InvalidInput(named) from error


def no_station(name: str) -> DocumentInvalid:
    """Return the error that a mark names a station that is not there."""
    expected = "the id or the external_ref of a station, as GET /v1/stations lists them"
    return DocumentInvalid(Fault("station", f"there is no station {name!r}", expected))


def _release(context: Context, unit: UnitOfWork, key: str) -> None:
    """Delete what is noted and told of a mark: it means nothing without it.

    InUse where something was fished there, or a plan has it.
    """
    users = [
        *unit.trips.linked("mark_id", key, _USERS),
        *unit.diary_rows.linked("mark_id", key, _USERS),
        *unit.plans.users_of_mark(key, _USERS),
    ]
    if users:
        raise InUse("mark", key, users)
    while records := unit.slack_notes.page_linked("mark_id", key, None, _RELEASED_AT_ONCE):
        for record in records:
            unit.slack_notes.remove(record)
            unit.note(Change("slack_note", record.id, DELETED, None, context.clock()))
    for kind, placed in (("condition", unit.conditions), ("warning", unit.warnings)):
        told = [one.id for one in placed.at(key, None)]
        placed.remove(told)
        for one in told:
            unit.note(Change(kind, one, DELETED, None, context.clock()))


MARKS = Documents("mark", "mark", Mark, lambda unit: unit.marks, _settle, _release, mark_written)
