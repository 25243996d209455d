"""The base of the repositories: one session, one account, pages by id."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select
from sqlalchemy.orm import InstrumentedAttribute, Session


class Repository:
    """Queries of one kind of thing, for one account only."""

    def __init__(self, session: Session, account_id: str) -> None:
        """Hold the ``session`` and the account whose rows are seen."""
        self._session = session
        self._account_id = account_id

    def _page(
        self, query: Select[Any], key: InstrumentedAttribute[str], after: str | None, limit: int
    ) -> Sequence[Any]:
        """Return at most ``limit`` rows of ``query`` in the order of ``key``, after the key ``after``."""
        if after is not None:
            query = query.where(key > after)
        return self._session.scalars(query.order_by(key).limit(limit)).all()
