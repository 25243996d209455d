"""Imports whose server is killed while it works on them: no row is lost, none is there twice, none half.

Marks, trips and catches in turn; the catches are of trips that were imported before.
"""

from __future__ import annotations

import json
import time
import urllib.request
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from tests.faults.killing import Served
from tests.faults.writers import Connection, read_pages
from tests.service.coast import example

_STATION, _BEACH = "pellwick-roads", "beach"
KINDS = ("mark", "trip", "catch")
_DAY = "2024-06-01"
_NOTES = "Invented."
#: Catches of one trip.
_OF_A_TRIP = 250
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


def run_import_kills(folder: Path, kills: int, rows: int, seed: int, of_one: int = MOST_KILLS_OF_ONE) -> ImportsTold:
    """Kill the server ``kills`` times while it imports files of ``rows``, ``of_one`` times each; look what is there.

    Lines of the report that were read before a kill stand after it as they did.
    """
    chance = Random(seed)
    done = imports = seen_before = 0
    with Served(folder, workers=1, job_lease_s=1.0) as served:
        with closing(Connection(served.port)) as connection:
            for path, body in (
                ("/v1/stations", {**example("create_station"), "external_ref": _STATION}),
                ("/v1/marks", {**example("create_mark"), "station": _STATION, "external_ref": _BEACH}),
            ):
                made = connection.send("POST", path, body)
                assert made.status == 201, made.text
        while done < kills:
            kind = KINDS[imports % len(KINDS)]
            if kind == "catch":
                with closing(Connection(served.port)) as connection:
                    trips = _send(served.port, "trip", (_trip(f"of-{imports}-{of}") for of in _trips_of(rows)))
                    _await(connection, trips, None)
            place = _send(served.port, kind, (_row(kind, imports, row) for row in range(rows)))
            imports += 1
            for _ in range(min(of_one, kills - done)):
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
                _check(connection, place, kind, imports, rows)
    return ImportsTold(done, imports, imports * rows, seen_before)


def _row(kind: str, number: int, row: int) -> dict[str, Any]:
    """Return a row that nobody has sent yet."""
    reference = f"{number}-{row}"
    if kind == "mark":
        plain = {name: value for name, value in example("create_mark").items() if name != "external_ref"}
        return {**plain, "client_ref": reference, "station": _STATION}
    if kind == "trip":
        return _trip(reference)
    species = {"scientific_name": "Gadus morhua", "fao_code": "COD"}
    said = {"at": f"{_DAY}T19:00:00Z", "species": species, "fate": "returned", "notes": _NOTES}
    return {"client_ref": reference, "trip": f"of-{number}-{row // _OF_A_TRIP}", **said}


def _trip(reference: str) -> dict[str, Any]:
    told = {"start": f"{_DAY}T18:00:00Z", "end": f"{_DAY}T22:00:00Z", "outcome": "fished", "notes": _NOTES}
    return {"client_ref": reference, "trip": {"mark": _BEACH, **told}}


def _trips_of(rows: int) -> range:
    return range(-(-rows // _OF_A_TRIP))


def _send(port: int, kind: str, rows: Iterable[Mapping[str, Any]]) -> str:
    """Send an import, and return its address."""
    content = b"".join(json.dumps(row).encode() + b"\n" for row in rows)
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/v1/imports?kind={kind}", content, {"content-type": "application/x-ndjson"}
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


def _check(connection: Connection, place: str, kind: str, imports: int, count: int) -> None:
    """Fail unless every row of an ended import made one thing, and every import of its kind before it too."""
    lines = list(read_pages(connection, f"{place}/rows"))
    assert [line["row"] for line in lines] == list(range(1, count + 1)), "a line is missing, or there twice"
    assert {line["status"] for line in lines} == {"created"}
    found = dict(_once(_there(connection, kind)))
    numbers = range(KINDS.index(kind), imports, len(KINDS))
    assert sorted(found) == sorted(f"{number}-{row}" for number in numbers for row in range(count))
    for line in lines:
        assert found[line["client_ref"]] == line["id"], line


def _there(connection: Connection, kind: str) -> Iterator[tuple[str, str]]:
    """Yield what there is of a kind by its name, with the id that its line tells; those by half fail."""
    if kind == "mark":
        for mark in read_pages(connection, "/v1/marks"):
            assert mark["name"] == example("create_mark")["name"], "a mark is there by half"
            if mark["external_ref"] != _BEACH:
                yield mark["external_ref"], mark["id"]
        return
    for trip in read_pages(connection, "/v1/trips"):
        assert trip["record"]["trip"]["notes"] == _NOTES, "a trip is there by half"
        of_catches = trip["external_ref"].startswith("of-")
        if kind == "trip" and not of_catches:
            yield trip["external_ref"], trip["id"]
        if kind == "catch" and of_catches:
            for caught in trip["record"]["catches"]:
                assert caught["notes"] == _NOTES, "a catch is there by half"
                yield caught["ref"], trip["id"]


def _once(found: Iterator[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    seen: set[str] = set()
    for name, key in found:
        assert name not in seen, f"{name} is there twice"
        seen.add(name)
        yield name, key
