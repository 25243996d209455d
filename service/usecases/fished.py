"""What trips and diary rows have in common: the mark where they were, and that they have been."""

from __future__ import annotations

from datetime import timedelta

from service.errors import DocumentInvalid
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView
from tidecore.errors import Fault

#: What is logged may be ahead of the clock of the service by so much: clocks differ.
AHEAD = timedelta(minutes=5)


def fished_mark(context: Context, unit: UnitOfWork, field: str, name: str) -> MarkView:
    """Return the mark that a ``field`` of a document names by id or external reference; DocumentInvalid without."""
    found = unit.marks.many([name]).get(name) or unit.marks.by_reference(name)
    if found is None:
        raise no_mark(field, name)
    return MARKS.find(context, unit, [found.id])[0]


def no_mark(field: str, name: str) -> DocumentInvalid:
    """Return the error that a document names a mark that is not there."""
    expected = "the id or the external_ref of a mark, as GET /v1/marks lists them"
    return DocumentInvalid(Fault(field, f"there is no mark {name!r}", expected))
