"""Queries of what changed, in the order in which it was committed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, select, update

from service.storage.bulk import insert_columns
from service.storage.codecs import change_record
from service.storage.records import CREATED, Change, ChangeRecord
from service.storage.repositories.base import Repository
from service.storage.tables import AccountRow, ChangeRow

_COUNT_UP = (
    update(AccountRow)
    .where(AccountRow.account_id == bindparam("its_account"))
    .values(change_number=AccountRow.change_number + bindparam("more"))
    .returning(AccountRow.change_number)
)


class ChangeRepository(Repository):
    """Changes of one account; each thing has its latest one alone, so that the list never outgrows the things."""

    def add(self, changes: Sequence[Change]) -> None:
        """Add the changes of a unit of work that is about to commit."""
        # What was just made has no change yet that this one replaces.
        replaced: dict[str, list[str]] = {}
        for change in changes:
            if change.change != CREATED:
                replaced.setdefault(change.kind, []).append(change.thing_id)
        numbers = self._numbers(len(changes))
        for kind, things in replaced.items():
            # Kind by kind: asked for pairs of kind and thing, SQLite reads all changes of the account.
            self._session.execute(
                delete(ChangeRow)
                .where(ChangeRow.account_id == self._account_id, ChangeRow.kind == kind, ChangeRow.thing_id.in_(things))
                .execution_options(synchronize_session=False)
            )
        columns = zip(*changes, strict=True)
        self._insert({}, {"number": numbers, **dict(zip(Change._fields, columns, strict=True))})

    def add_made(self, kind: str, ids: Sequence[str], now: datetime) -> None:
        """Add that things were made, each in its first version, in a unit of work that is about to commit."""
        if ids:
            common = {"kind": kind, "change": CREATED, "version": 1, "changed_at": now}
            self._insert(common, {"number": self._numbers(len(ids)), "thing_id": ids})

    def _numbers(self, count: int) -> range:
        """Return the numbers of so many changes more.

        Counting up the account's number locks its row until the commit: nobody can commit a larger number first.
        """
        last = self._session.connection().scalar(_COUNT_UP, {"its_account": self._account_id, "more": count})
        if last is None:
            raise LookupError(f"there is no account {self._account_id!r} to count changes of")
        return range(last - count + 1, last + 1)

    def _insert(self, common: Mapping[str, Any], own: Mapping[str, Sequence[Any]]) -> None:
        insert_columns(self._session, ChangeRow, {"account_id": self._account_id, **common}, own)

    def page(self, after: int, limit: int) -> list[ChangeRecord]:
        """Return at most ``limit`` changes with numbers over ``after``, in their order."""
        query = select(ChangeRow).where(ChangeRow.account_id == self._account_id, ChangeRow.number > after)
        return [change_record(row) for row in self._session.scalars(query.order_by(ChangeRow.number).limit(limit))]

    def newest(self) -> int:
        """Return the number of the newest change, 0 where nothing ever changed."""
        query = select(AccountRow.change_number).where(AccountRow.account_id == self._account_id)
        return self._session.scalar(query) or 0
