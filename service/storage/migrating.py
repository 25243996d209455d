"""Bringing a store to the current schema: the migrations run from the package itself."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

_FOLDER = Path(__file__).resolve().parent / "migrations"


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def newest_revision() -> str:
    """Return the revision that this version of the code works with."""
    head = ScriptDirectory.from_config(_config()).get_current_head()
    assert head is not None, "the package holds no migration"
    return head


def revision_of(engine: Engine) -> str | None:
    """Return the revision of the store, None where it is new."""
    with engine.connect().execution_options(ebbmark_writes=False) as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade_store(engine: Engine, revision: str = "head") -> None:
    """Bring the store to ``revision``, in one transaction; nothing happens where it is there already."""
    with engine.begin() as connection:
        command.upgrade(_config(connection), revision)
