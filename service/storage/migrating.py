"""Bringing a store to the current schema: the migrations run from the package itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

if TYPE_CHECKING:
    from alembic.config import Config

#: The revision that this version of the code works with. Written here so that a store that is up to date is known
#: as such without importing alembic; a test holds it to the migrations.
NEWEST_REVISION = "2026_11_25_imports"

_FOLDER = Path(__file__).resolve().parent / "migrations"


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


def upgrade_store(engine: Engine, revision: str = NEWEST_REVISION) -> None:
    """Bring the store to ``revision``, in one transaction; nothing happens where it is there already."""
    if revision_of(engine) == revision:
        return
    from alembic import command

    with engine.begin() as connection:
        command.upgrade(_config(connection), revision)
