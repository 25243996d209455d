"""Row-level security: whatever a query asks for, a transaction sees the rows of its account alone."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import make_url, text
from sqlalchemy.exc import DBAPIError

from service.bootstrap import House
from service.errors import StoreUnavailable
from service.security import LOCAL_ACCOUNT
from service.storage.engine import open_engine
from service.storage.identifiers import new_id
from service.storage.plan_records import PlanMarkRecord
from service.storage.records import CREATED, Change, ImportLine, ImportRun, KeptAnswer
from service.storage.repositories.joins import FactRecord, JoinRecord
from service.storage.row_security import isolate, lifted, permit
from service.storage.tables import Table
from tests.postgres.stores import ADMIN_URL, APP, OWNER, database_of
from tests.service.conftest import settings_for

pytestmark = pytest.mark.postgres("row-level security")

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
OTHER = "acc_other"

#: Tables that the service itself reads across accounts, so that a transaction of its own sees them.
SERVED = {"accounts", "api_keys", "feeds", "jobs"}

UNPROTECTED = """
    SELECT c.relname FROM pg_class c
    JOIN pg_namespace n ON n.oid = c.relnamespace AND n.nspname = current_schema()
    JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'account_id' AND NOT a.attisdropped
    WHERE c.relkind IN ('r', 'p') AND NOT (
        c.relrowsecurity AND c.relforcerowsecurity AND EXISTS (
            SELECT 1 FROM pg_policies p WHERE p.tablename = c.relname AND p.policyname = 'own_account'
            AND p.cmd = 'ALL' AND p.permissive = 'PERMISSIVE'
            AND p.qual ~ '^[(]+account_id[)]?(::text)? = current_setting[(]''ebbmark.account_id''::text, true[)][)]$'
            AND p.with_check = p.qual))
    ORDER BY 1
"""


class Operations:
    """What a migration is given, on a connection of a test."""

    def __init__(self, connection):
        self._connection = connection

    def get_bind(self):
        return self._connection


@pytest.fixture
def two(house):
    """A store in which two accounts have a row in every table."""
    house.store.ensure_account(OTHER, "other", NOW)
    stamps = {"datum": "LAT", "input_hash": "0", "numerics": 1, "code_version": "0"}
    for account in (LOCAL_ACCOUNT, OTHER):
        with house.store.unit(account, writes=True) as unit:
            station = unit.stations.add(
                name="Hollow Point",
                latitude=51.0,
                longitude=None,
                time_zone="Etc/UTC",
                external_ref="hollow",
                public=False,
                now=NOW,
            )
            unit.stations.add_model(station.station_id, {}, source="fit", fit_id=None, stamps=stamps, now=NOW)
            mark = unit.marks.add({}, external_ref="ledge", now=NOW, links={"station_id": station.station_id})
            unit.slack_notes.add({}, external_ref="turn", now=NOW, links={"mark_id": mark.id})
            told = {"area": None, "content_hash": "0", "summary": {}, "now": NOW, "ends_at": NOW, "mark_id": mark.id}
            unit.conditions.add(
                {}, kind="forecast", source="x", issued_at=NOW, valid_until=None, starts_at=NOW, points=1, **told
            )
            unit.warnings.add({}, identifier="x", sender="x", sent_at=NOW, **told)
            unit.species_rules.add({}, external_ref="bass", now=NOW, links={})
            unit.safety_thresholds.add({}, external_ref="account", now=NOW, links={})
            unit.methods.add({}, external_ref="rough", now=NOW, links={})
            log = {"mark_id": mark.id, "local_day": NOW.date(), "outcome": "blank"}
            began = {"started_at": NOW, "ended_at": None, "method_ids": ""}
            trip = unit.trips.add({}, external_ref="first", now=NOW, links={**log, **began})
            unit.joins.put([join_of(trip.id, mark.id, station.station_id)], [facts_of(trip.id, mark.id)])
            unit.diary_rows.add({}, external_ref="old", now=NOW, links=log)
            unit.regulations.add({}, external_ref="bag", now=NOW, links={"area": "the bay"})
            for things in (
                *(unit.marks, unit.slack_notes, unit.species_rules, unit.safety_thresholds),
                *(unit.methods, unit.trips, unit.diary_rows, unit.regulations),
            ):
                (first,) = things.page(None, 1)
                things.replace(first, {}, external_ref=first.external_ref, now=NOW, links={})
            unit.note(Change("station", station.station_id, CREATED, 1, NOW))
            unit.answers.keep("again", KeptAnswer("0", 201, {}, b"{}"), NOW, NOW)
            job = unit.jobs.add("fit", "0", {}, NOW)
            given = {"kind": "mark", "format": "csv", "dry_run": False, "body_sha256": "0", "body_bytes": 1}
            rows = unit.imports.add(new_id("imp"), job_id=job.job_id, given=given, now=NOW)
            unit.imports.advance(
                rows.import_id, [ImportLine(1, "ledge", "unchanged", None, ()), ImportRun(2, ["rock"], [mark.id])]
            )
            unit.fits.add(
                new_id("fit"), station_id=station.station_id, job_id=job.job_id, record_sha256="0", record_bytes=1,
                options={}, now=NOW,
            )  # fmt: skip
            plan = unit.plans.add(
                new_id("pln"), job_id=job.job_id, series="x", span=(NOW, NOW), asked={}, supersedes=None, now=NOW
            )
            unit.feeds.add(name="x", series="x", selection={}, prefix=account, secret_hash="0", now=NOW)
            unit.plans.keep_results({"0": b""}, NOW)
            planned = PlanMarkRecord(mark.id, "0", reused=False, found=0, sessions=(), changes=None, problem=None,
                                     computed_at=NOW)  # fmt: skip
            unit.plans.keep_marks(plan.plan_id, [planned])
            unit.commit()
        with house.store.across_accounts(writes=True) as across:
            across.keys.add(
                account, name="boat", prefix=account, secret_hash="0", scopes=["read"], now=NOW, expires_at=None
            )
            across.commit()
    return house


def join_of(trip, mark, station):
    return JoinRecord(trip, 1, mark, 1, station, 1, "1.1", 0, "0", False, NOW, NOW, NOW, None, b"")


def facts_of(trip, mark):
    return FactRecord("light", NOW.date(), trip, mark, "pleasure", True, b"", b"")


@pytest.fixture
def owner(house):
    engine = open_engine(house.settings.store_owner)
    yield engine
    engine.dispose()


def unprotected(connection) -> list[str]:
    return [row[0] for row in connection.exec_driver_sql(UNPROTECTED)]


def counts(connection, tables=None) -> dict[str, int]:
    """Return of how many accounts rows are seen, by table."""
    names = [table.name for table in Table.metadata.tables.values() if "account_id" in table.columns]
    return {name: connection.scalar(text(f"SELECT count(DISTINCT account_id) FROM {name}")) for name in tables or names}


def claim(connection, **settings: str) -> None:
    for name, value in settings.items():
        connection.execute(text("SELECT set_config(:name, :value, true)"), {"name": f"ebbmark.{name}", "value": value})


def test_every_table_of_accounts_is_protected(owner):
    with owner.connect() as connection:
        assert unprotected(connection) == []


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE tackle_boxes (account_id text)",
        "ALTER TABLE marks NO FORCE ROW LEVEL SECURITY",
        "ALTER TABLE marks DISABLE ROW LEVEL SECURITY",
        "DROP POLICY own_account ON marks",
        "DROP POLICY own_account ON marks; CREATE POLICY own_account ON marks USING (true)",
        "DROP POLICY own_account ON marks; CREATE POLICY own_account ON marks FOR SELECT "
        "USING (account_id = current_setting('ebbmark.account_id', true))",
    ],
)
def test_a_table_without_its_protection_is_seen(owner, statement):
    with owner.connect() as connection:
        connection.exec_driver_sql(statement)
        assert unprotected(connection) == ["tackle_boxes" if "tackle_boxes" in statement else "marks"]


def test_without_an_account_nothing_is_seen(two):
    with two.store.engine.connect() as connection:
        assert connection.scalar(text("SELECT current_user")) == APP
        assert set(counts(connection).values()) == {0}
    # Nor on a connection that has served an account before, nor for an account without a name.
    with two.store.engine.connect() as connection:
        claim(connection, account_id=LOCAL_ACCOUNT)
        assert set(counts(connection).values()) == {1}
        connection.commit()
        assert set(counts(connection).values()) == {0}
        claim(connection, account_id="")
        assert set(counts(connection).values()) == {0}


def test_an_account_sees_and_changes_its_own_rows_alone(two):
    with two.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        session = unit._session
        assert set(counts(session).values()) == {1}
        assert session.scalar(text("SELECT count(*) FROM stations WHERE account_id = 'acc_other'")) == 0
        assert session.execute(text("UPDATE stations SET name = 'Mine'")).rowcount == 1
        assert session.execute(text("DELETE FROM mark_versions")).rowcount == 1
        unit.commit()
        # A transaction after the first is of the same account.
        assert session.scalar(text("SELECT name FROM stations")) == "Mine"
    with two.store.unit(OTHER) as unit:
        assert [station.name for station in unit.stations.page(None, 10)] == ["Hollow Point"]
        assert counts(unit._session)["mark_versions"] == 1


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO species_rules VALUES ('rul_x', 'acc_other', NULL, 1, now(), now())",
        "UPDATE species_rules SET account_id = 'acc_other'",
    ],
)
def test_an_account_cannot_write_as_another(two, statement):
    with (
        pytest.raises(StoreUnavailable, match="row-level security"),
        two.store.unit(LOCAL_ACCOUNT, writes=True) as unit,
    ):
        unit._session.execute(text(statement))


def test_the_service_sees_across_accounts_what_it_must_and_no_more(two):
    with two.store.across_accounts() as unit:
        seen = counts(unit._session)
    assert {name for name, count in seen.items() if count == 2} == SERVED
    assert {count for name, count in seen.items() if name not in SERVED} == {0}
    with two.store.queue() as queue:
        assert {name for name, count in counts(queue._session).items() if count == 2} == SERVED


def test_the_role_of_the_service_can_neither_alter_a_table_nor_a_policy(two):
    for statement in (
        "ALTER TABLE stations DISABLE ROW LEVEL SECURITY",
        "DROP POLICY own_account ON stations",
        "CREATE POLICY mine ON stations USING (true)",
        "TRUNCATE stations",
        "CREATE TABLE tackle_boxes (box_id text)",
        "UPDATE alembic_version SET version_num = 'older'",
        f"SET ROLE {OWNER}",
    ):
        with two.store.engine.connect() as connection, pytest.raises(DBAPIError):
            connection.exec_driver_sql(statement)


def test_the_owner_is_bound_too_and_a_migration_may_lift_it(two, owner):
    with owner.connect() as connection:
        assert counts(connection)["stations"] == 0
        with lifted(Operations(connection), "stations", "marks"):
            assert counts(connection, ["stations", "marks"]) == {"stations": 2, "marks": 2}
        assert counts(connection)["stations"] == 0
        assert unprotected(connection) == []


def test_what_all_may_read_only_its_account_may_change(two, owner):
    with owner.begin() as connection:
        operations = Operations(connection)
        connection.exec_driver_sql("CREATE TABLE tackle_boxes (box_id text, account_id text, public bool)")
        isolate(operations, "tackle_boxes")
        permit(operations, "tackle_boxes", "public", "public", command="SELECT")
        connection.exec_driver_sql(f"GRANT ALL ON tackle_boxes TO {APP}")
        assert unprotected(connection) == []
    with two.store.unit(OTHER, writes=True) as unit:
        unit._session.execute(
            text("INSERT INTO tackle_boxes VALUES ('a', 'acc_other', true), ('b', 'acc_other', false)")
        )
        unit.commit()
    with two.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        assert unit._session.scalars(text("SELECT box_id FROM tackle_boxes")).all() == ["a"]
        assert unit._session.execute(text("UPDATE tackle_boxes SET box_id = 'mine'")).rowcount == 0
        assert unit._session.execute(text("DELETE FROM tackle_boxes")).rowcount == 0


def test_a_public_station_is_read_by_all_and_changed_by_its_account_alone(two):
    with two.store.unit(OTHER, writes=True) as unit:
        unit._session.execute(text("UPDATE stations SET public = true"))
        unit.commit()
    with two.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        seen = counts(unit._session)
        assert {name for name, count in seen.items() if count == 2} == {"stations", "station_versions"}
        assert {count for name, count in seen.items() if "station" not in name} == {1}
        assert unit._session.execute(text("UPDATE stations SET name = 'Mine'")).rowcount == 1
        assert unit._session.execute(text("DELETE FROM station_versions")).rowcount == 1
    with two.store.engine.connect() as connection:
        assert set(counts(connection).values()) == {0}


def test_a_role_that_passes_by_the_policies_is_refused(tmp_path):
    url = make_url(ADMIN_URL or "").set(database=database_of(tmp_path)).render_as_string(hide_password=False)
    house = House(settings_for(tmp_path, store=url, store_owner=None))
    with pytest.raises(StoreUnavailable, match="BYPASSRLS"):
        house.open(with_runner=False)
    house.close()
