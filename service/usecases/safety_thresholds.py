"""The safety thresholds of an account: one document, which is that of the defaults until somebody writes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from service.errors import ReferenceTaken, Stale
from service.security import Caller
from service.storage.records import DocumentRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, Draft
from tidecore.safety import DEFAULTS, Thresholds

#: What the one document of an account is called in the store.
_REFERENCE = "account"

THRESHOLDS = Documents("safety thresholds", "safety_thresholds", Thresholds, lambda unit: unit.safety_thresholds)


@dataclass(frozen=True, slots=True)
class ThresholdsView:
    """The thresholds that hold for an account; of version 0, never written, where they are the defaults."""

    account_id: str
    version: int
    updated_at: datetime | None
    thresholds: Thresholds

    @property
    def state(self) -> list[str]:
        """All that tells them from others of the account, as plain values."""
        return ["safety", str(self.version), "" if self.updated_at is None else self.updated_at.isoformat()]


#: Whether the thresholds are as their editor last saw them.
Expected = Callable[[ThresholdsView], bool]


def read_thresholds(context: Context, caller: Caller) -> ThresholdsView:
    """Return the thresholds that hold for an account; remembered as long as nobody has written anything since."""
    asked = (caller.account_id, THRESHOLDS.kind)
    # Before the store is read: a write in between makes what was found forgotten, not wrong.
    pulse = context.store.pulse.read()
    known: ThresholdsView | None = None if pulse is None else context.wanted.find(asked, pulse)
    if known is not None:
        return known
    with context.store.unit(caller.account_id) as unit:
        found = _found(context, unit, caller.account_id)[1]
    if pulse is not None:
        context.wanted.keep(asked, pulse, found)
    return found


def write_thresholds(
    context: Context, caller: Caller, expected: Expected, change: Callable[[Thresholds], Thresholds]
) -> ThresholdsView:
    """Make what ``change`` returns of the thresholds their next version; the same again changes nothing.

    Raises
    ------
    Stale
        If they are not as ``expected``.
    InvalidInput
        If what ``change`` makes of them are none.
    """
    with context.store.unit(caller.account_id) as unit:
        record, view = _found(context, unit, caller.account_id)
    if record is None:
        if not expected(view):
            raise Stale(THRESHOLDS.kind, "of the account")
        thresholds = change(view.thresholds)
        if thresholds == view.thresholds:
            return view
        try:
            return _view(caller.account_id, THRESHOLDS.create(context, caller, Draft(thresholds, _REFERENCE)))
        except ReferenceTaken as error:
            raise Stale(THRESHOLDS.kind, "of the account") from error

    def allowed(stored: DocumentRecord) -> bool:
        return expected(ThresholdsView(caller.account_id, stored.version, stored.updated_at, DEFAULTS))

    edited = THRESHOLDS.edit(
        context, caller, record.id, allowed, lambda known: Draft(change(known.document), _REFERENCE)
    )
    return _view(caller.account_id, edited)


def thresholds_of(unit: UnitOfWork) -> ThresholdsView:
    """Return the thresholds that hold for the account of a unit of work, for whoever has no context."""
    record = unit.safety_thresholds.by_reference(_REFERENCE)
    if record is None:
        return ThresholdsView(unit.account_id, 0, None, DEFAULTS)
    (stored,) = unit.safety_thresholds.documents([(record.id, record.version)]).values()
    return ThresholdsView(unit.account_id, record.version, record.updated_at, Thresholds.parse(stored))


def _found(context: Context, unit: UnitOfWork, account_id: str) -> tuple[DocumentRecord | None, ThresholdsView]:
    record = unit.safety_thresholds.by_reference(_REFERENCE)
    if record is None:
        return None, ThresholdsView(account_id, 0, None, DEFAULTS)
    (view,) = THRESHOLDS.find(context, unit, [record.id])
    return record, _view(account_id, view)


def _view(account_id: str, view: DocumentView[Thresholds]) -> ThresholdsView:
    return ThresholdsView(account_id, view.record.version, view.record.updated_at, view.document)
