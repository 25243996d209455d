"""Queries of what changed, in the order in which it was committed."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import delete, select, update

from service.storage.bulk import insert_many
from service.storage.codecs import change_record
from service.storage.records import CREATED, Change, ChangeRecord
from service.storage.repositories.base import Repository
from service.storage.tables import AccountRow, ChangeRow


class ChangeRepository(Repository):
    """Changes of one account; each thing has its latest one alone, so that the list never outgrows the things."""

    def add(self, changes: Sequence[Change]) -> None:
        """Add the changes of a unit of work that is about to commit.

        Counting up the account's number locks its row until then: nobody can commit a larger number first.
        """
        last = self._session.scalar(
            update(AccountRow)
            .where(AccountRow.account_id == self._account_id)
            .values(change_number=AccountRow.change_number + len(changes))
            .returning(AccountRow.change_number)
        )
        if last is None:
            raise LookupError(f"there is no account {self._account_id!r} to count changes of")
        # What was just made has no change yet that this one replaces.
        replaced: dict[str, list[str]] = {}
        for change in changes:
            if change.change != CREATED:
                replaced.setdefault(change.kind, []).append(change.thing_id)
        for kind, things in replaced.items():
            # Kind by kind: asked for pairs of kind and thing, SQLite reads all changes of the account.
            self._session.execute(
                delete(ChangeRow)
                .where(ChangeRow.account_id == self._account_id, ChangeRow.kind == kind, ChangeRow.thing_id.in_(things))
                .execution_options(synchronize_session=False)
            )
        first = last - len(changes) + 1
        rows = [
            (first + place, change.kind, change.thing_id, change.change, change.version, change.changed_at)
            for place, change in enumerate(changes)
        ]
        names = ("number", "kind", "thing_id", "change", "version", "changed_at")
        insert_many(self._session, ChangeRow, {"account_id": self._account_id}, names, rows)

    def page(self, after: int, limit: int) -> list[ChangeRecord]:
        """Return at most ``limit`` changes with numbers over ``after``, in their order."""
        query = select(ChangeRow).where(ChangeRow.account_id == self._account_id, ChangeRow.number > after)
        return [change_record(row) for row in self._session.scalars(query.order_by(ChangeRow.number).limit(limit))]

    def newest(self) -> int:
        """Return the number of the newest change, 0 where nothing ever changed."""
        query = select(AccountRow.change_number).where(AccountRow.account_id == self._account_id)
        return self._session.scalar(query) or 0
