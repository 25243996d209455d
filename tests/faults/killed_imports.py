"""Imports whose server is killed while it works on them: no row is lost, none is there twice, none half."""

from __future__ import annotations

import json
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from tests.faults.killing import Served
from tests.faults.writers import Connection, read_pages
from tests.service.coast import example

_STATION = "pellwick-roads"
_WHILE_S = 0.05
#: A job is begun three times at most, so an import outlives two crashes.
MOST_KILLS_OF_ONE = 2
_PATIENCE_S = 120.0


@dataclass(frozen=True)
class ImportsTold:
    """What a run of kills of imports came to."""

    kills: int
    imports: int
    rows: int
    seen_before: int

    def __str__(self) -> str:
        return (
            f"{self.kills} kills in {self.imports} imports of {self.rows} rows in all, {self.seen_before} of which had"
            " their lines before a kill"
        )


def run_import_kills(folder: Path, kills: int, rows: int, seed: int) -> ImportsTold:
    """Kill the server ``kills`` times while it imports files of ``rows``, at most twice each, and look what is there.

    Lines of the report that were read before a kill stand after it as they did.
    """
    chance = Random(seed)
    done = imports = seen_before = 0
    with Served(folder, workers=1, job_lease_s=1.0) as served:
        with closing(Connection(served.port)) as connection:
            made = connection.send("POST", "/v1/stations", {**example("create_station"), "external_ref": _STATION})
            assert made.status == 201, made.text
        while done < kills:
            place = _send(served.port, imports, rows)
            imports += 1
            for _ in range(min(MOST_KILLS_OF_ONE, kills - done)):
                with closing(Connection(served.port)) as connection:
                    if _await(connection, place, chance.randrange(rows)):
                        break
                    time.sleep(chance.uniform(0.0, _WHILE_S))
                    before = list(read_pages(connection, f"{place}/rows"))
                served.kill()
                done, seen_before = done + 1, seen_before + len(before)
                served.check_file()
                served.start()
                with closing(Connection(served.port)) as connection:
                    after = list(read_pages(connection, f"{place}/rows"))
                assert after[: len(before)] == before, "a line that was read has changed"
            with closing(Connection(served.port)) as connection:
                _await(connection, place, None)
                _check(connection, place, imports, rows)
    return ImportsTold(done, imports, imports * rows, seen_before)


def _send(port: int, number: int, count: int) -> str:
    """Send an import of marks nobody has yet, and return its address."""
    plain = {name: value for name, value in example("create_mark").items() if name != "external_ref"}
    rows = ({"client_ref": f"{number}-{row}", **plain, "station": _STATION} for row in range(count))
    content = b"".join(json.dumps(row).encode() + b"\n" for row in rows)
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/v1/imports?kind=mark", content, {"content-type": "application/x-ndjson"}
    )
    with urllib.request.urlopen(request, timeout=30.0) as response:
        assert response.status == 202
        return str(response.headers["location"])


def _await(connection: Connection, place: str, rows: int | None) -> bool:
    """Wait until an import has come past a row, or to its end; return whether it is at its end."""
    ends = time.monotonic() + _PATIENCE_S
    while True:
        told = json.loads(connection.send("GET", place).text)
        assert told["state"] in ("queued", "running", "done"), told
        if told["state"] == "done" or (rows is not None and told["rows"] > rows):
            return bool(told["state"] == "done")
        assert time.monotonic() < ends, f"the import does not go on: {told}"
        time.sleep(0.02)


def _check(connection: Connection, place: str, imports: int, count: int) -> None:
    """Fail unless every row of an ended import made one mark, and every import before it too."""
    lines = list(read_pages(connection, f"{place}/rows"))
    assert [line["row"] for line in lines] == list(range(1, count + 1)), "a line is missing, or there twice"
    assert {line["status"] for line in lines} == {"created"}
    marks = {mark["external_ref"]: mark for mark in _marks(connection)}
    assert sorted(marks) == sorted(f"{number}-{row}" for number in range(imports) for row in range(count))
    for line in lines:
        assert marks[line["client_ref"]]["id"] == line["id"], line


def _marks(connection: Connection) -> Iterator[dict[str, Any]]:
    seen: set[str] = set()
    for mark in read_pages(connection, "/v1/marks"):
        assert mark["external_ref"] not in seen, "a mark is there twice"
        seen.add(mark["external_ref"])
        assert mark["name"] == example("create_mark")["name"], "a mark is there by half"
        yield mark
