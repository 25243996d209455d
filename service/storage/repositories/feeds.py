"""Queries of feeds: by their account, and by a token before it is known whose it is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, select, update
from sqlalchemy.orm import Session

from service.storage.identifiers import new_id
from service.storage.plan_records import FeedHolder, FeedRecord
from service.storage.repositories.base import Repository
from service.storage.tables import FeedRow

#: Put together once: every request of a feed asks it. The columns are those of the record, in its order.
_HOLDER = select(FeedRow.feed_id, FeedRow.account_id, FeedRow.secret_hash, FeedRow.last_used_at).where(
    FeedRow.prefix == bindparam("prefix")
)


class FeedRepository(Repository):
    """Feeds of one account."""

    def add(
        self, *, name: str, series: str, selection: Mapping[str, Any], prefix: str, secret_hash: str, now: datetime
    ) -> FeedRecord:
        """Add a feed and return it."""
        row = FeedRow(
            feed_id=new_id("fed"),
            account_id=self._account_id,
            name=name,
            series=series,
            selection=dict(selection),
            prefix=prefix,
            secret_hash=secret_hash,
            created_at=now,
        )
        self._session.add(row)
        self._session.flush()
        return _feed(row)

    def get(self, feed_id: str) -> FeedRecord | None:
        """Return a feed."""
        query = select(FeedRow).where(FeedRow.account_id == self._account_id, FeedRow.feed_id == feed_id)
        row = self._session.scalar(query)
        return None if row is None else _feed(row)

    def page(self, after: str | None, limit: int) -> list[FeedRecord]:
        """Return feeds in the order of their ids."""
        query = select(FeedRow).where(FeedRow.account_id == self._account_id)
        return [_feed(row) for row in self._page(query, FeedRow.feed_id, after, limit)]

    def note_use(self, feed_id: str, now: datetime) -> None:
        """Write down that a feed was read."""
        self._session.execute(
            update(FeedRow)
            .where(FeedRow.account_id == self._account_id, FeedRow.feed_id == feed_id)
            .values(last_used_at=now)
            .execution_options(synchronize_session=False)
        )

    def remove(self, feed_id: str) -> None:
        """Remove a feed, and with it all that is known of its token."""
        self._session.execute(
            delete(FeedRow)
            .where(FeedRow.account_id == self._account_id, FeedRow.feed_id == feed_id)
            .execution_options(synchronize_session=False)
        )


class FeedTokens:
    """The tokens of the feeds of every account."""

    def __init__(self, session: Session) -> None:
        """Hold the ``session``."""
        self._session = session

    def holder(self, prefix: str) -> FeedHolder | None:
        """Return what is kept of the token of a ``prefix``."""
        row = self._session.connection().execute(_HOLDER, {"prefix": prefix}).first()
        return None if row is None else FeedHolder(*row)


def _feed(row: FeedRow) -> FeedRecord:
    return FeedRecord(row.feed_id, row.name, row.series, row.selection, row.prefix, row.created_at, row.last_used_at)
