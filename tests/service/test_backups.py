"""Backup and restore: one whole file out, one whole file in, and nothing is ever written over."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import threading
from contextlib import closing

import pytest
from typer.testing import CliRunner

from service.bootstrap import House
from service.cli import app
from service.errors import DocumentInvalid, StoreUnavailable
from service.security import LOCAL_ACCOUNT
from service.storage.backups import back_up, restore
from service.storage.engine import open_engine
from service.storage.migrating import NEWEST_REVISION, revision_of
from tests.postgres.stores import store_variables
from tests.service.conftest import settings_for
from tests.service.test_old_stores import STORES
from tests.service.test_storage import add_station

pytestmark = pytest.mark.sqlite("PostgreSQL is backed up with its own programs")


def names(engine):
    with engine.connect() as connection:
        connection.execution_options(ebbmark_writes=False)
        return [row[0] for row in connection.exec_driver_sql("SELECT name FROM stations ORDER BY name")]


@pytest.fixture
def empty(tmp_path):
    """A second store, not opened yet."""
    house = House(settings_for(tmp_path / "second"))
    yield house
    house.close()


@pytest.fixture
def filled(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        for number in range(20):
            add_station(unit, name=f"Point {number:02}")
        unit.commit()
    return house


def test_a_backup_is_restored_whole(filled, empty, tmp_path):
    file = tmp_path / "kept.sqlite3"
    back_up(filled.store.engine, file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.glob("*kept*")] == ["kept.sqlite3"]
    restore(empty.store.engine, file)
    empty.open(with_runner=False)
    assert names(empty.store.engine) == names(filled.store.engine) == [f"Point {n:02}" for n in range(20)]


def test_a_backup_is_of_one_moment_while_others_write(filled, tmp_path):
    stop = threading.Event()

    def write():
        while not stop.is_set():
            with filled.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
                for name in ("Left", "Right"):
                    add_station(unit, name=name)
                unit.commit()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            back_up(filled.store.engine, tmp_path / f"{number}.sqlite3")
    finally:
        stop.set()
        writer.join()
    for number in range(5):
        with closing(sqlite3.connect(tmp_path / f"{number}.sqlite3")) as copy:
            counts = dict(copy.execute("SELECT name, count(*) FROM stations GROUP BY name"))
            assert counts.get("Left", 0) == counts.get("Right", 0)


def test_a_file_that_is_there_is_never_written_over(filled, tmp_path):
    file = tmp_path / "kept.sqlite3"
    file.write_text("something of value")
    with pytest.raises(DocumentInvalid, match="is there already"):
        back_up(filled.store.engine, file)
    assert file.read_text() == "something of value"
    with pytest.raises(DocumentInvalid, match="lies in no folder"):
        back_up(filled.store.engine, tmp_path / "nowhere" / "kept.sqlite3")


def test_a_file_that_comes_between_is_not_written_over(filled, tmp_path, monkeypatch):
    file = tmp_path / "kept.sqlite3"
    link = os.link

    def slow(source, target):
        file.write_text("another's")
        link(source, target)

    monkeypatch.setattr("service.storage.backups.os.link", slow)
    with pytest.raises(DocumentInvalid, match="is there already"):
        back_up(filled.store.engine, file)
    assert file.read_text() == "another's"
    assert [path.name for path in tmp_path.glob("*.part")] + [path.name for path in tmp_path.glob(".*.part")] == []


def test_a_damaged_store_is_not_backed_up(filled, tmp_path):
    filled.store.close()
    store = tmp_path / "store" / "ebbmark.sqlite3"
    content = bytearray(store.read_bytes())
    content[8192:12288] = os.urandom(4096)
    store.write_bytes(content)
    with pytest.raises((StoreUnavailable, DocumentInvalid), match=r"damaged|malformed"):
        back_up(open_engine(filled.settings.database_url), tmp_path / "kept.sqlite3")
    assert not (tmp_path / "kept.sqlite3").exists()


def test_a_store_with_rows_is_never_written_over(filled, empty, tmp_path):
    file = tmp_path / "kept.sqlite3"
    back_up(filled.store.engine, file)
    with pytest.raises(DocumentInvalid, match="has rows in stations"):
        restore(filled.store.engine, file)
    empty.open(with_runner=False)
    with empty.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        add_station(unit, name="Only One")
        unit.commit()
    with pytest.raises(DocumentInvalid, match="has rows in stations"):
        restore(empty.store.engine, file)
    assert names(empty.store.engine) == ["Only One"]


def test_an_opened_store_without_rows_is_filled(filled, empty, tmp_path):
    back_up(filled.store.engine, tmp_path / "kept.sqlite3")
    empty.open(with_runner=False)
    assert names(empty.store.engine) == []
    restore(empty.store.engine, tmp_path / "kept.sqlite3")
    assert len(names(empty.store.engine)) == 20
    with empty.store.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"


def test_a_backup_of_an_older_version_is_upgraded(empty, tmp_path):
    name = "2026_11_25_first_tables"
    with closing(sqlite3.connect(tmp_path / "old.sqlite3")) as old:
        old.executescript((STORES / f"{name}.sql").read_text("utf-8"))
    restore(empty.store.engine, tmp_path / "old.sqlite3")
    assert revision_of(empty.store.engine) == NEWEST_REVISION
    assert names(empty.store.engine) == ["Hollow Point", "Pellwick Roads"]


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE alembic_version SET version_num = '2999_01_01_later'", "does not know"),
        ("DROP TABLE alembic_version", "no store of Ebbmark"),
        ("PRAGMA foreign_keys = OFF; DELETE FROM accounts", "points nowhere"),
    ],
)
def test_a_file_that_is_no_backup_is_refused(filled, empty, tmp_path, statement, says):
    file = tmp_path / "kept.sqlite3"
    back_up(filled.store.engine, file)
    with closing(sqlite3.connect(file, isolation_level=None)) as copy:
        copy.executescript(statement)
    with pytest.raises(DocumentInvalid, match=says):
        restore(empty.store.engine, file)
    assert revision_of(empty.store.engine) is None


@pytest.mark.parametrize(("content", "says"), [(None, "no file"), (b"no database" * 500, "not a database")])
def test_a_file_that_is_no_database_is_refused(empty, tmp_path, content, says):
    file = tmp_path / "kept.sqlite3"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(DocumentInvalid, match=says):
        restore(empty.store.engine, file)


def test_the_commands_say_what_they_did(filled, tmp_path, monkeypatch):
    for name, value in store_variables(tmp_path).items():
        monkeypatch.setenv(name, value)
    file = str(tmp_path / "kept.sqlite3")
    assert "wrote" in CliRunner().invoke(app, ["db", "backup", file]).output
    again = CliRunner().invoke(app, ["db", "backup", file])
    assert (again.exit_code, "is there already" in again.output) == (1, True)
    refused = CliRunner().invoke(app, ["db", "restore", file])
    assert (refused.exit_code, "has rows in stations" in refused.output) == (1, True)
    filled.close()
    shutil.rmtree(tmp_path / "store")
    assert "up to date" in CliRunner().invoke(app, ["db", "restore", file]).output
    gone = CliRunner().invoke(app, ["db", "backup", str(tmp_path / "x")], env={"EBBMARK_STORE": str(tmp_path / "no")})
    assert (gone.exit_code, "there is none" in gone.output) == (1, True)


def test_postgresql_is_left_to_its_own_programs(monkeypatch):
    monkeypatch.setenv("EBBMARK_STORE", "postgresql://someone@localhost/ebbmark")
    for command, program in (("backup", "pg_dump"), ("restore", "pg_restore")):
        said = CliRunner().invoke(app, ["db", command, "file"])
        assert (said.exit_code, program in said.output) == (1, True)
