"""A store in PostgreSQL is upgraded by its owner, once, and served by a role with fewer rights."""

from __future__ import annotations

import hashlib
import threading

import pytest
from sqlalchemy import text
from typer.testing import CliRunner

from service.bootstrap import House
from service.cli import app
from service.errors import StoreUnavailable
from service.storage.engine import open_engine
from service.storage.migrating import NEWEST_REVISION, revision_of
from service.storage.tables import Table
from tests.house.test_migrations import differences
from tests.postgres.stores import APP, OWNER, as_administrator, make_database, url_of
from tests.service.conftest import settings_for

pytestmark = pytest.mark.postgres("roles and migrations of a server")


@pytest.fixture
def database(tmp_path):
    """An empty database of the owner, in a folder of its own."""
    name = make_database("ebbmark_test_new_" + hashlib.sha256(str(tmp_path).encode()).hexdigest()[:16])
    yield name
    with as_administrator("postgres") as connection:
        connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))


def upgraded(**variables: str):
    return CliRunner().invoke(app, ["db", "upgrade"], env=variables)


def test_the_owner_upgrades_and_the_service_serves(database, tmp_path):
    served, owned = url_of(database, APP), url_of(database, OWNER)
    settings = settings_for(tmp_path, store=served, store_owner=None)
    early = House(settings)
    with pytest.raises(StoreUnavailable, match="EBBMARK_STORE_OWNER"):
        early.open(with_runner=False)
    early.close()
    refused = upgraded(EBBMARK_STORE=served)
    assert (refused.exit_code, "permission denied" in refused.output) == (1, True)
    assert "up to date" in upgraded(EBBMARK_STORE=served, EBBMARK_STORE_OWNER=owned).output
    assert "up to date" in upgraded(EBBMARK_STORE=served, EBBMARK_STORE_OWNER=owned).output
    house = House(settings)
    house.open(with_runner=False)
    assert revision_of(house.store.engine) == NEWEST_REVISION
    house.close()


def test_many_that_upgrade_at_once_upgrade_once(database, tmp_path):
    settings = settings_for(tmp_path, store=url_of(database, APP), store_owner=url_of(database, OWNER))
    failed = []

    def upgrade():
        house = House(settings)
        try:
            house.upgrade()
        except Exception as error:
            failed.append(error)
        finally:
            house.store.close()

    threads = [threading.Thread(target=upgrade) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    with as_administrator(database) as connection:
        assert connection.scalar(text("SELECT count(*) FROM alembic_version")) == 1


def test_the_migrations_make_the_mapped_tables(database, tmp_path):
    house = House(settings_for(tmp_path, store=url_of(database, APP), store_owner=url_of(database, OWNER)))
    house.upgrade()
    assert differences(house.store.engine, Table.metadata) == []
    house.store.close()


@pytest.mark.parametrize("url", ["postgresql://", "postgres://", "postgresql+psycopg://"])
def test_a_url_may_leave_the_driver_out(database, url):
    rest = url_of(database, OWNER).partition("://")[2]
    engine = open_engine(url + rest)
    assert revision_of(engine) is None
    assert str(engine.url.database) == database
    engine.dispose()


def test_every_wait_has_an_end(database):
    engine = open_engine(url_of(database, APP) + "?options=-c%20work_mem%3D5MB", 2.5, 7.0)
    with engine.connect() as connection:
        found = {
            name: connection.scalar(text(f"SHOW {name}"))
            for name in ("lock_timeout", "statement_timeout", "idle_in_transaction_session_timeout", "work_mem")
        }
    assert found == {
        "lock_timeout": "2500ms", "statement_timeout": "7s", "idle_in_transaction_session_timeout": "5min",
        "work_mem": "5MB",
    }  # fmt: skip
    engine.dispose()
