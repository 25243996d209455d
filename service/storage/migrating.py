"""Bringing a store to the current schema: the migrations run from the package itself."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from service.errors import StoreUnavailable
from service.storage.engine import is_postgresql

if TYPE_CHECKING:
    from alembic.config import Config

#: The revision that this version of the code works with. Written here so that a store that is up to date is known
#: as such without importing alembic; a test holds it to the migrations.
NEWEST_REVISION = "2026_11_29_import_runs"

_FOLDER = Path(__file__).resolve().parent / "migrations"

#: Key of the lock under which one process at a time migrates a PostgreSQL store; any number that nobody else takes.
_MIGRATION_LOCK = 8321_2026


def _config(connection: Connection | None = None) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def revision_of(engine: Engine) -> str | None:
    """Return the revision of the store, None where it is new."""
    with engine.connect().execution_options(ebbmark_writes=False) as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        found = connection.scalar(text("SELECT version_num FROM alembic_version"))
        return None if found is None else str(found)


def known_revisions() -> list[str]:
    """Return every revision that there has been, oldest first."""
    from alembic.script import ScriptDirectory

    return [script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()][::-1]


def upgrade_store(engine: Engine, revision: str = NEWEST_REVISION, *, served_as: str | None = None) -> None:
    """Bring the store to ``revision``, whole or not at all; nothing happens where it is there already.

    Parameters
    ----------
    engine : Engine
        On PostgreSQL that of the owner of the tables.
    revision : str
        The newest unless given.
    served_as : str, optional
        Role of PostgreSQL that the service connects as: it is given what it needs of every table, and no more.

    Raises
    ------
    StoreUnavailable
        If rows would point nowhere afterwards.
    """
    if revision_of(engine) != revision:
        from alembic import command

        with _changing(engine) as connection:
            command.upgrade(_config(connection), revision)
    if served_as is not None and is_postgresql(engine) and served_as != engine.url.username:
        _grant(engine, served_as)


@contextmanager
def _changing(engine: Engine) -> Iterator[Connection]:
    """Open the one transaction in which the schema changes; a second process waits until it ends."""
    if is_postgresql(engine):
        with engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL statement_timeout = 0")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})")
            yield connection
        return
    with engine.connect() as connection:
        # SQLite alters a table by making it anew, and dropping the old one would count as deleting its rows. The
        # switch works outside a transaction only; the connection is thrown away afterwards, so it stays off nowhere.
        raw = connection.connection.driver_connection
        assert raw is not None, "a connection that was just opened"
        raw.execute("PRAGMA foreign_keys=OFF")
        try:
            with connection.begin():
                yield connection
                astray = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if astray:
                    tables = ", ".join(sorted({str(row[0]) for row in astray}))
                    raise StoreUnavailable(f"after its migration rows of {tables} would point nowhere; nothing changed")
        finally:
            connection.invalidate()


def _grant(engine: Engine, role: str) -> None:
    """Let ``role`` read and write rows, and nothing else: it cannot alter a table or a policy."""
    quoted = engine.dialect.identifier_preparer.quote_identifier(role)
    with _changing(engine) as connection:
        for statement in (
            f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {quoted}",
            f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {quoted}",
            f"REVOKE INSERT, UPDATE, DELETE ON alembic_version FROM {quoted}",
        ):
            connection.exec_driver_sql(statement)
