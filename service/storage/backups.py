"""Backup and restore of an SQLite store: one file out, one file in, each checked and never over anything."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Engine

from service.errors import DocumentInvalid, StoreUnavailable
from service.storage.engine import is_postgresql, make_folder, store_file
from service.storage.migrating import known_revisions, upgrade_store
from tidecore.errors import Fault

#: Tables that a store has rows in before anyone keeps anything in it.
_ALWAYS = ("alembic_version", "accounts")

_DUMP = "pg_dump --format=custom --no-owner --file=FILE URL, as a superuser or a role with BYPASSRLS"
_LOAD = "pg_restore --no-owner --single-transaction --exit-on-error --dbname=URL FILE, as the owner, in a new database"


def back_up(engine: Engine, path: Path) -> None:
    """Copy the store to a new file at ``path``, whole as of one moment, while the service goes on.

    The copy is checked and on disk before it has its name, so a file of that name is a whole one.

    Raises
    ------
    DocumentInvalid
        If the file is there already or cannot be written, or the store is in PostgreSQL; the error says what to use.
    StoreUnavailable
        If there is no store, or it is damaged.
    """
    store = _file_of(engine, _DUMP)
    if not store.is_file():
        raise StoreUnavailable(f"there is none at {store}")
    _refuse_existing(path)
    part = None
    try:
        part = _make_part(path)
        with _opened(store) as source, closing(sqlite3.connect(part, isolation_level=None)) as copy:
            source.backup(copy)
            # One file, without the log beside it that the store has.
            copy.execute("PRAGMA journal_mode=DELETE")
        with _opened(part) as copy:
            if (damage := _damage(copy)) is not None:
                raise StoreUnavailable(f"{store} is damaged: {damage}")
        _flush(part)
        # A link is refused where a file of the name is there, a renaming is not.
        os.link(part, path)
        _flush(path.parent)
    except FileExistsError as error:
        raise _existing(path) from error
    except (OSError, sqlite3.Error) as error:
        raise DocumentInvalid(Fault(str(path), f"cannot be written ({error})", "a folder with room for it")) from error
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def restore(engine: Engine, path: Path) -> None:
    """Fill an empty store from the backup at ``path``, and bring it to the schema of this version.

    Raises
    ------
    DocumentInvalid
        If the file is no whole backup of a store that this version knows, or the store has rows, or is in PostgreSQL.
    StoreUnavailable
        If the store cannot be used.
    """
    store = _file_of(engine, _LOAD)
    if not path.is_file():
        raise DocumentInvalid(Fault(str(path), "is no file", "a file that `ebbmark db backup` wrote"))
    make_folder(engine)
    try:
        with _opened(path) as source:
            if (damage := _damage(source)) is not None:
                raise DocumentInvalid(Fault(str(path), f"is damaged: {damage}", "a whole backup"))
            _check_revision(source, path)
            with closing(sqlite3.connect(store, isolation_level=None)) as target:
                _check_empty(target)
                source.backup(target)
                target.execute("PRAGMA journal_mode=WAL")
    except sqlite3.Error as error:
        raise DocumentInvalid(Fault(str(path), f"cannot be restored ({error})", "a backup of a store")) from error
    # Connections that have seen the store before are not to answer from what they remember of it.
    engine.dispose()
    upgrade_store(engine)


def _file_of(engine: Engine, instead: str) -> Path:
    file = store_file(engine)
    if is_postgresql(engine) or file is None:
        problem = "is a PostgreSQL database, which its own programs keep"
        raise DocumentInvalid(Fault("EBBMARK_STORE", problem, instead))
    return file


def _existing(path: Path) -> DocumentInvalid:
    return DocumentInvalid(Fault(str(path), "is there already", "the name of a new file"))


def _refuse_existing(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise _existing(path)
    if not path.parent.is_dir():
        raise DocumentInvalid(Fault(str(path), "lies in no folder", "a file in a folder that is there"))


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open an SQLite file that must be there."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, isolation_level=None)) as connection:
        yield connection


def _make_part(path: Path) -> Path:
    """Return a new file beside ``path`` that only this user may read."""
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    os.close(descriptor)
    return Path(name)


def _damage(connection: sqlite3.Connection) -> str | None:
    """Return what is wrong with a file: pages that are damaged, or a row that points nowhere; None if nothing is."""
    found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(5)")]
    if found != ["ok"]:
        return "; ".join(found)
    astray = connection.execute("PRAGMA foreign_key_check").fetchone()
    return None if astray is None else f"a row of {astray[0]} points nowhere"


def _check_revision(connection: sqlite3.Connection, path: Path) -> None:
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if "alembic_version" not in tables:
        raise DocumentInvalid(Fault(str(path), "is no store of Ebbmark", "a file that `ebbmark db backup` wrote"))
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    revision, known = None if row is None else row[0], known_revisions()
    if revision not in known:
        problem = f"is at revision {revision!r}, which this version does not know"
        raise DocumentInvalid(Fault(str(path), problem, f"one of {', '.join(known)}"))


def _check_empty(connection: sqlite3.Connection) -> None:
    tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    for table in tables:
        kept = table not in _ALWAYS and not table.startswith("sqlite_")
        if kept and connection.execute(f'SELECT 1 FROM "{table}" LIMIT 1').fetchone() is not None:
            problem = f"has rows in {table}, and a restore writes over nothing"
            raise DocumentInvalid(Fault("EBBMARK_STORE", problem, "an empty store, or a folder without one"))


def _flush(path: Path) -> None:
    """Have what is at ``path``, a file or the names in a folder, on disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
