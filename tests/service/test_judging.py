"""Rows of imports are judged ahead of their transaction, here or in other processes: the same comes of it."""

from __future__ import annotations

import json
import os
import re
import signal
import time
from concurrent.futures import wait

import pytest
from starlette.testclient import TestClient

import service.jobs.ahead as ahead_module
from service.app import create_app
from service.errors import TooManyRows
from service.imports.rows import Cut
from service.jobs.ahead import Ahead
from service.usecases import importing
from service.usecases.import_kinds.judging import Judge, get_ready
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.importing import CSV, NDJSON, counts, ndjson, statuses, take
from tests.service.sharing import lay_store

MERGE = {"Content-Type": "application/merge-patch+json", "If-Match": "*"}
#: By when a trip must have been: the clock of the service goes on between two runs.
_WHEN = re.compile(r'[^"]* at the latest')
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD", "local_name": None}


@pytest.fixture
def bays(tmp_path):
    """Start applications that run no jobs themselves, each with a store of its own with a station and a mark."""
    started = []

    def start(name):
        app = create_app(lay_store(settings_for(tmp_path / name, workers=0)))
        client = TestClient(app, base_url=URL, client=PEER)
        started.append(client)
        client.__enter__()
        client.post("/v1/stations", json={**example("create_station"), "external_ref": "roads"})
        made = client.post("/v1/marks", json={**example("create_mark"), "station": "roads", "external_ref": "spit"})
        assert made.status_code == 201, made.text
        return client

    yield start
    for client in started:
        client.__exit__(None, None, None)


def trip(number, **more):
    day = f"2024-06-{1 + number % 28:02d}"
    said = {"mark": "spit", "start": f"{day}T18:00:00Z", "end": f"{day}T22:00:00Z", "outcome": "fished", **more}
    return {"client_ref": f"t{number}", "trip": said, "deployments": []}


def fish(number, of, minute=5, **more):
    at = f"2024-06-{1 + of % 28:02d}T19:{minute:02d}:00Z"
    return {"client_ref": f"f{number}", "trip": f"t{of}", "at": at, "species": COD, "fate": "kept", **more}


def files():
    """Rows of every status, catches of one trip on both sides of the end of a batch."""
    table = "client_ref,name,latitude,longitude,time_zone,station,kind\n" + "".join(
        f'm{number % 260},"Spot, {number % 260}",{95 if number % 37 == 0 else 51},-20,Etc/UTC,roads,open_beach\n'
        for number in range(300)
    )
    trips = [trip(number % 90, mark="gone" if number % 41 == 0 else "spit") for number in range(120)]
    trips += [{"client_ref": "late", "trip": {**trip(1)["trip"], "start": "2094-06-01T00:00:00Z"}}, {"x": 1}]
    caught = [fish(number, number // 7 + 1, minute=number % 60) for number in range(350)]
    caught += [fish(1, 1, fate="returned"), fish(900, 2, minute=59), fish(901, 500)]
    return (
        ("mark", (table + "x,y\n").encode(), CSV),
        ("trip", ndjson(*trips), NDJSON),
        ("catch", ndjson(*caught), NDJSON),
    )


def store_of(client):
    """What the account has, but for when it was written."""
    return [
        sorted(pages(client, f"/v1/{things}"), key=lambda one: one["external_ref"]) for things in ("marks", "trips")
    ]


def pages(client, path):
    cursor: dict[str, str] = {}
    while True:
        page = client.get(path, params={"limit": 500, **cursor}).json()
        for one in page["items"]:
            yield {key: value for key, value in one.items() if key not in ("created_at", "updated_at")}
        if page["next_cursor"] is None:
            return
        cursor = {"cursor": page["next_cursor"]}


def test_other_processes_come_to_the_same(bays, monkeypatch):
    """The processes are killed in the middle of the last file, which goes on without them."""
    monkeypatch.setattr(importing, "ROWS", 100)
    begin, send = Ahead.__init__, Ahead._send
    gone: list[int] = []

    def begin_and_wait(self, _workers, get_ready):
        begin(self, 2 if name == "elsewhere" else 0, get_ready)
        wait(self._begun)
        assert (self._pool is None) == (name == "here")

    def send_and_kill(self, work, waiting):
        send(self, work, waiting)
        sent = [batch[0].number for _, batch in (one.piece for one in waiting if one.sent is not None)]
        if kind == "catch" and 201 in sent and not gone:
            gone.extend(process.pid for process in self._pool._processes.values())
            for process in gone:
                os.kill(process, signal.SIGKILL)

    monkeypatch.setattr(Ahead, "__init__", begin_and_wait)
    monkeypatch.setattr(Ahead, "_send", send_and_kill)
    found = {}
    for name in ("here", "elsewhere"):
        client, reports = bays(name), []
        names = {one["id"]: things for things in ("stations", "marks") for one in pages(client, f"/v1/{things}")}
        for kind, content, media_type in files():
            done, lines = take(client, content, media_type, kind=kind)
            assert done["state"] == "done", done
            names |= {line["id"]: f"the {kind} {line['client_ref']}" for line in lines if line["status"] == "created"}
            reports.append([counts(done), lines])
        text = _WHEN.sub("now", json.dumps([reports, store_of(client)]))
        for key, its in names.items():
            text = text.replace(key, its)
        found[name] = json.loads(text)
    assert found["here"] == found["elsewhere"]
    assert len(gone) == 2
    # Of 40 names that come twice, two are refused at first and one is refused the second time.
    assert [count for count, _ in found["here"][0]] == [
        [301, 254, 37, 0, 10], [122, 88, 29, 0, 5], [353, 344, 0, 1, 8],
    ]  # fmt: skip


def test_what_changes_between_looking_and_writing_is_looked_at_again(bays, monkeypatch):
    client = bays("bay")
    take(client, ndjson(trip(1), trip(2)), kind="trip")
    ids = {one["external_ref"]: one["id"] for one in pages(client, "/v1/trips")}
    judge = Judge.judge

    def judge_and_edit(self, cuts, unit=None):
        found = judge(self, cuts, unit)
        if unit is None:
            shorter = {"trip": {"end": "2024-06-02T19:00:00Z", "notes": "Left early."}}
            edited = client.patch(f"/v1/trips/{ids['t1']}", json=shorter, headers=MERGE)
            assert edited.status_code == 200, edited.text
        return found

    monkeypatch.setattr(Judge, "judge", judge_and_edit)
    _, lines = take(client, ndjson(fish(1, 1, 30), fish(2, 2, 30), fish(3, 1, 1)), kind="catch")
    assert statuses(lines) == ["invalid", "created", "created"]
    assert [fault["field"] for fault in lines[0]["faults"]] == ["at"]
    edited = client.get(f"/v1/trips/{ids['t1']}").json()
    assert (edited["record"]["trip"]["notes"], [one["ref"] for one in edited["record"]["catches"]]) == (
        "Left early.",
        ["f3"],
    )


def test_a_second_row_of_a_name_is_held_to_its_trip_where_the_first_was_refused(bays):
    client = bays("bay")
    take(client, ndjson(trip(1)), kind="trip")
    late = "2024-06-02T23:30:00Z"
    rows = [fish(1, 1, at=late), fish(1, 1, at=late, fate="returned"), fish(2, 1, at=late), fish(2, 1), fish(2, 1)]
    _, lines = take(client, ndjson(*rows), kind="catch")
    assert statuses(lines) == ["invalid", "invalid", "invalid", "created", "unchanged"]
    (only,) = pages(client, "/v1/trips")
    assert [one["at"] for one in only["record"]["catches"]] == ["2024-06-02T19:05:00Z"]


def test_long_rows_are_fewer_in_a_transaction(monkeypatch):
    monkeypatch.setattr(importing, "MOST_BYTES", 1000)
    batches = importing._Batches((Cut(number, b"", 300) for number in range(1, 10)), 7)
    assert [[cut.number for cut in batch] for batch in batches] == [[1, 2, 3, 4], [5, 6, 7]]
    assert str(batches.broken) == str(TooManyRows(7))


def test_where_no_process_can_be_started_work_is_done_here(monkeypatch):
    def refuse(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(ahead_module, "ProcessPoolExecutor", refuse)
    with Ahead(2, lambda: None) as ahead:
        assert list(ahead.run(abs, iter([-1, 2, -3]), abs)) == [(-1, 1), (2, 2), (-3, 3)]


def test_what_nobody_has_begun_is_done_here_meanwhile():
    """Pieces are done by a process that is slow and by this one, each once and in order."""
    done_here: list[int] = []

    def here(piece: int) -> tuple[int, str]:
        done_here.append(piece)
        return piece, "here"

    with Ahead(1, get_ready) as ahead:
        wait(ahead._begun)
        found = list(ahead.run(slowly, iter(range(12)), here))
    assert [piece for piece, _ in found] == list(range(12))
    assert [told[0] for _, told in found] == list(range(12))
    assert sorted(done_here) == [piece for piece, told in found if told[1] == "here"]
    assert 0 < len(done_here) < 12


def slowly(piece: int) -> tuple[int, str]:
    time.sleep(0.05)
    return piece, "elsewhere"


def test_what_fails_before_its_turn_is_said_in_its_turn():
    taken: list[int] = []

    def here(piece: int) -> tuple[int, str]:
        if piece > 2:
            raise ValueError(piece)
        return piece, "here"

    with Ahead(1, get_ready) as ahead, pytest.raises(ValueError, match=r"\d"):  # noqa: PT012
        wait(ahead._begun)
        for piece, _ in ahead.run(fails_late, iter(range(12)), here):
            taken.append(piece)
    # Whatever came before the one that failed was taken.
    assert taken == list(range(len(taken)))
    assert len(taken) >= 3


def fails_late(piece: int) -> tuple[int, str]:
    time.sleep(0.02)
    if piece > 5:
        raise ValueError(piece)
    return piece, "elsewhere"
