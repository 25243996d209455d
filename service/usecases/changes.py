"""What changed, for apps that keep a copy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import CursorGone
from service.security import Caller
from service.storage.records import ChangeRecord
from service.usecases.context import Context


@dataclass(frozen=True, slots=True)
class ChangePage:
    """Changes in the order of their commits, the number to go on ``after``, and whether ``more`` are there already."""

    changes: Sequence[ChangeRecord]
    after: int
    more: bool


def list_changes(context: Context, caller: Caller, after: int, limit: int) -> ChangePage:
    """Return the changes after a number; CursorGone if the store never counted so far."""
    with context.store.unit(caller.account_id) as unit:
        if after > unit.changes.newest():
            raise CursorGone
        found = unit.changes.page(after, limit + 1)
    shown = found[:limit]
    return ChangePage(shown, shown[-1].number if shown else after, len(found) > limit)
