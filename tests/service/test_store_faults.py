"""A store that is full or locked: a clear 503, nothing half written, and all is well once the cause is gone."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest
from sqlalchemy import event
from starlette.testclient import TestClient

from service.app import create_app
from tests.conftest import ROOT
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.problems import problem

pytestmark = pytest.mark.sqlite("the store is a file of this process; a server's faults are in tests/postgres")

#: Sends rules to a store whose files may not grow, then to the same store when they may; says what it was answered.
GROW = """
import json, resource, sys
from pathlib import Path
from starlette.testclient import TestClient
from service.app import create_app
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for

folder = Path(sys.argv[1])
rule = {k: v for k, v in example("create_species_rule").items() if k != "external_ref"}
answers = []
with TestClient(create_app(settings_for(folder)), base_url=URL, client=PEER) as client:
    def send(number):
        answer = client.post("/v1/species-rules", json={**rule, "external_ref": f"rule-{number}"})
        answers.append([answer.status_code, answer.headers.get("retry-after"), answer.json().get("type")])
        return answer.status_code
    assert send(0) == 201
    largest = max(path.stat().st_size for path in (folder / "store").iterdir() if path.is_file())
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest + 40_000, resource.RLIM_INFINITY))
    number = 1
    while send(number) == 201 and number < 200:
        number += 1
    read = client.get("/v1/species-rules", params={"limit": 500})
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    send(number)
    kept = client.get("/v1/species-rules", params={"limit": 500}).json()["items"]
print(json.dumps([answers, read.status_code, sorted(one["external_ref"] for one in kept)]))
"""


def rule(name: str):
    return {**example("create_species_rule"), "external_ref": name}


def whole(folder) -> bool:
    with closing(sqlite3.connect(folder / "store" / "ebbmark.sqlite3")) as connection:
        checks = [
            connection.execute(f"PRAGMA {check}").fetchall() for check in ("integrity_check", "foreign_key_check")
        ]
        return checks == [[("ok",)], []]


def test_a_full_store_refuses_whole_writes_and_takes_them_again(serve, tmp_path):
    client = serve()
    engine = client.app.state.house.store.engine
    limit = {"pages": 1}

    @event.listens_for(engine, "checkout")
    def fill(connection, *_):
        connection.execute(f"PRAGMA max_page_count = {limit['pages']}")

    written = []
    for number in range(200):
        response = client.post("/v1/species-rules", json=rule(f"rule-{number}"))
        if response.status_code != 201:
            break
        written.append(f"rule-{number}")
    found = problem(response, 503, "store-unavailable")
    assert "full" in found["detail"]
    assert response.headers["retry-after"]
    assert client.get("/v1/species-rules").status_code == 200
    limit["pages"] = 1_000_000
    assert client.post("/v1/species-rules", json=rule(f"rule-{len(written)}")).status_code == 201
    kept = [one["external_ref"] for one in client.get("/v1/species-rules", params={"limit": 500}).json()["items"]]
    assert sorted(kept) == sorted([*written, f"rule-{len(written)}"])
    assert whole(tmp_path)


def test_files_that_cannot_grow_refuse_whole_writes_and_take_them_again(tmp_path):
    run = subprocess.run(
        [sys.executable, "-W", "error", "-c", GROW, str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    answers, read, kept = json.loads(run.stdout.splitlines()[-1])
    statuses = [status for status, _, _ in answers]
    assert statuses[-2:] == [503, 201]
    assert set(statuses[:-2]) == {201}
    assert len(statuses) > 3
    assert answers[-2][1:] == ["1", "/problems/store-unavailable"]
    assert read == 200
    assert kept == sorted(f"rule-{number}" for number in range(len(statuses) - 1))
    assert whole(tmp_path)


def test_a_locked_store_refuses_writes_after_the_wait_and_reads_on(tmp_path):
    app = create_app(settings_for(tmp_path, busy_timeout_s=0.1))
    with TestClient(app, base_url=URL, client=PEER) as client:
        with closing(sqlite3.connect(tmp_path / "store" / "ebbmark.sqlite3", isolation_level=None)) as blocker:
            blocker.execute("BEGIN IMMEDIATE")
            response = client.post("/v1/species-rules", json=rule("bass"))
            assert "locked" in problem(response, 503, "store-unavailable")["detail"]
            assert response.headers["retry-after"]
            assert client.get("/v1/species-rules").json()["items"] == []
            assert client.get("/v1/health/ready").status_code == 200
        assert client.post("/v1/species-rules", json=rule("bass")).status_code == 201
