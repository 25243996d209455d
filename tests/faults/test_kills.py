"""A killed server loses nothing that it acknowledged, and does nothing twice or by half (100 kills: `make soak`)."""

from __future__ import annotations

import json
from random import Random

import pytest

from tests.faults.killed_imports import KINDS, run_import_kills
from tests.faults.killed_plans import run_plan_kills
from tests.faults.killing import check_store, make_shore, run_kills
from tests.faults.writers import Answer, Writer
from tests.service.coast import example

KILLS = 2


def test_what_was_acknowledged_outlives_kills(tmp_path):
    told = run_kills(tmp_path, KILLS, seed=20261125)
    assert told.kills == KILLS
    assert told.acknowledged >= 5 * KILLS
    assert told.unacknowledged > 0


def test_imports_outlive_kills_of_their_server(tmp_path):
    """Of marks, of trips and of catches."""
    told = run_import_kills(tmp_path, len(KINDS), 2_000, seed=20261128, of_one=1)
    assert told.kills == len(KINDS)


def test_a_plan_outlives_kills_of_its_server(tmp_path):
    told = run_plan_kills(tmp_path, 1, 25, seed=20261129)
    assert told.kills == 1


class Here:
    """Sends to an application of this process."""

    def __init__(self, client):
        self.client = client

    def send(self, method, path, body=None, headers=None):
        kind = "application/merge-patch+json" if method == "PATCH" else "application/json"
        content = None if body is None else json.dumps(body)
        answer = self.client.request(method, path, content=content, headers={"Content-Type": kind, **(headers or {})})
        return Answer(answer.status_code, answer.text, answer.headers.get("etag"))


@pytest.fixture
def written(client):
    """An application, and a writer who has written there."""
    writer = Writer(0, Random(1), make_shore(Here(client)))
    for _ in range(12):
        writer.write_once(Here(client))
    check_store(Here(client), [writer])
    return client, writer


def lose(client, thing):
    client.delete(thing.path, headers={"If-Match": "*"})


def double(client, thing):
    kept = client.get(thing.path).json()
    name = "create_mark" if thing.kind == "mark" else "create_species_rule"
    body = {**example(name), "external_ref": None} | ({"station": kept["station_id"]} if thing.kind == "mark" else {})
    assert client.post(thing.path.rpartition("/")[0], json=body).status_code == 201


def change(client, thing):
    headers = {"If-Match": "*", "Content-Type": "application/merge-patch+json"}
    assert client.patch(thing.path, json={"name": "Half"}, headers=headers).status_code == 200


@pytest.mark.parametrize("spoil", [lose, double, change])
def test_a_loss_a_double_and_a_change_are_seen(written, spoil):
    client, writer = written
    spoil(client, next(thing for thing in writer.living if thing.kind != "trip"))
    with pytest.raises(AssertionError):
        check_store(Here(client), [writer])


def test_a_write_done_before_it_was_acknowledged_is_done_once(written):
    client, writer = written
    done = set()
    for _ in range(24):
        # It is done, and the answer never comes.
        writer.pending = write = writer.next_write()
        writer.send_write(Here(client), write)
        done.add((write.method, write.kind))
        check_store(Here(client), [writer])
        assert writer.pending is None
    assert {("POST", "trip"), ("PATCH", "trip"), ("ADD", "trip")} <= done
