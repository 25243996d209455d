"""Queries of marks and of their versions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select, tuple_

from service.storage.codecs import mark_record
from service.storage.identifiers import new_id
from service.storage.records import MarkRecord
from service.storage.repositories.base import Repository
from service.storage.tables import MarkRow, MarkVersionRow

#: Put together once: a search asks it for every request. The columns are those of the record, in its order.
_MANY = select(
    MarkRow.mark_id, MarkRow.external_ref, MarkRow.station_id, MarkRow.version, MarkRow.created_at, MarkRow.updated_at
).where(MarkRow.account_id == bindparam("account_id"), MarkRow.mark_id.in_(bindparam("keys", expanding=True)))


class MarkRepository(Repository):
    """Marks of one account."""

    def add(
        self, document: Mapping[str, Any], *, station_id: str, external_ref: str | None, now: datetime
    ) -> MarkRecord:
        """Add a mark in its first version and return it."""
        row = MarkRow(
            mark_id=new_id("mrk"),
            account_id=self._account_id,
            external_ref=external_ref,
            station_id=station_id,
            version=1,
            created_at=now,
            updated_at=now,
        )
        self._session.add(row)
        self._session.flush()
        self._session.add(
            MarkVersionRow(
                mark_id=row.mark_id,
                version=1,
                account_id=self._account_id,
                document=dict(document),
                created_at=now,
            )
        )
        self._session.flush()
        return mark_record(row)

    def get(self, mark_id: str) -> MarkRecord | None:
        """Return a mark in its current version."""
        row = self._session.scalar(self._mine().where(MarkRow.mark_id == mark_id))
        return None if row is None else mark_record(row)

    def many(self, mark_ids: Sequence[str]) -> dict[str, MarkRecord]:
        """Return those of the marks that there are, by id."""
        found = self._session.connection().execute(_MANY, {"account_id": self._account_id, "keys": list(mark_ids)})
        return {row.mark_id: MarkRecord(*row) for row in found}

    def by_reference(self, external_ref: str) -> MarkRecord | None:
        """Return the mark that has an external reference."""
        row = self._session.scalar(self._mine().where(MarkRow.external_ref == external_ref))
        return None if row is None else mark_record(row)

    def page(self, after: str | None, limit: int) -> list[MarkRecord]:
        """Return marks in the order of their ids."""
        return [mark_record(row) for row in self._page(self._mine(), MarkRow.mark_id, after, limit)]

    def documents(self, versions: Iterable[tuple[str, int]]) -> dict[tuple[str, int], dict[str, Any]]:
        """Return the documents of pairs of id and version, those that there are."""
        query = select(MarkVersionRow.mark_id, MarkVersionRow.version, MarkVersionRow.document).where(
            MarkVersionRow.account_id == self._account_id,
            tuple_(MarkVersionRow.mark_id, MarkVersionRow.version).in_(list(versions)),
        )
        return {(key, version): document for key, version, document in self._session.execute(query)}

    def _mine(self) -> Any:
        return select(MarkRow).where(MarkRow.account_id == self._account_id)
