"""A question just asked is answered without the store, as long as nobody has written to it; never to somebody else."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest
from sqlalchemy import create_engine
from starlette.requests import Request

from service.api.conditional import _question
from service.storage.pulse import Pulse, Remembered
from tests.service.coast import SPAN, example
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem
from tidecore.errors import CoreError


@pytest.fixture
def client(serve):
    found = serve()
    # A refusal is an answer of the service here, not an error of the test.
    found._transport.raise_server_exceptions = False
    return found


@pytest.fixture
def station(client):
    return client.post("/v1/stations", json=example("create_station")).json()["id"]


def refuse(*_args, **_kwargs):
    raise CoreError("the store was asked")


@pytest.mark.sqlite("PostgreSQL has no count of commits to remember by")
def test_a_question_asked_again_does_without_the_store(client, station, monkeypatch):
    path = f"/v1/stations/{station}/heights"
    first = client.get(path, params=SPAN)
    monkeypatch.setattr("service.usecases.heights.find_height_basis", refuse)
    again = client.get(path, params=SPAN, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    for name in ("etag", "vary", "cache-control"):
        assert again.headers[name] == first.headers[name]
    assert again.headers["x-request-id"]
    # Another question, another form, or an ETag that is another's: all are looked into.
    tag = {"if-none-match": first.headers["etag"]}
    assert client.get(path, params={**SPAN, "step": "1h"}, headers=tag).status_code == 500
    assert client.get(path, params=SPAN, headers={**tag, "accept": "text/csv"}).status_code == 500
    assert client.get(path, params=SPAN, headers={"if-none-match": '"other"'}).status_code == 500


def test_a_write_of_anybody_makes_what_is_remembered_forgotten(client, station, serve, monkeypatch):
    path = f"/v1/stations/{station}/heights"
    before = client.get(path, params=SPAN).headers["etag"]
    tag = {"if-none-match": before}
    assert client.get(path, params=SPAN, headers=tag).status_code == 304
    # Another application on the same store, as another process would be.
    other = serve()
    shown = other.get(f"/v1/stations/{station}")
    patch = {"content-type": "application/merge-patch+json", "if-match": shown.headers["etag"]}
    edited = other.patch(f"/v1/stations/{station}", content=b'{"name": "Elsewhere"}', headers=patch)
    assert edited.status_code == 200, edited.text
    changed = client.get(path, params=SPAN, headers=tag)
    assert changed.status_code == 200
    assert changed.headers["etag"] != before
    # What has nothing to do with the station is looked into as well, and found to be as it was.
    other.post("/v1/species-rules", json=example("create_species_rule"))
    tag = {"if-none-match": changed.headers["etag"]}
    assert client.get(path, params=SPAN, headers=tag).status_code == 304
    other.delete(f"/v1/stations/{station}", headers={"if-match": edited.headers["etag"]})
    assert client.get(path, params=SPAN, headers=tag).status_code == 404


def test_an_error_is_not_remembered(client, station):
    path = f"/v1/stations/{station}/heights"
    assert client.get(path, params={**SPAN, "step": "1s", "end": "2027-01-01T00:00:00Z"}).status_code == 422
    assert client.get(path, params={**SPAN, "colour": "green"}, headers={"if-none-match": "*"}).status_code == 422
    assert client.app.state.remembered._kept == {}


def test_the_pulse_changes_with_each_commit_and_with_nothing_else(tmp_path):
    file = tmp_path / "a store.sqlite3"
    pulse = Pulse(create_engine(f"sqlite+pysqlite:///{file}"))
    assert pulse.read() is None, "there is no store yet"
    with sqlite3.connect(file) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("CREATE TABLE marks (name TEXT)")
    first = pulse.read()
    assert first == pulse.read()
    connection.execute("INSERT INTO marks VALUES ('a')")
    assert pulse.read() == first, "not committed"
    connection.rollback()
    connection.execute("SELECT * FROM marks").fetchall()
    assert pulse.read() == first
    connection.execute("INSERT INTO marks VALUES ('b')")
    connection.commit()
    second = pulse.read()
    assert second != first
    connection.close()
    pulse.close()


def test_a_store_that_is_no_file_has_no_pulse():
    assert Pulse(create_engine("sqlite+pysqlite:///nowhere/at/all.sqlite3")).read() is None


def test_those_used_last_are_kept():
    remembered = Remembered[str](most=2)
    for question in ("a", "b"):
        remembered.keep(question, 1, question.upper())
    assert remembered.find("a", 1) == "A"
    remembered.keep("c", 1, "C")
    assert [remembered.find(one, 1) for one in "abc"] == ["A", None, "C"]
    assert remembered.find("a", 2) is None
    remembered.keep("a", 2, "D")
    assert remembered.find("a", 2) == "D"


@pytest.mark.sqlite("PostgreSQL has no count of commits to remember by")
def test_a_search_asks_the_store_again_once_somebody_has_written(client, station, serve, monkeypatch):
    mark = client.post("/v1/marks", json=example("create_mark")).json()["id"]
    client.post("/v1/species-rules", json=example("create_species_rule"))
    asked = {**SPAN, "mark_ids": [mark]}
    first = client.post("/v1/windows/search", json=asked)
    assert first.status_code == 200
    store = client.app.state.house.store
    with monkeypatch.context() as patched:
        patched.setattr(type(store), "unit", None)
        assert client.post("/v1/windows/search", json=asked).json() == first.json()
    other = serve()
    patch = {"content-type": "application/merge-patch+json", "if-match": "*"}
    assert other.patch(f"/v1/marks/{mark}", content=b'{"name": "Elsewhere"}', headers=patch).status_code == 200
    again = client.post("/v1/windows/search", json=asked).json()
    assert [one["version"] for one in again["marks"]] == [2]
    assert client.post("/v1/windows/search", json={**asked, "mark_ids": ["mrk_0"]}).status_code == 404


def request_of(client, state, query=b"a=1", accept=b"text/csv"):
    headers = [(b"accept", accept), (b"host", b"localhost")]
    scope = {"type": "http", "path": "/v1/heights", "query_string": query, "headers": headers, "state": state,
             "app": client.app, "server": ("localhost", 80), "scheme": "http", "method": "GET"}  # fmt: skip
    return Request(scope)


def test_a_question_is_of_one_caller(client, serve):
    asked = [
        _question(request_of(client, {"caller": "one"})),
        _question(request_of(client, {"caller": "another"})),
        _question(request_of(client, {"caller": "one"}, query=b"a=2")),
        _question(request_of(client, {"caller": "one"}, accept=b"*/*")),
    ]
    assert len(set(asked)) == 4
    assert asked[0] == _question(request_of(client, {"caller": "one"}))
    # Where keys are asked for, nobody known means that nothing is remembered.
    assert _question(request_of(serve(auth="keys"), {})) is None
    assert _question(request_of(client, {})) is not None


def test_what_is_remembered_is_for_the_key_that_asked_and_no_longer_than_it_is_good(tmp_path):
    clock = Clock()
    with keyed_client(tmp_path, clock) as client:
        context = context_of(client)
        owner = make_holder(context, "read", "write", expires_at=clock.now + timedelta(hours=1))
        writer = make_holder(context, "write", account_id=owner.account_id)
        stranger = make_holder(context, "read", "write")
        made = client.post("/v1/stations", json=example("create_station"), headers=owner.headers)
        path = f"/v1/stations/{made.json()['id']}/heights"
        tag = {"if-none-match": client.get(path, params=SPAN, headers=owner.headers).headers["etag"]}

        def ask(headers):
            return client.get(path, params=SPAN, headers={**headers, **tag})

        for _ in range(2):
            assert ask(owner.headers).status_code == 304
            problem(ask(stranger.headers), 404, "not-found")
            problem(ask(writer.headers), 403, "scope-needed")
            problem(ask({}), 401, "key-needed")
        clock.pass_by(3601)
        assert ask(owner.headers).status_code == 401
