"""Two API processes over one store: no edit of one is lost to the other."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing

from tests.faults.killing import Served
from tests.faults.writers import Connection
from tests.service.coast import example

EACH = 12
CLIENTS = 2


def add_ones(port: int, path: str) -> int:
    """Add one to the number in the notes of a mark, ``EACH`` times; return how often somebody else had been first."""
    lost = 0
    with closing(Connection(port)) as connection:
        done = 0
        while done < EACH:
            read = connection.send("GET", path)
            patch = {"notes": str(int(json.loads(read.text)["notes"]) + 1)}
            answer = connection.send("PATCH", path, patch, {"If-Match": str(read.etag)})
            assert answer.status in (200, 412), answer.text
            done += answer.status == 200
            lost += answer.status == 412
    return lost


def test_two_processes_lose_no_update(tmp_path):
    with ExitStack() as stack:
        ports = [stack.enter_context(Served(tmp_path)).port for _ in range(2)]
        connection = stack.enter_context(closing(Connection(ports[0])))
        connection.send("POST", "/v1/stations", example("create_station"))
        made = connection.send("POST", "/v1/marks", {**example("create_mark"), "notes": "0"})
        path = f"/v1/marks/{json.loads(made.text)['id']}"
        with ThreadPoolExecutor(2 * CLIENTS) as pool:
            lost = list(pool.map(lambda port: add_ones(port, path), ports * CLIENTS))
        total = 2 * CLIENTS * EACH
        for port in ports:
            with closing(Connection(port)) as reader:
                mark = json.loads(reader.send("GET", path).text)
                versions = json.loads(reader.send("GET", f"{path}/versions").text)["items"]
            assert (mark["notes"], mark["version"]) == (str(total), total + 1)
            assert [one["version"] for one in versions] == list(range(1, total + 2))
        # They met: otherwise nothing was shown.
        assert sum(lost) > 0


def test_two_processes_make_one_thing_under_one_key(tmp_path):
    with ExitStack() as stack:
        ports = [stack.enter_context(Served(tmp_path)).port for _ in range(2)]
        body = {**example("create_species_rule"), "external_ref": None}

        def make(port: int, key: str) -> tuple[int, str]:
            with closing(Connection(port)) as connection:
                answer = connection.send("POST", "/v1/species-rules", body, {"Idempotency-Key": key})
            return answer.status, answer.text

        keys = [f"k-{number}" for number in range(10)]
        with ThreadPoolExecutor(4) as pool:
            answers = list(pool.map(lambda asked: make(*asked), [(port, key) for key in keys for port in ports]))
        for first, second in zip(answers[::2], answers[1::2], strict=True):
            assert first == second
            assert first[0] == 201
        connection = stack.enter_context(closing(Connection(ports[0])))
        items = json.loads(connection.send("GET", "/v1/species-rules").text)["items"]
        assert sorted(item["id"] for item in items) == sorted({json.loads(text)["id"] for _, text in answers})
        assert len(items) == len(keys)
