"""Queries of answers kept for requests that are sent again."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import delete, select

from service.storage.codecs import kept_answer
from service.storage.records import KeptAnswer
from service.storage.repositories.base import Repository
from service.storage.tables import AnswerRow


class AnswerRepository(Repository):
    """Kept answers of one account by Idempotency-Key."""

    def find(self, key: str, since: datetime) -> KeptAnswer | None:
        """Return what was answered under ``key``, unless that was before ``since``."""
        row = self._session.scalar(
            select(AnswerRow).where(
                AnswerRow.account_id == self._account_id,
                AnswerRow.idempotency_key == key,
                AnswerRow.created_at >= since,
            )
        )
        return None if row is None else kept_answer(row)

    def keep(self, key: str, answer: KeptAnswer, now: datetime, since: datetime) -> None:
        """Keep an answer, and forget those from before ``since``."""
        self._session.execute(
            delete(AnswerRow).where(AnswerRow.account_id == self._account_id, AnswerRow.created_at < since)
        )
        self._session.add(
            AnswerRow(
                account_id=self._account_id,
                idempotency_key=key,
                fingerprint=answer.fingerprint,
                status=answer.status,
                headers=dict(answer.headers),
                content=answer.content,
                created_at=now,
            )
        )
        self._session.flush()
