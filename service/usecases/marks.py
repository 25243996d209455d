"""Marks: made and read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import DocumentInvalid, NotFound, ReferenceTaken
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.records import MarkRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.page import Page, one_page
from tidecore.errors import Fault
from tidecore.place import Mark


@dataclass(frozen=True, slots=True)
class MarkView:
    """A mark: its record, and what it says in that version."""

    record: MarkRecord
    mark: Mark


def create_mark(context: Context, caller: Caller, mark: Mark, external_ref: str | None) -> MarkView:
    """Make a mark; its ``station`` is the id or the external reference of a station of the account.

    Raises
    ------
    DocumentInvalid
        If there is no such station.
    ReferenceTaken
        If another mark has the external reference.
    """
    with context.store.unit(caller.account_id, writes=True) as unit:
        station = unit.stations.get(mark.station) or unit.stations.by_reference(mark.station)
        if station is None:
            expected = "the id or the external_ref of a station, as GET /v1/stations lists them"
            raise DocumentInvalid(Fault("station", f"there is no station {mark.station!r}", expected))
        if external_ref is not None:
            holder = unit.marks.by_reference(external_ref)
            if holder is not None:
                raise ReferenceTaken("mark", external_ref, holder.mark_id)
        kept = mark.model_copy(update={"station": station.station_id})
        record = unit.marks.add(
            kept.to_document(), station_id=station.station_id, external_ref=external_ref, now=context.clock()
        )
        unit.commit()
    return MarkView(record, context.decoded.keep(record.mark_id, record.version, kept))


def get_mark(context: Context, caller: Caller, mark_id: str) -> MarkView:
    """Return a mark in its current version; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return find_marks(context, unit, [mark_id])[0]


def list_marks(context: Context, caller: Caller, after: str | None, limit: int) -> Page[MarkView]:
    """Return a page of marks."""
    with context.store.unit(caller.account_id) as unit:
        page = one_page(lambda most: unit.marks.page(after, most), limit, lambda record: record.mark_id)
        return Page(_decode(context, unit, page.items), page.after)


def find_marks(context: Context, unit: UnitOfWork, mark_ids: Sequence[str]) -> list[MarkView]:
    """Return marks by id, in the order given; NotFound for the first that is not there."""
    found = unit.marks.many([mark_id for mark_id in mark_ids if is_id(mark_id)])
    for mark_id in mark_ids:
        if mark_id not in found:
            raise NotFound("mark", mark_id)
    return _decode(context, unit, [found[mark_id] for mark_id in mark_ids])


def all_marks(context: Context, unit: UnitOfWork, most: int) -> list[MarkView]:
    """Return every mark of the account, at most ``most`` + 1 of them."""
    return _decode(context, unit, unit.marks.page(None, most + 1))


def _decode(context: Context, unit: UnitOfWork, records: Sequence[MarkRecord]) -> list[MarkView]:
    """Return records with their documents; only versions not decoded before are read."""
    known = {record.mark_id: context.decoded.find(Mark, record.mark_id, record.version) for record in records}
    wanted = [(record.mark_id, record.version) for record in records if known[record.mark_id] is None]
    documents = unit.marks.documents(wanted) if wanted else {}
    views = []
    for record in records:
        mark = known[record.mark_id]
        if mark is None:
            document = documents[record.mark_id, record.version]
            mark = context.decoded.keep(record.mark_id, record.version, Mark.parse(document))
        views.append(MarkView(record, mark))
    return views
