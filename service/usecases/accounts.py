"""Accounts: made and listed by whoever runs the service."""

from __future__ import annotations

from service.errors import DocumentInvalid
from service.storage.records import AccountRecord
from service.usecases.context import Context
from tidecore.errors import Fault

#: Longest name of an account or of a key.
MOST_NAME = 200


def create_account(context: Context, name: str) -> AccountRecord:
    """Make an account; DocumentInvalid for a name that is none."""
    with context.store.across_accounts(writes=True) as unit:
        account = unit.accounts.add(check_name(name), context.clock())
        unit.commit()
    return account


def list_accounts(context: Context) -> list[AccountRecord]:
    """Return every account."""
    with context.store.across_accounts() as unit:
        return unit.accounts.all()


def check_name(name: str) -> str:
    """Return a name without blanks at its ends; DocumentInvalid if nothing is left, or too much."""
    found = name.strip()
    if not found or len(found) > MOST_NAME or not found.isprintable():
        expected = f"1 to {MOST_NAME} printable characters"
        raise DocumentInvalid(Fault("name", "is empty, too long or not printable", expected))
    return found
