"""The database engine, with the promises of SQLite asserted for every connection."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from service.errors import StoreUnavailable

#: Most memory for pages of SQLite that one connection takes [KiB].
_CACHE_KIB = 16 * 1024


def open_engine(url: str, busy_timeout_s: float = 10.0) -> Engine:
    """Return the engine of the database at ``url``; nothing is connected yet.

    Parameters
    ----------
    url : str
        Database URL; for SQLite the folder of the file must be there, see `make_folder`.
    busy_timeout_s : float
        Longest wait for a locked SQLite store [s].

    Raises
    ------
    StoreUnavailable
        If the URL is none, or names no file.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise StoreUnavailable("EBBMARK_STORE is neither a folder nor a database URL") from error
    if parsed.get_backend_name() != "sqlite":
        return create_engine(parsed, pool_pre_ping=True, json_serializer=_dump)
    if not parsed.database or parsed.database == ":memory:":
        raise StoreUnavailable("an SQLite store must be a file; give a folder as EBBMARK_STORE")
    engine = create_engine(
        parsed,
        json_serializer=_dump,
        connect_args={"timeout": busy_timeout_s, "check_same_thread": False, "isolation_level": None},
    )
    event.listen(engine, "connect", _assert_pragmas)
    event.listen(engine, "begin", _begin)
    return engine


def _dump(document: Any) -> str:
    """Return plain data as JSON; what the fast writer refuses (lone surrogates, whole numbers over 64 bits) is left to
    the one of the standard library."""
    try:
        return orjson.dumps(document).decode()
    except orjson.JSONEncodeError:
        return json.dumps(document)


def make_folder(engine: Engine) -> None:
    """Make the folder of an SQLite store; StoreUnavailable if that cannot be done."""
    if engine.url.get_backend_name() != "sqlite" or engine.url.database is None:
        return
    try:
        Path(engine.url.database).parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreUnavailable(f"its folder cannot be made ({error.strerror})") from error


def _assert_pragmas(connection: sqlite3.Connection, _record: Any) -> None:
    """Switch on WAL, FULL and foreign keys, and refuse a connection on which one is not on."""
    cursor = connection.cursor()
    try:
        for statement, wanted in (
            ("PRAGMA journal_mode=WAL", "wal"),
            ("PRAGMA synchronous=FULL", None),
            ("PRAGMA foreign_keys=ON", None),
            # A transaction of thousands of rows fits in memory, and no page of it is written twice.
            (f"PRAGMA cache_size=-{_CACHE_KIB}", None),
        ):
            row = cursor.execute(statement).fetchone()
            if wanted is not None and (row is None or row[0] != wanted):
                raise StoreUnavailable(f"{statement} gave {row}; expected {wanted}")
        for name, number in (("synchronous", 2), ("foreign_keys", 1)):
            row = cursor.execute(f"PRAGMA {name}").fetchone()
            if row is None or row[0] != number:
                raise StoreUnavailable(f"PRAGMA {name} is {row}; expected {number}")
    finally:
        cursor.close()


def _begin(connection: Any) -> None:
    """Begin at once for writing where a unit of work will write, so that two writers queue up and none fails late."""
    writes = connection.get_execution_options().get("ebbmark_writes", True)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
