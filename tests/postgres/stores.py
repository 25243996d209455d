"""Stores of tests: a folder with an SQLite file, or a PostgreSQL database each where EBBMARK_TEST_DATABASE_URL is set.

The service connects as `APP`, a role that owns nothing and is bound by row-level security; `OWNER` owns tables and
database. A database is a copy of one that the migrations made, once in each process of a run.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, make_url, text

from service.storage.engine import open_engine
from service.storage.migrating import upgrade_store

APP, OWNER = "ebbmark_test_app", "ebbmark_test_owner"

#: Where the stores of this run are; None for SQLite.
ADMIN_URL: str | None = os.environ.get("EBBMARK_TEST_DATABASE_URL") or None

_made: dict[Path, str] = {}


def store_settings(folder: Path) -> dict[str, Any]:
    """Return the settings of the store of ``folder``, always the same one; made where it is not there yet."""
    if ADMIN_URL is None:
        return {"store": str(folder / "store")}
    database = database_of(folder)
    return {
        "store": url_of(database, APP),
        "store_owner": url_of(database, OWNER),
        "spool": folder / "store" / "uploads",
    }


def store_variables(folder: Path) -> dict[str, str]:
    """Return the settings of the store of ``folder`` as variables of the environment."""
    return {f"EBBMARK_{name.upper()}": str(value) for name, value in store_settings(folder).items()}


def database_of(folder: Path) -> str:
    """Return the name of the database of ``folder``."""
    if folder not in _made:
        _made[folder] = make_database(_name(str(folder.resolve())), template=_template())
    return _made[folder]


def make_database(name: str, *, template: str = "template0") -> str:
    """Make a database of the owner, and return its name."""
    with _administrator() as connection:
        connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))
        connection.execute(text(f"CREATE DATABASE {name} OWNER {OWNER} TEMPLATE {template}"))
    return name


def drop_databases(below: Path | None = None) -> None:
    """Drop the databases of ``below`` and of the folders in it; all of this process unless given."""
    for folder in [folder for folder in _made if below is None or folder.is_relative_to(below)]:
        with _administrator() as connection:
            connection.execute(text(f"DROP DATABASE IF EXISTS {_made.pop(folder)} WITH (FORCE)"))
    if below is None and ADMIN_URL is not None:
        _administrators(_url()).dispose()


def url_of(database: str, role: str) -> str:
    """Return the URL of a database for a role."""
    return _url().set(database=database, username=role, password=_password(role)).render_as_string(hide_password=False)


@contextmanager
def elsewhere(admin_url: str) -> Iterator[None]:
    """Keep the stores of what follows on another cluster, one that goes away afterwards with all of them."""
    global ADMIN_URL
    before, ADMIN_URL = ADMIN_URL, admin_url
    kept = dict(_made)
    _made.clear()
    for cached in (_make_roles, _template):
        cached.cache_clear()
    try:
        yield
    finally:
        ADMIN_URL = before
        _made.clear()
        _made.update(kept)
        for cached in (_make_roles, _template):
            cached.cache_clear()


def as_administrator(database: str) -> Connection:
    """Return a connection to a database that no policy binds; every statement is a transaction of its own."""
    return create_engine(_url().set(database=database), isolation_level="AUTOCOMMIT", poolclass=NullPool).connect()


@contextmanager
def behind(engine: Engine) -> Iterator[Connection]:
    """Change a store behind the back of the service: as the administrator, whom no policy binds; commits at the end."""
    if ADMIN_URL is None:
        with engine.begin() as connection:
            yield connection
        return
    with as_administrator(engine.url.database or "") as connection:
        yield connection


def _url() -> URL:
    assert ADMIN_URL is not None, "EBBMARK_TEST_DATABASE_URL is not set"
    return make_url(ADMIN_URL).set(drivername="postgresql+psycopg")


def _administrator() -> Connection:
    _make_roles()
    return _administrators(_url()).connect()


@cache
def _administrators(url: URL) -> Engine:
    """Return where connections come from that make and drop databases: twice a test, and each costs what that does."""
    return create_engine(url, isolation_level="AUTOCOMMIT", pool_size=1, pool_pre_ping=True)


def _password(role: str) -> str:
    """Return the same password in every process of a run, without a place where it is kept."""
    return hashlib.sha256(f"{role} {_url().password}".encode()).hexdigest()


def _name(seed: str) -> str:
    return f"ebbmark_test_{hashlib.sha256(seed.encode()).hexdigest()[:20]}"


@cache
def _make_roles() -> None:
    with as_administrator(_url().database or "postgres") as connection:
        # Two processes of a run begin at the same time.
        connection.execute(text("SELECT pg_advisory_lock(8321)"))
        for role in (APP, OWNER):
            if connection.scalar(text("SELECT count(*) FROM pg_roles WHERE rolname = :role"), {"role": role}) == 0:
                connection.execute(text(f"CREATE ROLE {role} LOGIN"))
            connection.execute(text(f"ALTER ROLE {role} LOGIN NOSUPERUSER NOBYPASSRLS PASSWORD '{_password(role)}'"))


@cache
def _template() -> str:
    """Make the database that the others are copies of."""
    name = make_database(_name(f"template of {os.getpid()}"))
    _made[Path(name)] = name
    engine = open_engine(url_of(name, OWNER))
    upgrade_store(engine, served_as=APP)
    engine.dispose()
    return name
