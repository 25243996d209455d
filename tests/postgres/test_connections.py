"""A server that goes, locks, or takes too long: a clear 503 with Retry-After, and the next request works."""

from __future__ import annotations

import json
import threading
import time
from datetime import UTC, datetime

import pytest
from sqlalchemy import text
from starlette.testclient import TestClient

from service.app import create_app
from service.bootstrap import House
from service.errors import StoreUnavailable
from service.security import LOCAL_ACCOUNT
from service.storage.engine import open_engine
from tests.postgres.cluster import private_cluster
from tests.postgres.stores import APP, as_administrator, behind, database_of
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.problems import problem

pytestmark = pytest.mark.postgres("connections to a server")

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
END_ALL = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE usename = :role AND datname = :name"


def end_connections(house) -> int:
    with as_administrator(house.store.engine.url.database) as connection:
        return connection.scalar(text(END_ALL), {"role": APP, "name": house.store.engine.url.database})


def rule(name: str):
    return {**example("create_species_rule"), "external_ref": name}


def add_rule(unit, name):
    return unit.species_rules.add({}, external_ref=name, now=NOW, links={})


def test_after_its_connections_are_ended_the_next_request_works(client):
    house = client.app.state.house
    assert client.post("/v1/species-rules", json=rule("bass")).status_code == 201
    assert end_connections(house) > 0
    assert client.get("/v1/health/ready").status_code == 200
    assert end_connections(house) > 0
    assert client.post("/v1/species-rules", json=rule("dab")).status_code == 201
    assert end_connections(house) > 0
    names = [one["external_ref"] for one in client.get("/v1/species-rules").json()["items"]]
    assert names == ["bass", "dab"]


def test_a_connection_that_ends_before_its_unit_of_work_does_is_the_store_gone(house):
    def read():
        with house.store.unit(LOCAL_ACCOUNT) as unit:
            assert unit.species_rules.page(None, 1) == []
            # Nothing is asked of it any more: closing it is the first to notice.
            assert end_connections(house) > 0

    with pytest.raises(StoreUnavailable):
        read()
    house.store.check()


def test_a_connection_that_ends_in_the_middle_of_a_write_leaves_nothing(house):
    def write():
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            add_rule(unit, "bass")
            assert end_connections(house) > 0
            add_rule(unit, "dab")

    with pytest.raises(StoreUnavailable) as raised:
        write()
    assert "INSERT" not in str(raised.value)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        assert unit.species_rules.page(None, 10) == []
        add_rule(unit, "bass")
        unit.commit()


def test_a_request_whose_connection_ends_is_a_503_that_says_when_to_try_again(client, monkeypatch):
    house = client.app.state.house

    def broken(*_args, **_kwargs):
        end_connections(house)
        return original(*_args, **_kwargs)

    from service.storage.repositories.documents import DocumentRepository

    original = DocumentRepository.add
    monkeypatch.setattr(DocumentRepository, "add", broken)
    response = client.post("/v1/species-rules", json=rule("bass"))
    problem(response, 503, "store-unavailable")
    assert response.headers["retry-after"] == "1"
    monkeypatch.setattr(DocumentRepository, "add", original)
    assert client.post("/v1/species-rules", json=rule("bass")).status_code == 201


def test_writers_of_one_account_queue_up_and_the_wait_ends(tmp_path):
    house = House(settings_for(tmp_path, busy_timeout_s=0.2))
    house.open(with_runner=False)
    house.store.ensure_account("acc_other", "other", NOW)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as first:
        add_rule(first, "bass")
        with pytest.raises(StoreUnavailable, match="lock timeout"), house.store.unit(LOCAL_ACCOUNT, writes=True):
            pass
        # Another account's writer, and a reader, wait for nobody.
        with house.store.unit("acc_other", writes=True) as other:
            add_rule(other, "bass")
            other.commit()
        with house.store.unit(LOCAL_ACCOUNT) as reader:
            assert reader.species_rules.page(None, 10) == []
        first.commit()
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as second:
        add_rule(second, "dab")
        second.commit()
    house.close()


def test_one_who_reads_sees_one_moment_and_cannot_write(house):
    with house.store.unit(LOCAL_ACCOUNT) as reader:
        assert reader.species_rules.page(None, 10) == []
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as writer:
            add_rule(writer, "bass")
            writer.commit()
        assert reader.species_rules.page(None, 10) == []
    with pytest.raises(StoreUnavailable, match="read-only"), house.store.unit(LOCAL_ACCOUNT) as reader:
        add_rule(reader, "dab")


def test_a_statement_that_takes_too_long_is_ended(tmp_path):
    house = House(settings_for(tmp_path, statement_timeout_s=0.1))
    house.open(with_runner=False)
    with pytest.raises(StoreUnavailable, match="statement timeout"), house.store.unit(LOCAL_ACCOUNT) as unit:
        unit._session.execute(text("SELECT pg_sleep(5)"))
    house.close()


def test_two_writers_that_wait_for_each_other_are_told_to_try_again(house):
    for account in ("acc_a", "acc_b"):
        house.store.ensure_account(account, account, NOW)
    met, said = threading.Barrier(2), []

    def write(first, second):
        try:
            with house.store.across_accounts(writes=True) as unit:
                session = unit._session
                rename = text("UPDATE accounts SET name = 'x' WHERE account_id = :key")
                session.execute(rename, {"key": first})
                met.wait(30)
                session.execute(rename, {"key": second})
                session.commit()
        except StoreUnavailable as error:
            said.append(str(error))

    threads = [threading.Thread(target=write, args=pair) for pair in (("acc_a", "acc_b"), ("acc_b", "acc_a"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(said) == 1
    assert "try again" in said[0]


def test_more_requests_than_connections_wait_and_are_told(tmp_path):
    house = House(settings_for(tmp_path, busy_timeout_s=0.2))
    house.open(with_runner=False)
    pool = house.store.engine.pool
    taken = []
    try:
        for _ in range(20):
            taken.append(pool.connect())
        with pytest.raises(StoreUnavailable, match="no connection came free"):
            house.store.check()
    finally:
        for one in taken:
            one.close()
    house.store.check()
    house.close()


def test_a_server_that_crashes_and_comes_back(tmp_path):
    """Here the store is alone on a cluster of its own, whose server is killed."""
    with private_cluster() as cluster:
        engine = open_engine(cluster.url)
        with engine.begin() as connection:
            connection.exec_driver_sql("CREATE ROLE app LOGIN PASSWORD 'app'")
        engine.dispose()
        url = engine.url.set(username="app", password="app").render_as_string(hide_password=False)
        app = create_app(settings_for(tmp_path, store=url, store_owner=cluster.url))
        with TestClient(app, base_url=URL, client=PEER) as client:
            for number in range(3):
                assert client.post("/v1/species-rules", json=rule(f"before-{number}")).status_code == 201
                cluster.kill()
                response = client.post("/v1/species-rules", json=rule(f"during-{number}"))
                problem(response, 503, "store-unavailable")
                assert response.headers["retry-after"] == "1"
                assert "store" in problem(client.get("/v1/health/ready"), 503, "not-ready")["detail"]
                assert client.get("/v1/health/live").status_code == 200
                cluster.start()
                assert client.get("/v1/health/ready").status_code == 200
            kept = [one["external_ref"] for one in client.get("/v1/species-rules").json()["items"]]
            assert kept == [f"before-{number}" for number in range(3)]


def test_ready_says_what_the_schema_lacks(client):
    assert client.get("/v1/health/ready").status_code == 200
    with behind(client.app.state.house.store.engine) as connection:
        connection.exec_driver_sql("DROP TABLE alembic_version")
    found = problem(client.get("/v1/health/ready"), 503, "not-ready")
    assert "revision None" in found["detail"]
    assert "ebbmark db upgrade" in found["detail"]


def test_a_database_that_is_gone_is_said_without_the_password(tmp_path):
    settings = settings_for(tmp_path)
    house = House(settings)
    house.open(with_runner=False)
    with as_administrator("postgres") as connection:
        connection.exec_driver_sql(f"DROP DATABASE {database_of(tmp_path)} WITH (FORCE)")
    began = time.monotonic()
    with pytest.raises(StoreUnavailable, match="does not exist") as raised:
        house.store.check()
    assert time.monotonic() - began < 10.0
    assert str(house.store.engine.url.password) not in str(raised.value)
    house.store.close()


NOT_THERE = ["%00", "stn_%00", "%ED%A0%80", "%F0%9F%90%9F", "x" * 64, "%27%20OR%201%3D1"]


@pytest.mark.parametrize("key", NOT_THERE)
def test_ids_that_the_database_cannot_hold_are_not_found(client, key):
    for path in (f"/v1/stations/{key}", f"/v1/marks/{key}", f"/v1/species-rules/{key}", f"/v1/fits/{key}"):
        assert client.get(path).status_code in (404, 422), path
    body = {**example("create_mark"), "station": "nul\0here"}
    assert client.post("/v1/marks", json=body).status_code in (404, 422)
    assert client.get("/v1/stations", params={"after": "stn_\0", "cursor": "stn_\0"}).status_code in (200, 422)


@pytest.mark.parametrize("text_of_it", ["nul\0here", "\ud800", "\U0001f41f", "a" * 200, "\u202e\u00e9\u0301"])
def test_texts_are_kept_or_refused_and_break_nothing(client, text_of_it):
    def send(path, document):
        # Escaped, so that what is no text in UTF-8 can be sent as well.
        return client.post(path, content=json.dumps(document), headers={"content-type": "application/json"})

    answers = [
        send("/v1/stations", {"name": text_of_it, "latitude": 51.0}),
        send("/v1/stations", {"name": "Hollow Point", "latitude": 51.0, "external_ref": text_of_it}),
        send("/v1/species-rules", {**example("create_species_rule"), "notes": text_of_it}),
    ]
    for answer in answers:
        assert answer.status_code in (201, 400, 422), answer.text
    if answers[0].status_code == 201:
        assert client.get(f"/v1/stations/{answers[0].json()['id']}").json()["name"] == text_of_it
