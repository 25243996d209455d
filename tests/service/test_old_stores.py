"""Stores that older versions made are upgraded with what is in them, and a migration is whole or not at all."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import MetaData, create_engine, insert, select
from starlette.testclient import TestClient

from service.app import create_app
from service.errors import StoreUnavailable
from service.storage import migrating
from service.storage.engine import open_engine
from service.storage.migrating import NEWEST_REVISION, known_revisions, revision_of, upgrade_store
from tests.postgres.stores import ADMIN_URL, OWNER, as_administrator, database_of, make_database, url_of
from tests.service.coast import PEER, SPAN, URL
from tests.service.conftest import settings_for

STORES = Path(__file__).parent / "stores"
FIRST, WITH_A_LOG = "2026_11_25_first_tables", "2026_11_29_log_months"

BREAKS = """
from alembic import op
import sqlalchemy as sa

revision, down_revision, branch_labels, depends_on = "cut_in_two", "{newest}", None, None

def upgrade():
    op.create_table("tackle_boxes", sa.Column("box_id", sa.String(30), primary_key=True))
    with op.batch_alter_table("stations") as batch:
        batch.alter_column("name", new_column_name="title")
    {then}
"""


def lay_down(folder: Path, name: str) -> None:
    """Make the store of ``folder`` the one that an older version left."""
    script = (STORES / f"{name}.sql").read_text("utf-8")
    (folder / "store").mkdir()
    file = folder / "store" / "ebbmark.sqlite3"
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(script)
    if ADMIN_URL is not None:
        _move(file, make_database(database_of(folder)), name)


def _move(file: Path, database: str, name: str) -> None:
    """Move a store of a revision from its file to a database of PostgreSQL."""
    engine = open_engine(url_of(database, OWNER))
    upgrade_store(engine, name)
    engine.dispose()
    old, new = create_engine(f"sqlite:///{file}"), MetaData()
    with old.connect() as source, as_administrator(database) as target:
        new.reflect(target)
        # Tables come in the order of their names, so rows that point elsewhere come too early.
        target.exec_driver_sql("SET session_replication_role = replica")
        was = MetaData()
        was.reflect(source)
        for table in was.tables.values():
            rows = [dict(row) for row in source.execute(select(table)).mappings()]
            if rows and table.name != "alembic_version":
                target.execute(insert(new.tables[table.name]), rows)
    old.dispose()
    file.unlink()


def test_every_old_store_is_of_a_revision_that_there_was():
    names = [path.stem for path in STORES.glob("*.sql")]
    assert names
    assert set(names) <= set(known_revisions())
    assert known_revisions()[-1] == NEWEST_REVISION


@pytest.mark.parametrize("name", sorted(path.stem for path in STORES.glob("*.sql")))
def test_an_old_store_is_upgraded_with_what_is_in_it(tmp_path, name):
    lay_down(tmp_path, name)
    app = create_app(settings_for(tmp_path))
    with TestClient(app, base_url=URL, client=PEER) as client:
        assert revision_of(app.state.house.store.engine) == NEWEST_REVISION
        stations = client.get("/v1/stations").json()["items"]
        assert [one["name"] for one in stations] == ["Pellwick Roads", "Hollow Point"]
        assert client.get(f"/v1/stations/{stations[0]['id']}/heights", params=SPAN).status_code == 200
        marks = client.get("/v1/marks").json()["items"]
        assert [one["station_id"] for one in marks] == [stations[0]["id"], stations[1]["id"]]
        rule = client.get("/v1/species-rules").json()["items"][0]["id"]
        body = {"mark_ids": [marks[0]["id"]], "rule_ids": [rule], **SPAN}
        assert client.post("/v1/windows/search", json=body).status_code == 200


def test_a_fit_that_was_running_in_an_old_store_is_said_to_be_interrupted(tmp_path):
    lay_down(tmp_path, FIRST)
    app = create_app(settings_for(tmp_path))
    with TestClient(app, base_url=URL, client=PEER) as client:
        station = client.get("/v1/stations").json()["items"][1]["id"]
        fits = client.get(f"/v1/stations/{station}/fits").json()["items"]
        assert [(one["state"], one["problem"]["type"]) for one in fits] == [("failed", "/problems/job-interrupted")]


def test_log_plans_and_feeds_of_an_old_store_are_there(tmp_path):
    lay_down(tmp_path, WITH_A_LOG)
    app = create_app(settings_for(tmp_path))
    with TestClient(app, base_url=URL, client=PEER) as client:
        (trip,) = client.get("/v1/trips").json()["items"]
        assert [len(trip["record"][name]) for name in ("deployments", "bites", "catches")] == [2, 1, 1]
        joined = client.get(f"/v1/trips/{trip['id']}/joined")
        assert joined.status_code == 200, joined.text
        totals = client.get("/v1/insights/totals").json()
        assert (totals["trips"]["all"], totals["diary"]["rows"]["all"], totals["caught"]) == (1, 1, 5)
        (plan,) = client.get("/v1/plans").json()["items"]
        sessions = client.get(f"/v1/plans/{plan['id']}/sessions").json()["items"]
        feed = client.get("/v1/feeds/ebf_j52j1b8tzk_08fshtctcz2xbdkv4ggk4hsqyq4f914m.ics")
        assert feed.text.count("BEGIN:VEVENT") == len(sessions) > 0
        assert client.get("/v1/safety-thresholds").json()["thresholds"]["gust_caution_m_per_s"] == 12.0
        (issue,) = client.get("/v1/conditions").json()["items"]
        assert issue["source"] == "invented office"
        assert [client.get(f"/v1/{kind}").json()["items"] != [] for kind in ("methods", "regulations")] == [True, True]


@pytest.fixture
def migrations(tmp_path, monkeypatch):
    """Add a migration to a copy of those there are, and have the store brought to it."""
    shutil.copytree(migrating._FOLDER, tmp_path / "migrations", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(migrating, "_FOLDER", tmp_path / "migrations")

    def add(then: str) -> None:
        script = BREAKS.format(newest=NEWEST_REVISION, then=then)
        (tmp_path / "migrations" / "versions" / "cut_in_two.py").write_text(script)

    return add


def seen(engine):
    with engine.connect() as connection:
        connection.execution_options(ebbmark_writes=False)
        tables = sorted(engine.dialect.get_table_names(connection))
        columns = [column["name"] for column in engine.dialect.get_columns(connection, "stations")]
        return tables, columns


def test_a_migration_cut_in_two_leaves_the_store_as_it_was(house, migrations, tmp_path):
    engine = open_engine(house.settings.store_owner or house.settings.database_url)
    before = seen(engine)
    migrations("raise ZeroDivisionError")
    with pytest.raises(ZeroDivisionError):
        upgrade_store(engine, "cut_in_two")
    assert revision_of(engine) == NEWEST_REVISION
    assert seen(engine) == before
    migrations("pass")
    upgrade_store(engine, "cut_in_two")
    assert revision_of(engine) == "cut_in_two"
    tables, columns = seen(engine)
    assert "tackle_boxes" in tables
    assert "title" in columns
    engine.dispose()


@pytest.mark.sqlite("PostgreSQL alters a table without making it anew")
def test_a_table_made_anew_keeps_its_rows_and_what_points_at_them(tmp_path, migrations):
    lay_down(tmp_path, FIRST)
    engine = open_engine(settings_for(tmp_path).database_url)
    upgrade_store(engine)
    migrations("pass")
    upgrade_store(engine, "cut_in_two")
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM stations").scalar() == 2
        assert connection.exec_driver_sql("SELECT count(*) FROM marks JOIN stations USING (station_id)").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    engine.dispose()


@pytest.mark.sqlite("PostgreSQL never lets a row point nowhere, not even in a migration")
def test_a_migration_after_which_rows_point_nowhere_is_refused(tmp_path, migrations):
    lay_down(tmp_path, FIRST)
    engine = open_engine(settings_for(tmp_path).database_url)
    upgrade_store(engine)
    migrations('op.execute("DELETE FROM stations")')
    with pytest.raises(StoreUnavailable, match="point nowhere"):
        upgrade_store(engine, "cut_in_two")
    assert revision_of(engine) == NEWEST_REVISION
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM stations").scalar() == 2
    engine.dispose()
