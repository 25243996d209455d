"""Exports of the catch log: trips and diary rows, some or all, read a page at a time and never whole in memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from service.exports.catch_log.things import Logged, MarkPlace
from service.security import Caller
from service.storage.repositories.documents import DocumentRepository, Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS

#: Things read in one unit of work.
_AT_ONCE = 200

_MarkOf = Callable[[Mapping[str, Any]], str]


@dataclass(frozen=True, slots=True)
class WantedTrips:
    """Which trips: those that began from ``start`` to before ``end``, at one mark where it is given."""

    start: datetime | None = None
    end: datetime | None = None
    mark_id: str | None = None


@dataclass(frozen=True, slots=True)
class WantedRows:
    """Which diary rows: of days from the first to the last, both of them, at one mark where it is given."""

    first_day: date | None = None
    last_day: date | None = None
    mark_id: str | None = None


def export_trips(context: Context, caller: Caller, wanted: WantedTrips) -> Iterator[Logged]:
    """Return trips in the order in which they began; NotFound at once if there is no such mark.

    Each is there once, as it stands when it is read; one that is deleted meanwhile is left out.
    """
    found = _Found("trips", "started_at", wanted.start, wanted.end, wanted.mark_id)
    return _logged(context, caller, found, lambda document: str(document["trip"]["mark"]))


def export_diary_rows(context: Context, caller: Caller, wanted: WantedRows) -> Iterator[Logged]:
    """Return diary rows in the order of their days; as `export_trips`."""
    last = wanted.last_day
    before = None if last is None or last == date.max else last + timedelta(days=1)
    found = _Found("diary_rows", "local_day", wanted.first_day, before, wanted.mark_id)
    return _logged(context, caller, found, lambda document: str(document["mark"]))


@dataclass(frozen=True, slots=True)
class _Found:
    """What is looked for: in which repository, by which column, from where to before where, at which mark."""

    repository: str
    column: str
    first: Link
    before: Link
    mark_id: str | None

    def of(self, unit: UnitOfWork) -> DocumentRepository:
        return unit.trips if self.repository == "trips" else unit.diary_rows


def _logged(context: Context, caller: Caller, found: _Found, mark_of: _MarkOf) -> Iterator[Logged]:
    with context.store.unit(caller.account_id) as unit:
        linked = {}
        if found.mark_id is not None:
            (mark,) = MARKS.find(context, unit, [found.mark_id])
            linked = {"mark_id": mark.record.id}
        keys = found.of(unit).in_order(found.column, found.first, found.before, linked)
    return _read(context, caller, found, mark_of, keys)


def _read(context: Context, caller: Caller, found: _Found, mark_of: _MarkOf, keys: list[str]) -> Iterator[Logged]:
    places: dict[str, MarkPlace] = {}
    for start in range(0, len(keys), _AT_ONCE):
        page = keys[start : start + _AT_ONCE]
        with context.store.unit(caller.account_id) as unit:
            repository = found.of(unit)
            records = repository.many(page)
            documents = repository.documents([(one.id, one.version) for one in records.values()])
            marks = {mark_of(document) for document in documents.values()}
            places |= _places(context, unit, marks - places.keys())
        for key in page:
            record = records.get(key)
            if record is not None:
                document = documents[key, record.version]
                place = places[mark_of(document)]
                yield Logged(key, record.external_ref, record.version, record.updated_at, document, place)


def _places(context: Context, unit: UnitOfWork, keys: set[str]) -> dict[str, MarkPlace]:
    views = MARKS.find(context, unit, sorted(keys))
    return {
        view.record.id: MarkPlace(
            view.record.id,
            view.record.external_ref,
            view.document.name,
            view.document.latitude,
            view.document.longitude,
            view.document.time_zone,
        )
        for view in views
    }
