"""``ebbmark db``: the store upgraded, backed up and restored."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.bootstrap import House
from service.logs import configure_logs
from service.settings import read_settings
from service.storage.backups import back_up, restore


@contextmanager
def _closed_house() -> Iterator[House]:
    """Put a house together without opening it, and close its store; errors of the database are said in words."""
    settings = read_settings()
    configure_logs(settings.log_format, "error")
    house = House(settings)
    try:
        with house.store.translated():
            yield house
    finally:
        house.store.close()


def bring_up() -> None:
    """Bring the store to the schema of this version; on PostgreSQL as its owner, where that is set."""
    with _closed_house() as house:
        house.upgrade()


def back_up_store(file: Path) -> None:
    """Copy the store to a new file."""
    with _closed_house() as house:
        back_up(house.store.engine, file)


def restore_store(file: Path) -> None:
    """Fill an empty store from a backup."""
    with _closed_house() as house:
        restore(house.store.engine, file)
