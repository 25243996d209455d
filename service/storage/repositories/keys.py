"""Queries of accounts and of API keys: made where no account is known yet, and by whoever runs the service."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import bindparam, exists, or_, select
from sqlalchemy.orm import Session

from service.storage.identifiers import new_id
from service.storage.records import AccountRecord, KeyHolder, KeyRecord
from service.storage.tables import AccountRow, ApiKeyRow

#: Put together once: every request asks it. The columns are those of the record, in its order.
_HOLDER = select(
    ApiKeyRow.key_id,
    ApiKeyRow.account_id,
    ApiKeyRow.secret_hash,
    ApiKeyRow.scopes,
    ApiKeyRow.expires_at,
    ApiKeyRow.revoked_at,
).where(ApiKeyRow.prefix == bindparam("prefix"))


class AccountRepository:
    """Every account there is."""

    def __init__(self, session: Session) -> None:
        """Hold the ``session``."""
        self._session = session

    def add(self, name: str, now: datetime) -> AccountRecord:
        """Add an account and return it."""
        row = AccountRow(account_id=new_id("acc"), name=name, created_at=now)
        self._session.add(row)
        self._session.flush()
        return _account(row)

    def get(self, account_id: str) -> AccountRecord | None:
        """Return an account."""
        row = self._session.get(AccountRow, account_id)
        return None if row is None else _account(row)

    def all(self) -> list[AccountRecord]:
        """Return every account, in the order they were made."""
        return [_account(row) for row in self._session.scalars(select(AccountRow).order_by(AccountRow.created_at))]


class KeyRepository:
    """The keys of every account."""

    def __init__(self, session: Session) -> None:
        """Hold the ``session``."""
        self._session = session

    def add(
        self, account_id: str, *, name: str, prefix: str, secret_hash: str, scopes: Iterable[str], now: datetime,
        expires_at: datetime | None,
    ) -> KeyRecord:  # fmt: skip
        """Add a key and return it."""
        row = ApiKeyRow(
            key_id=new_id("key"),
            account_id=account_id,
            name=name,
            prefix=prefix,
            secret_hash=secret_hash,
            scopes=" ".join(sorted(scopes)),
            created_at=now,
            expires_at=expires_at,
        )
        self._session.add(row)
        self._session.flush()
        return _key(row)

    def get(self, key_id: str) -> KeyRecord | None:
        """Return a key."""
        row = self._session.get(ApiKeyRow, key_id)
        return None if row is None else _key(row)

    def holder(self, prefix: str) -> KeyHolder | None:
        """Return what is kept of the key of a ``prefix``."""
        row = self._session.connection().execute(_HOLDER, {"prefix": prefix}).first()
        if row is None:
            return None
        return KeyHolder(row[0], row[1], row[2], frozenset(row[3].split()), row[4], row[5])

    def all(self, account_id: str | None = None) -> list[KeyRecord]:
        """Return every key, or those of one account, in the order they were made."""
        query = select(ApiKeyRow).order_by(ApiKeyRow.created_at, ApiKeyRow.key_id)
        if account_id is not None:
            query = query.where(ApiKeyRow.account_id == account_id)
        return [_key(row) for row in self._session.scalars(query)]

    def any_usable(self, now: datetime) -> bool:
        """Return whether there is a key that is neither revoked nor expired."""
        usable = exists().where(
            ApiKeyRow.revoked_at.is_(None), or_(ApiKeyRow.expires_at.is_(None), ApiKeyRow.expires_at > now)
        )
        return bool(self._session.scalar(select(usable)))

    def revoke(self, key_id: str, now: datetime) -> KeyRecord | None:
        """Revoke a key and return it; one that was revoked stays as it is."""
        row = self._session.get(ApiKeyRow, key_id)
        if row is None:
            return None
        if row.revoked_at is None:
            row.revoked_at = now
            self._session.flush()
        return _key(row)


def _account(row: AccountRow) -> AccountRecord:
    return AccountRecord(row.account_id, row.name, row.created_at)


def _key(row: ApiKeyRow) -> KeyRecord:
    return KeyRecord(
        key_id=row.key_id,
        account_id=row.account_id,
        name=row.name,
        prefix=row.prefix,
        scopes=frozenset(row.scopes.split()),
        created_at=row.created_at,
        expires_at=row.expires_at,
        revoked_at=row.revoked_at,
    )
