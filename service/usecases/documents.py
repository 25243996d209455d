"""Versioned documents: made, read, edited and deleted the same way, whatever they say."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Generic, TypeVar

from service.errors import NotFound, PreconditionMissing, ReferenceTaken, Stale
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.records import CREATED, DELETED, UPDATED, Change, DocumentRecord, VersionRecord
from service.storage.repositories.documents import DocumentRepository, Link, Ordered
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from tidecore.place import Document

D = TypeVar("D", bound=Document)

#: Whether a thing is as its editor last saw it.
Expected = Callable[[DocumentRecord], bool]


@dataclass(frozen=True, slots=True)
class DocumentView(Generic[D]):
    """A document: its record, and what it says in that version."""

    record: DocumentRecord
    document: D


@dataclass(frozen=True, slots=True)
class Draft(Generic[D]):
    """What an account wants a document to say, and what it calls it."""

    document: D
    external_ref: str | None


@dataclass(frozen=True, slots=True)
class Edited(Generic[D]):
    """An edited document; ``made`` says that it was not there before."""

    view: DocumentView[D]
    made: bool


def release_nothing(_context: Context, _unit: UnitOfWork, _key: str) -> None:
    """Leave everything as it is: nothing else goes with a document that is deleted."""


def tell_nobody(_context: Context, _unit: UnitOfWork, _key: str) -> None:
    """Leave everything as it is: nothing rests on what a document says."""


def link_nothing(_context: Context, _unit: UnitOfWork, document: D) -> tuple[D, Mapping[str, Link]]:
    """Return a document that rests on nothing else in the store."""
    return document, {}


def carry_nothing(_before: D, after: D) -> D:
    """Return what replaces a document as it is: nothing of the one before stays in it."""
    return after


@dataclass(frozen=True, slots=True)
class Documents(Generic[D]):
    """All that can be done with the documents of one kind.

    ``settle`` returns a document as it is stored, with what it rests on resolved, and the columns that say so.
    ``release`` deletes what belongs to a document before it is itself deleted. ``carry`` returns what replaces a
    document with what a replacement leaves of the one before. ``written`` sees to what rests on a document that says
    something new.
    """

    kind: str
    change_kind: str
    model: type[D]
    repository: Callable[[UnitOfWork], DocumentRepository]
    settle: Callable[[Context, UnitOfWork, D], tuple[D, Mapping[str, Link]]] = link_nothing
    release: Callable[[Context, UnitOfWork, str], None] = release_nothing
    written: Callable[[Context, UnitOfWork, str], None] = tell_nobody
    carry: Callable[[D, D], D] = carry_nothing

    def create(
        self, context: Context, caller: Caller, draft: Draft[D], keep: Keep[DocumentView[D]] = keep_nothing
    ) -> DocumentView[D]:
        """Make a document; ReferenceTaken if another of the kind has its external reference."""
        with context.store.unit(caller.account_id, writes=True) as unit:
            view = self._add(context, unit, draft)
            keep(unit, view)
            unit.commit()
        return self._kept(context, view)

    def get(self, context: Context, caller: Caller, key: str, version: int | None = None) -> DocumentView[D]:
        """Return a document as it stands, or as a ``version`` of it said; NotFound if there is none."""
        with context.store.unit(caller.account_id) as unit:
            record = self._record(unit, key)
            if version is None or version == record.version:
                return self._decode(context, unit, [record])[0]
            earlier = {one.version: one for one in self.repository(unit).versions(key)}.get(version)
            if earlier is None:
                raise NotFound("version", str(version), f"a version of {self.kind} {key!r}")
            found = DocumentRecord(key, record.external_ref, version, record.created_at, earlier.created_at)
            return self._decode(context, unit, [found])[0]

    def versions(self, context: Context, caller: Caller, key: str) -> Sequence[VersionRecord]:
        """Return every version of a document, oldest first; NotFound if there is no such document."""
        with context.store.unit(caller.account_id) as unit:
            self._record(unit, key)
            return self.repository(unit).versions(key)

    def page(
        self, context: Context, caller: Caller, after: str | None, limit: int, external_ref: str | None = None
    ) -> Page[DocumentView[D]]:
        """Return a page of documents, or the one that has an external reference."""
        with context.store.unit(caller.account_id) as unit:
            if external_ref is not None:
                found = self.repository(unit).by_reference(external_ref)
                return Page(self._decode(context, unit, [] if found is None else [found]), None)
            page = one_page(lambda most: self.repository(unit).page(after, most), limit, lambda record: record.id)
            return Page(self._decode(context, unit, page.items), page.after)

    def page_of(
        self, context: Context, unit: UnitOfWork, column: str, value: str, after: str | None, limit: int
    ) -> Page[DocumentView[D]]:
        """Return a page of the documents that rest on one thing, by the column that says so."""
        repository = self.repository(unit)
        page = one_page(lambda most: repository.page_linked(column, value, after, most), limit, lambda one: one.id)
        return Page(self._decode(context, unit, page.items), page.after)

    def page_ordered(
        self, context: Context, unit: UnitOfWork, wanted: Ordered, limit: int
    ) -> tuple[list[DocumentView[D]], tuple[Link, str] | None]:
        """Return a page in the order of a column, and the value and id that it goes on from; None on the last page."""
        records, after = self.records_ordered(unit, wanted, limit)
        return self._decode(context, unit, records), after

    def records_ordered(
        self, unit: UnitOfWork, wanted: Ordered, limit: int
    ) -> tuple[list[DocumentRecord], tuple[Link, str] | None]:
        """Return what `page_ordered` does without what the documents say."""
        found = self.repository(unit).page_ordered(wanted, limit + 1)
        records = [record for _, record in found[:limit]]
        return records, None if len(found) <= limit else (found[limit - 1][0], records[-1].id)

    def with_any(self, context: Context, unit: UnitOfWork, column: str, values: Sequence[str]) -> list[DocumentView[D]]:
        """Return every document with one of some ``values`` in one of the columns of the kind."""
        return self._decode(context, unit, self.repository(unit).with_any(column, values))

    def between(
        self, context: Context, unit: UnitOfWork, column: str, start: datetime, end: datetime
    ) -> list[DocumentView[D]]:
        """Return every document with an instant from ``start`` to before ``end`` in one of the columns."""
        return self._decode(context, unit, self.repository(unit).between(column, start, end))

    def find(self, context: Context, unit: UnitOfWork, keys: Sequence[str]) -> list[DocumentView[D]]:
        """Return documents by id, in the order given; NotFound for the first that is not there."""
        found = self.repository(unit).many([key for key in keys if is_id(key)])
        for key in keys:
            if key not in found:
                raise NotFound(self.kind, key)
        return self._decode(context, unit, [found[key] for key in keys])

    def all(self, context: Context, unit: UnitOfWork, most: int) -> list[DocumentView[D]]:
        """Return every document of the account, at most ``most`` + 1 of them."""
        return self._decode(context, unit, self.repository(unit).page(None, most + 1))

    def edit(
        self,
        context: Context,
        caller: Caller,
        key: str,
        expected: Expected,
        change: Callable[[DocumentView[D]], Draft[D]],
        keep: Keep[DocumentView[D]] = keep_nothing,
    ) -> DocumentView[D]:
        """Make what ``change`` returns of a document its next version; the same again changes nothing.

        Raises
        ------
        NotFound, ReferenceTaken
            If there is no such document, or another has the external reference.
        Stale
            If the document is not as ``expected``.
        """
        with context.store.unit(caller.account_id, writes=True) as unit:
            view = self._decode(context, unit, [self._record(unit, key)])[0]
            self._check(view.record, expected)
            edited = self._replace(context, unit, view, change(view))
            keep(unit, edited)
            unit.commit()
        return self._kept(context, edited)

    def put(
        self, context: Context, caller: Caller, draft: Draft[D], external_ref: str, expected: Expected | None
    ) -> Edited[D]:
        """Make the document that the account calls ``external_ref``, or replace it; raises as `edit`.

        What is there already word for word needs no expectation, and anything else does.
        """
        draft = Draft(draft.document, external_ref)
        with context.store.unit(caller.account_id, writes=True) as unit:
            found = self.repository(unit).by_reference(external_ref)
            if found is None:
                result = Edited(self._add(context, unit, draft), made=True)
            else:
                view = self._decode(context, unit, [found])[0]
                draft = Draft(self.carry(view.document, draft.document), external_ref)
                settled, _ = self.settle(context, unit, draft.document)
                if settled != view.document:
                    self._check(found, expected)
                result = Edited(self._replace(context, unit, view, draft), made=False)
            unit.commit()
        self._kept(context, result.view)
        return result

    def remove(self, context: Context, caller: Caller, key: str, expected: Expected) -> None:
        """Delete a document with all its versions; raises as `edit`."""
        with context.store.unit(caller.account_id, writes=True) as unit:
            record = self._record(unit, key)
            self._check(record, expected)
            self.release(context, unit, key)
            if not self.repository(unit).remove(record):
                raise Stale(self.kind, key)
            unit.note(Change(self.change_kind, key, DELETED, None, context.clock()))
            unit.commit()

    def _check(self, record: DocumentRecord, expected: Expected | None) -> None:
        if expected is None:
            raise PreconditionMissing
        if not expected(record):
            raise Stale(self.kind, record.id)

    def _record(self, unit: UnitOfWork, key: str) -> DocumentRecord:
        found = self.repository(unit).many([key]) if is_id(key) else {}
        if key not in found:
            raise NotFound(self.kind, key)
        return found[key]

    def _check_reference(self, unit: UnitOfWork, external_ref: str | None, own: str | None) -> None:
        holder = None if external_ref is None else self.repository(unit).by_reference(external_ref)
        if external_ref is not None and holder is not None and holder.id != own:
            raise ReferenceTaken(self.kind, external_ref, holder.id)

    def _add(self, context: Context, unit: UnitOfWork, draft: Draft[D]) -> DocumentView[D]:
        document, links = self.settle(context, unit, draft.document)
        self._check_reference(unit, draft.external_ref, None)
        now = context.clock()
        record = self.repository(unit).add(
            document.to_document(), external_ref=draft.external_ref, now=now, links=links
        )
        unit.note(Change(self.change_kind, record.id, CREATED, record.version, now))
        self.written(context, unit, record.id)
        return DocumentView(record, document)

    def _replace(self, context: Context, unit: UnitOfWork, view: DocumentView[D], draft: Draft[D]) -> DocumentView[D]:
        """Give a document its next version where it says something else, and another reference where it has one."""
        record = view.record
        document, links = self.settle(context, unit, draft.document)
        same = document == view.document
        if same and draft.external_ref == record.external_ref:
            return view
        self._check_reference(unit, draft.external_ref, record.id)
        # An edit always comes after what it edits, whatever the clock says: ETags rest on it.
        now = max(context.clock(), record.updated_at + timedelta(microseconds=1))
        stored = None if same else document.to_document()
        edited = self.repository(unit).replace(record, stored, external_ref=draft.external_ref, now=now, links=links)
        if edited is None:
            raise Stale(self.kind, record.id)
        unit.note(Change(self.change_kind, record.id, UPDATED, edited.version, now))
        if not same:
            self.written(context, unit, record.id)
        return DocumentView(edited, document)

    def _kept(self, context: Context, view: DocumentView[D]) -> DocumentView[D]:
        context.decoded.keep(view.record.id, view.record.version, view.document)
        return view

    def _decode(self, context: Context, unit: UnitOfWork, records: Sequence[DocumentRecord]) -> list[DocumentView[D]]:
        """Return records with their documents; only versions not decoded before are read."""
        known = {record: context.decoded.find(self.model, record.id, record.version) for record in records}
        wanted = [(record.id, record.version) for record, document in known.items() if document is None]
        stored: Mapping[tuple[str, int], Any] = self.repository(unit).documents(wanted) if wanted else {}
        views = []
        for record in records:
            document = known[record]
            if document is None:
                parsed = self.model.parse(stored[record.id, record.version])
                document = context.decoded.keep(record.id, record.version, parsed)
            views.append(DocumentView(record, document))
        return views
