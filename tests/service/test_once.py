"""Requests sent again under an Idempotency-Key."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from service.security import LOCAL_CALLER
from service.usecases.once import KEPT, Answered, Once
from tests.service.coast import example, make_coast
from tests.service.problems import problem

PATHS = {
    "/v1/stations": "create_station",
    "/v1/marks": "create_mark",
    "/v1/species-rules": "create_species_rule",
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
