"""``ebbmark accounts`` and ``ebbmark keys``: what a script wants goes to standard output, what to do next beside it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta

import typer

from service.api.instants import read_instant
from service.bootstrap import House
from service.errors import DocumentInvalid
from service.logs import configure_logs
from service.settings import read_settings
from service.storage.records import KeyRecord
from service.usecases import accounts, keys
from service.usecases.context import Context
from tidecore.errors import Fault

_DAYS = re.compile(r"([1-9][0-9]{0,4})d")


@contextmanager
def _context() -> Iterator[Context]:
    """Open the store for one command."""
    settings = read_settings()
    configure_logs(settings.log_format, "error")
    house = House(settings)
    try:
        house.open(with_runner=False)
        yield house.context
    finally:
        house.close()


def create_account(name: str) -> None:
    """Make an account, print its id, and say how to make a key for it."""
    with _context() as context:
        account = accounts.create_account(context, name)
    typer.echo(account.account_id)
    _say(f"made the account {account.name!r}; make a key for it: ebbmark keys create --account {account.account_id} "
         "--scope read --scope write")  # fmt: skip


def list_accounts() -> None:
    """Show every account."""
    with _context() as context:
        found = accounts.list_accounts(context)
    rows = [(account.account_id, account.name, _day(account.created_at)) for account in found]
    _show(("account", "name", "made"), rows)


def create_key(account_id: str, scopes: list[str], name: str, expires: str | None) -> None:
    """Make a key, print it, the only time it is shown, and say what to do with it."""
    with _context() as context:
        until = None if expires is None else read_expiry(expires, context.clock())
        made = keys.create_key(context, account_id, scopes, name=name, expires_at=until)
    typer.echo(made.key.text)
    end = "does not expire" if made.record.expires_at is None else f"expires {made.record.expires_at.isoformat()}"
    _say(
        f"made the key {made.record.key_id} ({', '.join(sorted(made.record.scopes))}); it {end}. "
        "Keep it now: it is never shown again. Send it as the header Authorization: Bearer KEY; "
        f"to end it: ebbmark keys revoke {made.record.key_id}"
    )


def list_keys(account_id: str | None) -> None:
    """Show every key, or those of one account; of each what is known, which is not its secret."""
    with _context() as context:
        found, now = keys.list_keys(context, account_id), context.clock()
    rows = [
        (key.key_id, f"ebk_{key.prefix}_", key.account_id, key.name, ",".join(sorted(key.scopes)),
         _day(key.created_at), _state(key, now))
        for key in found
    ]  # fmt: skip
    _show(("key", "starts with", "account", "name", "scopes", "made", "state"), rows)


def revoke_key(key_id: str) -> None:
    """Revoke a key and say so."""
    with _context() as context:
        record = keys.revoke_key(context, key_id)
    assert record.revoked_at is not None, "a revoked key knows since when"
    _say(
        f"the key {record.key_id} is revoked since {record.revoked_at.isoformat(timespec='seconds')} and opens nothing"
    )


def read_expiry(text: str, now: datetime) -> datetime:
    """Return when a key expires: an instant with its offset, or days from ``now``; DocumentInvalid if neither."""
    days = _DAYS.fullmatch(text.strip())
    try:
        return now + timedelta(days=int(days[1])) if days else read_instant(text)
    except (ValueError, OverflowError) as error:
        expected = "an instant with its offset, as 2027-01-31T00:00:00Z, or days from now, as 90d"
        raise DocumentInvalid(Fault("expires", f"is {text!r}", expected)) from error


def _state(key: KeyRecord, now: datetime) -> str:
    if key.revoked_at is not None:
        return f"revoked {_day(key.revoked_at)}"
    if key.expires_at is None:
        return "good"
    return f"{'good until' if key.expires_at > now else 'expired'} {_day(key.expires_at)}"


def _show(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print columns, one thing a line and every id whole however wide the terminal is, so that scripts can cut them."""
    lines = [heads, *rows]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    for line in lines:
        typer.echo("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def _day(instant: datetime) -> str:
    return instant.date().isoformat()


def _say(sentence: str) -> None:
    typer.echo(f"ebbmark: {sentence}", err=True)
