"""Queries of what is told of marks and areas, once and for good: issues of conditions, and official warnings."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import Select, delete, or_, select
from sqlalchemy.orm import Session

from service.storage.identifiers import new_id
from service.storage.records import ConditionRecord, WarningRecord
from service.storage.repositories.base import Repository
from service.storage.tables import ConditionIssueRow, PlacedRow, WarningRow

R = TypeVar("R", ConditionRecord, WarningRecord)


class PlacedRepository(Repository, Generic[R]):
    """Things of one kind and one account, each of a mark, of an area, or of neither; none ever changes."""

    def __init__(
        self, session: Session, account_id: str, prefix: str, row: type[PlacedRow], record: type[R], begins: Any
    ) -> None:
        """Work on the table of ``row``, whose records are ``record``; ``begins`` is the column of when one begins."""
        super().__init__(session, account_id)
        self._prefix, self._row, self._begins = prefix, row, begins
        self._record: Callable[..., R] = record
        self._names = ["key" if field.name == "id" else field.name for field in fields(record)]

    def add(
        self,
        document: Mapping[str, Any],
        *,
        mark_id: str | None,
        area: str | None,
        content_hash: str,
        summary: Mapping[str, Any],
        now: datetime,
        **columns: Any,
    ) -> R:
        """Add a thing and return its record; ``columns`` are those of its kind."""
        row = self._row(
            key=new_id(self._prefix),
            account_id=self._account_id,
            mark_id=mark_id,
            area=area,
            content_hash=content_hash,
            summary=dict(summary),
            document=dict(document),
            created_at=now,
            **columns,
        )
        self._session.add(row)
        self._session.flush()
        return self._record(*[getattr(row, name) for name in self._names])

    def get(self, key: str) -> R | None:
        """Return the record of a thing, None if there is none."""
        return next(iter(self._records(self._mine().where(self._row.key == key))), None)

    def page(self, after: str | None, limit: int) -> list[R]:
        """Return records in the order of their ids."""
        query = self._mine()
        if after is not None:
            query = query.where(self._row.key > after)
        return self._records(query.order_by(self._row.key).limit(limit))

    def at(self, mark_id: str | None, area: str | None) -> list[R]:
        """Return everything of exactly this place, which is one mark, one area or neither, in the order of ids."""
        if mark_id is not None:
            return self._found(self._mine().where(self._row.mark_id == mark_id))
        if area is not None:
            return self._found(self._mine().where(self._row.area == area))
        return self.unplaced(None, None)

    def of(
        self, mark_ids: Collection[str], areas: Collection[str], start: datetime | None, end: datetime | None
    ) -> list[R]:
        """Return what is told of any of these marks and areas; of ``[start, end)`` alone where they are given.

        A query for the marks and one for the areas, so that each has its index.
        """
        found: list[R] = []
        for column, names in ((self._row.mark_id, mark_ids), (self._row.area, areas)):
            if names:
                found += self._found(self._within(self._mine().where(column.in_(sorted(names))), start, end))
        return found

    def unplaced(self, start: datetime | None, end: datetime | None) -> list[R]:
        """Return what is told of neither a mark nor an area, in the same way."""
        query = self._mine().where(self._row.mark_id.is_(None), self._row.area.is_(None))
        return self._found(self._within(query, start, end))

    def documents(self, keys: Collection[str]) -> dict[str, dict[str, Any]]:
        """Return what things say, by id, of those that there are."""
        query = select(self._row.key, self._row.document).where(
            self._row.account_id == self._account_id, self._row.key.in_(sorted(keys))
        )
        return {key: document for key, document in self._session.execute(query)}

    def remove(self, keys: Collection[str]) -> None:
        """Remove things by id."""
        if keys:
            self._session.execute(
                delete(self._row).where(self._row.account_id == self._account_id, self._row.key.in_(sorted(keys)))
            )

    def _within(self, query: Select[Any], start: datetime | None, end: datetime | None) -> Select[Any]:
        ends = self._row.ends_at
        if start is not None:
            query = query.where(or_(ends.is_(None), ends >= start))
        return query if end is None else query.where(self._begins < end)

    def _mine(self) -> Select[Any]:
        columns = [getattr(self._row, name) for name in self._names]
        return select(*columns).where(self._row.account_id == self._account_id)

    def _found(self, query: Select[Any]) -> list[R]:
        # Sorted here: asked for an order, a database prefers the index that has it to the one that finds the place.
        return sorted(self._records(query), key=lambda one: one.id)

    def _records(self, query: Select[Any]) -> list[R]:
        return [self._record(*found) for found in self._session.execute(query)]


def condition_repository(session: Session, account_id: str) -> PlacedRepository[ConditionRecord]:
    """Return the issues of conditions of an account."""
    row = ConditionIssueRow
    return PlacedRepository(session, account_id, "cnd", row, ConditionRecord, row.starts_at)


def warning_repository(session: Session, account_id: str) -> PlacedRepository[WarningRecord]:
    """Return the official warnings of an account."""
    return PlacedRepository(session, account_id, "wrn", WarningRow, WarningRecord, WarningRow.sent_at)
