"""Accounts with keys, and an application that asks for them, its clocks in the hands of the test."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from service.app import create_app
from service.bootstrap import House
from service.security import Caller
from service.usecases.accounts import create_account
from service.usecases.context import Context
from service.usecases.keys import create_key
from tests.service.coast import URL
from tests.service.conftest import settings_for
from tests.service.sharing import lay_store

#: Somebody on another machine, for whom there is no open mode.
STRANGER = ("192.0.2.7", 50000)


class Clock:
    """Wall clock and monotonic clock in one, that stand until they are moved."""

    def __init__(self) -> None:
        self.now = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
        self.seconds = 1000.0

    def __call__(self) -> datetime:
        return self.now

    def monotonic(self) -> float:
        return self.seconds

    def pass_by(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)
        self.seconds += seconds


@dataclass(frozen=True)
class Holder:
    """Who has a key of an account."""

    account_id: str
    key_id: str
    key: str

    @property
    def headers(self) -> dict[str, str]:
        return {"authorization": f"Bearer {self.key}"}

    @property
    def caller(self) -> Caller:
        return Caller(self.account_id, frozenset(), self.key_id)


def make_holder(
    context: Context, *scopes: str, account_id: str | None = None, expires_at: datetime | None = None
) -> Holder:
    """Make a key for an account, or for a new one."""
    account = create_account(context, "Example Anglers").account_id if account_id is None else account_id
    made = create_key(context, account, scopes, name="test", expires_at=expires_at)
    return Holder(account, made.record.key_id, made.key.text)


@contextmanager
def keyed_client(folder: Path, clock: Clock | None = None, **changes: Any) -> Iterator[TestClient]:
    """Serve with keys to a stranger; no request is limited unless said."""
    moved = Clock() if clock is None else clock
    settings = lay_store(settings_for(folder, **{"auth": "keys", "rate_limit": 0, **changes}))
    house = House(settings, moved)
    house.open()
    app = create_app(settings, house, moved.monotonic)
    try:
        with TestClient(
            app, base_url=URL, client=STRANGER, follow_redirects=False, raise_server_exceptions=False
        ) as client:
            yield client
    finally:
        house.close()


def context_of(client: TestClient) -> Context:
    """The context of the application behind a client."""
    context: Context = client.app.state.house.context  # type: ignore[attr-defined]
    return context
