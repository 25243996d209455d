"""Row-level security of PostgreSQL: which rows a transaction may see, said once for every table.

A table that holds rows of accounts shows a transaction those of the account that the transaction names, and none
where it names none. The policies are forced, so they bind the owner of the tables too; a superuser or a role with
BYPASSRLS is not bound, and the service refuses to run as one (`service.storage.unit`). On SQLite, which has no such
thing, every function here does nothing, so that a migration calls it without asking where it runs.

Policies add up: a row is seen where one of them says so. What every account may read, a public station, is one more.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from sqlalchemy import Connection

#: The settings of a transaction that the policies read; `service.storage.unit` alone sets them.
ACCOUNT_SETTING = "ebbmark.account_id"
SERVICE_SETTING = "ebbmark.service"

#: Names of the policies.
ACCOUNT_POLICY = "own_account"
SERVICE_POLICY = "service"
PUBLIC_POLICY = "public"

_OWN = f"account_id = current_setting('{ACCOUNT_SETTING}', true)"
#: Condition of a policy: the transaction is of some account.
SOME_ACCOUNT = f"current_setting('{ACCOUNT_SETTING}', true) <> ''"
_SERVICE = f"current_setting('{SERVICE_SETTING}', true) = 'on'"


class Operations(Protocol):
    """What is needed of alembic's ``op``."""

    def get_bind(self) -> Connection:
        """Return the connection that the migration runs on."""


def isolate(op: Operations, table: str, *, service: bool = False) -> None:
    """Show the rows of ``table`` to their account alone; with ``service`` also to work across accounts.

    Every migration that makes a table with ``account_id`` calls this. ``service`` is for the few tables in which the
    service itself looks for rows before it knows whose they are.
    """
    _run(op, f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
    _run(op, f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
    permit(op, table, ACCOUNT_POLICY, _OWN)
    if service:
        permit(op, table, SERVICE_POLICY, _SERVICE)


def permit(op: Operations, table: str, policy: str, condition: str, *, command: str = "ALL") -> None:
    """Add a policy: rows of ``table`` that fulfil the SQL ``condition`` are open to ``command`` (ALL or SELECT)."""
    check = f" WITH CHECK ({condition})" if command != "SELECT" else ""
    _run(op, f"CREATE POLICY {policy} ON {table} FOR {command} USING ({condition}){check}")


def release(op: Operations, table: str) -> None:
    """Take back what `isolate` did; for a downgrade."""
    for policy in (ACCOUNT_POLICY, SERVICE_POLICY, PUBLIC_POLICY):
        _run(op, f"DROP POLICY IF EXISTS {policy} ON {table}")
    _run(op, f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    _run(op, f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")


@contextmanager
def lifted(op: Operations, *tables: str) -> Iterator[None]:
    """Let a migration, which runs as the owner, see every row of ``tables``: without this it would see none."""
    for table in tables:
        _run(op, f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
    yield
    # Not in a finally: after an error PostgreSQL takes no statement, and the migration is rolled back whole.
    for table in tables:
        _run(op, f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")


def _run(op: Operations, statement: str) -> None:
    connection = op.get_bind()
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(statement)
