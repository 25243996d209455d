"""Requests sent again under an Idempotency-Key."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from service.security import LOCAL_CALLER
from service.usecases.once import KEPT, Answered, Once
from tests.service.coast import example, gauge_csv, make_coast
from tests.service.problems import problem
from tests.service.processes import HINTS

PATHS = {
    "/v1/stations": "create_station",
    "/v1/marks": "create_mark",
    "/v1/species-rules": "create_species_rule",
    "/v1/methods": "create_method",
}


def count(client, path):
    return len(client.get(path, params={"limit": 500}).json()["items"])


@pytest.mark.parametrize("path", sorted(PATHS))
def test_the_same_request_is_done_once_and_answered_alike(client, path):
    make_coast(client)
    new = {**example(PATHS[path]), "external_ref": "sent-twice"}
    before = count(client, path)
    first, second = (client.post(path, json=new, headers={"Idempotency-Key": "k-1"}) for _ in range(2))
    assert first.status_code == second.status_code == 201, second.text
    assert first.content == second.content
    assert [first.headers[name] for name in ("location", "etag")] == [
        second.headers[name] for name in ("location", "etag")
    ]
    assert count(client, path) == before + 1


def test_another_request_under_the_key_is_refused(client):
    new = {**example("create_species_rule"), "external_ref": None}
    assert client.post("/v1/species-rules", json=new, headers={"Idempotency-Key": "k"}).status_code == 201
    other = client.post("/v1/species-rules", json={**new, "name": "Another"}, headers={"Idempotency-Key": "k"})
    problem(other, 422, "idempotency-key-reused")
    elsewhere = client.post("/v1/stations", json=example("create_station"), headers={"Idempotency-Key": "k"})
    problem(elsewhere, 422, "idempotency-key-reused")
    assert count(client, "/v1/species-rules") == 1


def test_what_was_refused_may_be_tried_again(client):
    mark = {**example("create_mark"), "station": "pellwick-roads"}
    headers = {"Idempotency-Key": "k"}
    problem(client.post("/v1/marks", json=mark, headers=headers), 422, "invalid-input", "station")
    client.post("/v1/stations", json=example("create_station"))
    assert client.post("/v1/marks", json=mark, headers=headers).status_code == 201


@pytest.mark.parametrize("key", ["", "x" * 256, "with blank", "\u00e9"])
def test_a_key_that_is_none_is_refused(client, key):
    headers = {"Idempotency-Key": key.encode("utf-8")}
    refused = client.post("/v1/species-rules", json=example("create_species_rule"), headers=headers)
    problem(refused, 422, "invalid-request", "Idempotency-Key")


def test_many_at_once_make_one(client):
    new = {**example("create_species_rule"), "external_ref": None}

    def send(_):
        return client.post("/v1/species-rules", json=new, headers={"Idempotency-Key": "k"})

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(send, range(16)))
    made = [one for one in answers if one.status_code == 201]
    assert made
    assert len({one.content for one in made}) == 1
    for one in answers:
        if one.status_code != 201:
            problem(one, 409, "idempotency-key-running")
            assert one.headers["retry-after"] == "1"
    assert count(client, "/v1/species-rules") == 1


def test_an_answer_is_forgotten_after_its_time(house):
    now = [datetime(2026, 6, 1, tzinfo=UTC)]
    context = house.context
    object.__setattr__(context, "clock", lambda: now[0])
    answers = iter((b"first", b"second"))

    def make(keep):
        with context.store.unit(LOCAL_CALLER.account_id, writes=True) as unit:
            keep(unit, None)
            unit.commit()

    def run():
        return Once("k", "f").run(context, LOCAL_CALLER, make, lambda _made: Answered(201, {}, next(answers))).content

    assert run() == run() == b"first"
    now[0] += KEPT
    assert run() == b"first"
    now[0] += timedelta(seconds=1)
    assert run() == b"second"


@pytest.fixture
def fitted(serve):
    """An application that runs no jobs itself, a station, and how a record is sent there under a key."""
    client = serve(workers=0)
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]

    def send(content, key, **hints):
        headers = {"Content-Type": "text/csv", "Idempotency-Key": key}
        return client.post(f"/v1/stations/{station}/fits", params={**HINTS, **hints}, content=content, headers=headers)

    return client, send


def test_a_record_is_taken_once_and_told_from_others_by_its_bytes(fitted):
    client, send = fitted
    record = gauge_csv(30)
    first = send(record, "k")
    assert first.status_code == 202
    # Without the key a record whose job has ended would be another fit.
    client.post(f"/v1/jobs/{first.json()['job_id']}/cancel")
    again = send(record, "k")
    assert (again.status_code, again.content) == (202, first.content)
    assert again.headers["location"] == first.headers["location"]
    problem(send(gauge_csv(31), "k"), 422, "idempotency-key-reused")
    problem(send(record, "k", latitude="50"), 422, "idempotency-key-reused")
    assert count(client, "/v1/jobs") == 1
    assert list(client.app.state.house.settings.spool_folder.iterdir()) == []


def test_a_record_that_joins_a_fit_is_answered_with_it_ever_after(fitted):
    client, send = fitted
    record = gauge_csv(30)
    first, joined = send(record, "one"), send(record, "another")
    assert joined.json()["id"] == first.json()["id"]
    client.post(f"/v1/jobs/{first.json()['job_id']}/cancel")
    assert send(record, "another").content == joined.content
    assert count(client, "/v1/jobs") == 1


def test_a_cancel_that_was_done_is_answered_so_again(fitted):
    client, send = fitted
    job_id, other = (send(gauge_csv(days), f"fit-{days}").json()["job_id"] for days in (30, 31))
    headers = {"Idempotency-Key": "k"}
    first, again = (client.post(f"/v1/jobs/{job_id}/cancel", headers=headers) for _ in range(2))
    assert (first.status_code, first.json()["state"]) == (202, "cancelled")
    assert (again.status_code, again.content) == (202, first.content)
    problem(client.post(f"/v1/jobs/{job_id}/cancel"), 409, "job-ended")
    problem(client.post(f"/v1/jobs/{other}/cancel", headers=headers), 422, "idempotency-key-reused")
    assert client.get(f"/v1/jobs/{other}").json()["state"] == "queued"


def test_an_adoption_is_done_once_and_one_refused_may_be_tried_again(fitted, serve):
    client, send = fitted
    fit = send(gauge_csv(30), "fit").json()
    headers, path = {"Idempotency-Key": "k"}, f"/v1/fits/{fit['id']}/adopt"
    problem(client.post(path, headers=headers), 409, "fit-not-done")
    serve()  # another application on the same store, which runs jobs
    await_end(client, fit["id"])
    first, again = (client.post(path, headers=headers) for _ in range(2))
    assert (first.status_code, first.json()["adopted_version"]) == (200, 1)
    assert (again.status_code, again.content) == (200, first.content)
    assert client.get(f"/v1/stations/{fit['station_id']}").json()["current_version"] == 1


def await_end(client, fit_id):
    ends = time.monotonic() + 60.0
    while client.get(f"/v1/fits/{fit_id}").json()["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.02)
