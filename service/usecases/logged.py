"""What is logged at a mark: documents that are answered together with the mark, whose clocks tell their days."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Generic, Protocol, TypeVar

from service.security import Caller
from service.storage.repositories.documents import Link, Ordered
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, Draft, Expected
from service.usecases.inputs import Input
from service.usecases.marks import MARKS
from service.usecases.once import Keep, keep_nothing
from tidecore.place import Document

D = TypeVar("D", bound=Document)


class Shown(Protocol):
    """A document with all that its answer rests on."""

    @property
    def inputs(self) -> Sequence[Input]:
        """The document and the things it is shown with, in their versions."""


S = TypeVar("S", bound=Shown)
T = TypeVar("T")

#: Whether a document, and what it is shown with, is as its editor last saw it; None for any.
Allows = Callable[[S], bool] | None


@dataclass(frozen=True, slots=True)
class LogPage(Generic[T]):
    """A page of what was logged; ``after`` is where to go on, None on the last page."""

    items: Sequence[T]
    after: tuple[Link, str] | None


@dataclass(frozen=True, slots=True)
class LogQuestion:
    """What of a log is wanted: of a mark, from a time until before another, of an outcome, after a place in it."""

    mark_id: str | None = None
    first: datetime | date | None = None
    end: datetime | date | None = None
    outcome: str | None = None
    after: tuple[Link, str] | None = None


@dataclass(frozen=True, slots=True)
class Logged(Generic[D, S]):
    """All that can be done with what is logged of one kind; raises as `Documents` does.

    ``show`` finds what documents are shown with. ``column`` has the time or day by which lists are ordered.
    """

    documents: Documents[D]
    show: Callable[[Context, UnitOfWork, Sequence[DocumentView[D]]], list[S]]
    column: str

    def create(self, context: Context, caller: Caller, draft: Draft[D], keep: Keep[S] = keep_nothing) -> S:
        """Log something new."""
        kept, found = self._keeping(context, keep)
        self.documents.create(context, caller, draft, kept)
        return found[0]

    def get(self, context: Context, caller: Caller, key: str, version: int | None = None) -> S:
        """Return what was logged as it stands, or as a version of it said."""
        view = self.documents.get(context, caller, key, version)
        with context.store.unit(caller.account_id) as unit:
            return self.show(context, unit, [view])[0]

    def page(self, context: Context, caller: Caller, asked: LogQuestion, limit: int) -> LogPage[S]:
        """Return a page in order of time; NotFound if there is no such mark."""
        with context.store.unit(caller.account_id) as unit:
            if asked.mark_id is not None:
                MARKS.find(context, unit, [asked.mark_id])
            views, after = self.documents.page_ordered(context, unit, self.ordered(asked), limit)
            return LogPage(self.show(context, unit, views), after)

    def ordered(self, asked: LogQuestion) -> Ordered:
        """Return the list in order of time that is asked for."""
        equal: Mapping[str, Link] = {
            name: value for name, value in (("mark_id", asked.mark_id), ("outcome", asked.outcome)) if value is not None
        }
        return Ordered(self.column, equal, asked.first, asked.end, asked.after)

    def named(self, context: Context, caller: Caller, external_ref: str) -> LogPage[S]:
        """Return what the account calls by a reference: one thing or none."""
        views = self.documents.page(context, caller, None, 1, external_ref).items
        with context.store.unit(caller.account_id) as unit:
            return LogPage(self.show(context, unit, views), None)

    def edit(
        self,
        context: Context,
        caller: Caller,
        key: str,
        allows: Allows[S],
        change: Callable[[DocumentView[D]], Draft[D]],
        keep: Keep[S] = keep_nothing,
    ) -> S:
        """Make what ``change`` returns the next version; the same again changes nothing."""
        expected = self._expected(context, caller, key, allows)
        kept, found = self._keeping(context, keep)
        self.documents.edit(context, caller, key, expected, change, kept)
        return found[0]

    def put(
        self, context: Context, caller: Caller, draft: Draft[D], external_ref: str, given: Callable[[S], bool] | None
    ) -> tuple[S, bool]:
        """Log what the account calls ``external_ref``, or replace it; True where it was not there before.

        ``given`` says whether it is as it was last seen; without it nothing but the same again is taken.
        """
        there = self.named(context, caller, external_ref).items
        expected: Expected | None = None
        if given is not None:
            seen = {(one.inputs[0].key, one.inputs[0].version, one.inputs[0].stamp) for one in there if given(one)}
            expected = lambda record: (record.id, record.version, record.updated_at) in seen  # noqa: E731
        edited = self.documents.put(context, caller, draft, external_ref, expected)
        with context.store.unit(caller.account_id) as unit:
            return self.show(context, unit, [edited.view])[0], edited.made

    def remove(self, context: Context, caller: Caller, key: str, allows: Allows[S]) -> None:
        """Delete it with all its versions."""
        self.documents.remove(context, caller, key, self._expected(context, caller, key, allows))

    def _expected(self, context: Context, caller: Caller, key: str, allows: Allows[S]) -> Expected:
        """Return whether a document is as it is now, if that is as its editor last saw it.

        What it is shown with is not in its record, so it is looked at here, before anything is written.
        """
        if allows is None:
            return lambda _record: True
        shown = self.get(context, caller, key)
        own, allowed = shown.inputs[0], allows(shown)
        return lambda record: allowed and (record.version, record.updated_at) == (own.version, own.stamp)

    def _keeping(self, context: Context, keep: Keep[S]) -> tuple[Keep[DocumentView[D]], list[S]]:
        """Return what keeps a view as it is shown, and the list in which it then is."""
        found: list[S] = []

        def kept(unit: UnitOfWork, view: DocumentView[D]) -> None:
            found.extend(self.show(context, unit, [view]))
            keep(unit, found[0])

        return kept, found
