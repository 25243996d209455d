"""The store: pragmas, units of work, accounts, versions, and what happens when it cannot be used."""

from __future__ import annotations

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime, timedelta, timezone

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import event, text
from sqlalchemy.exc import StatementError
from sqlalchemy.orm import Session

from service.bootstrap import House
from service.errors import StoreConflict, StoreUnavailable
from service.security import LOCAL_ACCOUNT
from service.storage.engine import open_engine
from service.storage.identifiers import is_id, new_id
from service.storage.migrating import NEWEST_REVISION, revision_of, upgrade_store
from service.storage.tables import Table
from tests.conftest import ROOT
from tests.service.conftest import settings_for

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def add_station(unit, **changes):
    given = {"name": "Hollow Point", "latitude": 51.0, "longitude": None, "time_zone": "Etc/UTC"}
    given |= {"external_ref": None, "public": False}
    return unit.stations.add(**{**given, "now": NOW, **changes})


@pytest.mark.sqlite("pragmas are SQLite's")
def test_every_connection_has_wal_full_and_foreign_keys(house):
    for _ in range(3):
        with house.store.engine.connect() as one, house.store.engine.connect() as other:
            for connection in (one, other):
                connection.execution_options(ebbmark_writes=False)
                found = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in
                         ("journal_mode", "synchronous", "foreign_keys")]  # fmt: skip
                assert found == ["wal", 2, 1]


@pytest.mark.sqlite("pragmas are SQLite's")
def test_a_connection_without_the_promises_is_refused(tmp_path):
    class Deaf(sqlite3.Connection):
        """A connection on which nothing can be switched on."""

        def cursor(self, *_args):
            class Cursor(sqlite3.Cursor):
                def execute(self, statement, *args):
                    return super().execute("PRAGMA foreign_keys" if "foreign_keys" in statement else statement, *args)

            return super().cursor(Cursor)

    engine = open_engine(f"sqlite+pysqlite:///{tmp_path / 'deaf.sqlite3'}")

    @event.listens_for(engine, "do_connect")
    def connect(_dialect, _record, args, kwargs):
        return sqlite3.connect(*args, **{**kwargs, "factory": Deaf})

    with pytest.raises(StoreUnavailable, match="foreign_keys"):
        engine.connect()
    engine.dispose()


@pytest.mark.parametrize("url", ["sqlite://", "sqlite+pysqlite:///:memory:", "://nothing", "sqlite"])
def test_a_store_that_lasts_is_asked_for(url):
    with pytest.raises(StoreUnavailable):
        open_engine(url)


def test_nothing_stays_without_a_commit(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        station = add_station(unit)
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.stations.get(station.station_id) is None


def test_an_error_rolls_back(house):
    def fail():
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            add_station(unit)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.stations.page(None, 10) == []


def test_another_account_sees_nothing(house):
    house.store.ensure_account("acc_other", "other", NOW)
    house.store.ensure_account("acc_other", "other", NOW)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        station = add_station(unit, external_ref="hollow")
        model = {"datum": "LAT", "input_hash": "0", "numerics": 1, "code_version": "0"}
        unit.stations.add_model(station.station_id, {}, source="fit", fit_id=None, stamps=model, now=NOW)
        mark = unit.marks.add({}, external_ref="ledge", now=NOW, links={"station_id": station.station_id})
        rule = unit.species_rules.add({}, external_ref="bass", now=NOW, links={})
        job = unit.jobs.add("fit", "0", {}, NOW)
        fit = unit.fits.add("fit_1", station_id=station.station_id, job_id=job.job_id, record_sha256="0",
                            record_bytes=1, options={}, now=NOW)  # fmt: skip
        unit.commit()
    with house.store.unit("acc_other", writes=True) as unit:
        assert unit.stations.get(station.station_id) is None
        assert unit.stations.many([station.station_id]) == {}
        assert unit.stations.by_reference("hollow") is None
        assert unit.stations.page(None, 10) == unit.marks.page(None, 10) == unit.species_rules.page(None, 10) == []
        assert unit.stations.model(station.station_id, 1) is unit.stations.document(station.station_id, 1) is None
        assert unit.stations.models(station.station_id) == unit.fits.page(station.station_id, None, 10) == []
        assert unit.marks.by_reference("ledge") is None
        assert unit.marks.many([mark.id]) == unit.marks.documents([(mark.id, 1)]) == {}
        assert unit.species_rules.by_reference("bass") is None
        assert unit.species_rules.documents([(rule.id, 1)]) == {}
        assert unit.fits.get(fit.fit_id) is unit.fits.model(fit.fit_id) is None
        assert unit.fits.by_job(job.job_id) is unit.jobs.get(job.job_id) is None
        unit.fits.keep(fit.fit_id, report={}, model={"stolen": True})
        unit.fits.adopt(fit.fit_id, 9)
        assert unit.jobs.active_count() == 0
        # The same references are free for another account.
        assert add_station(unit, external_ref="hollow").external_ref == "hollow"
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.fits.get(fit.fit_id) == fit
        assert unit.fits.model(fit.fit_id) is None


def test_an_account_that_another_process_is_adding_is_there(house, monkeypatch):
    """Both have looked before one of them adds it."""
    looked = threading.Barrier(2, timeout=0.5)
    get = Session.get

    def look(session, kind, key, **more):
        found = get(session, kind, key, **more)
        if threading.current_thread() is not threading.main_thread() and not looked.broken and found is None:
            with suppress(threading.BrokenBarrierError):
                looked.wait()
        return found

    monkeypatch.setattr(Session, "get", look)
    with ThreadPoolExecutor(2) as pool:
        added = [pool.submit(house.store.ensure_account, "acc_other", "other", NOW) for _ in range(2)]
        for one in added:
            one.result()
    with house.store.across_accounts() as unit:
        assert [one.account_id for one in unit.accounts.all()].count("acc_other") == 1


def test_every_table_has_its_account():
    for table in Table.metadata.tables.values():
        assert "account_id" in table.columns, table.name
        assert not table.columns["account_id"].nullable


def test_a_mark_cannot_follow_a_station_that_is_not_there(house):
    with pytest.raises(StoreConflict), house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        unit.marks.add({}, external_ref=None, now=NOW, links={"station_id": "stn_0"})


def test_a_public_station_is_read_by_another_account_and_changed_by_its_own(house):
    house.store.ensure_account("acc_other", "other", NOW)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        public, private = add_station(unit, public=True, external_ref="hollow"), add_station(unit)
        unit.commit()
    with house.store.unit("acc_other", writes=True) as unit:
        found = unit.stations.get(public.station_id)
        assert found is not None
        assert (found.owned, public.owned) == (False, True)
        assert unit.stations.get(private.station_id) is unit.stations.by_reference("hollow") is None
        assert list(unit.stations.many([public.station_id, private.station_id])) == [public.station_id]
        assert [one.station_id for one in unit.stations.page(None, 10)] == [public.station_id]
        assert not unit.stations.change(found, NOW, name="Taken")
        assert not unit.stations.remove(found)


def test_a_reference_is_unique_in_its_account(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        add_station(unit, external_ref="hollow")
        unit.commit()
    with pytest.raises(StoreConflict), house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        add_station(unit, external_ref="hollow")


def test_models_are_counted_and_old_ones_stay(house):
    stamps = {"datum": "LAT", "input_hash": "0", "numerics": 1, "code_version": "0"}
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        key = add_station(unit).station_id
        for wanted in (1, 2, 3):
            made = unit.stations.add_model(key, {"n": wanted}, source="fit", fit_id=None, stamps=stamps, now=NOW)
            assert made.version == wanted
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.stations.get(key).version == 3
        assert [unit.stations.document(key, version) for version in (1, 2, 3, 4)] == [
            {"n": 1},
            {"n": 2},
            {"n": 3},
            None,
        ]
        assert [record.version for record in unit.stations.models(key)] == [1, 2, 3]


def test_instants_come_back_as_utc_and_naive_ones_are_refused(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        station = add_station(unit, now=NOW.astimezone(timezone(timedelta(hours=5))))
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.stations.get(station.station_id).created_at == NOW
        assert unit.stations.get(station.station_id).created_at.utcoffset() == timedelta(0)
    with pytest.raises((StatementError, StoreUnavailable)), house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        add_station(unit, now=datetime(2026, 6, 1))  # noqa: DTZ001 - naive on purpose


def test_pages_follow_each_other(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        made = sorted(add_station(unit, name=f"Point {number}").station_id for number in range(5))
        unit.commit()
        first = [station.station_id for station in unit.stations.page(None, 3)]
        assert first + [station.station_id for station in unit.stations.page(first[-1], 3)] == made


def test_two_writers_queue_up(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        key = add_station(unit).station_id
        unit.commit()
    stamps = {"datum": "LAT", "input_hash": "0", "numerics": 1, "code_version": "0"}

    def add():
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            unit.stations.add_model(key, {}, source="fit", fit_id=None, stamps=stamps, now=NOW)
            unit.commit()

    threads = [threading.Thread(target=add) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert [record.version for record in unit.stations.models(key)] == list(range(1, 9))


@pytest.mark.sqlite("another process locks the whole file")
def test_a_locked_store_is_unavailable_and_reading_goes_on(tmp_path):
    house = House(settings_for(tmp_path, busy_timeout_s=0.05))
    house.open(with_runner=False)
    blocker = sqlite3.connect(tmp_path / "store" / "ebbmark.sqlite3", isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    try:
        with pytest.raises(StoreUnavailable, match="locked"), house.store.unit(LOCAL_ACCOUNT, writes=True):
            pass
        with house.store.unit(LOCAL_ACCOUNT) as unit:
            assert unit.stations.page(None, 1) == []
    finally:
        blocker.close()
        house.close()


@pytest.mark.sqlite("the limit of pages is a pragma")
def test_a_full_store_is_unavailable(house):
    def fill():
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            unit._session.execute(text("PRAGMA max_page_count = 1"))
            unit.species_rules.add({"notes": "x" * 1_000_000}, external_ref=None, now=NOW, links={})
            unit.commit()

    with pytest.raises(StoreUnavailable, match="full"):
        fill()


@pytest.mark.sqlite("the store is a file")
def test_a_file_that_is_no_store_is_unavailable(tmp_path):
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "ebbmark.sqlite3").write_bytes(b"no database at all" * 100)
    house = House(settings_for(tmp_path))
    with pytest.raises(StoreUnavailable, match="not a database"):
        house.open(with_runner=False)
    house.store.close()


@pytest.mark.sqlite("the store is in a folder")
def test_a_folder_that_cannot_be_is_unavailable(tmp_path):
    (tmp_path / "store").write_text("a file")
    house = House(settings_for(tmp_path))
    with pytest.raises(StoreUnavailable, match="folder"):
        house.open(with_runner=False)


def test_the_newest_revision_is_that_of_the_migrations():
    config = Config()
    config.set_main_option("script_location", str(ROOT / "service" / "storage" / "migrations"))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [NEWEST_REVISION]


def test_the_migrations_go_down_and_up_again(house):
    engine = open_engine(house.settings.store_owner or house.settings.database_url)
    assert revision_of(engine) == NEWEST_REVISION
    from alembic import command

    from service.storage.migrating import _config

    with engine.begin() as connection:
        command.downgrade(_config(connection), "base")
    assert revision_of(engine) is None
    upgrade_store(engine)
    assert revision_of(engine) == NEWEST_REVISION
    engine.dispose()


def test_ids_are_opaque_and_in_the_order_of_their_making():
    made = [new_id("stn") for _ in range(200)]
    assert len(set(made)) == 200
    assert all(is_id(one) and len(one) == 30 for one in made)
    assert [one[:14] for one in made] == sorted(one[:14] for one in made)
    assert not any(is_id(one) for one in ("", "stn", "stn_", "STN_1", "stn_\u0661", "stn_1\n", "stn_" + "1" * 27))
