"""A server process, or the database behind it, killed in the middle of writes; writers who know what they were told.

What is shown is what a store keeps when its process crashes. It is not what a power loss leaves: the system goes on,
and what a process wrote before it died reaches the disk.
"""

from __future__ import annotations

import http.client
import json
import os
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from random import Random
from types import TracebackType
from typing import Any, Self

from tests.conftest import ROOT
from tests.faults.writers import BEACH, PATHS, Connection, Sender, Writer, read_changes, read_pages
from tests.postgres.cluster import Cluster
from tests.service.coast import example
from tests.service.conftest import settings_for
from tests.service.processes import free_port

_COMMAND = [sys.executable, "-W", "error", "-c", "from service.cli import app; app()", "serve"]
_START_S = 60.0
_BETWEEN = (5, 25)
_WHILE_S = 0.06
#: Writers at once; each has at most one write that was not acknowledged when the process is killed.
WRITERS = 3


@dataclass(frozen=True)
class Told:
    """What a run of kills came to."""

    kills: int
    acknowledged: int
    unacknowledged: int
    things: int

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.acknowledged} acknowledged writes, {self.unacknowledged} that were not and were"
            f" sent again, {self.things} things there at the end"
        )


class Served:
    """``ebbmark serve`` as a process of its own over the store of a folder; without demo, and without jobs unless
    workers are given."""

    def __init__(self, folder: Path, **changes: Any) -> None:
        self._settings = settings_for(folder, **{"workers": 0, **changes})
        self._log = folder / "serve.log"
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.kill()

    def start(self) -> None:
        """Start the process, and wait until it is ready."""
        stated = {name: value for name, value in self._settings.model_dump().items() if value is not None}
        environment = {
            **os.environ,
            **{f"EBBMARK_{name.upper()}": str(value) for name, value in stated.items()},
            "EBBMARK_PORT": str(self.port),
        }
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(_COMMAND, cwd=ROOT, env=environment, stdout=log, stderr=log)
        self._await()

    def _await(self) -> None:
        """Wait until the process says that it is ready."""
        assert self._process is not None
        ends = time.monotonic() + _START_S
        while not self._ready():
            assert self._process.poll() is None, self._log.read_text()
            assert time.monotonic() < ends, f"it does not come up: {self._log.read_text()}"
            time.sleep(0.02)

    def kill(self) -> None:
        """End the process at once (SIGKILL)."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def check_file(self) -> None:
        """Have SQLite look at every page and reference of the store; another database has no file to look at."""
        path = self._settings.database_url.partition("sqlite+pysqlite:///")[2]
        if path:
            with closing(sqlite3.connect(path)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                assert connection.execute("PRAGMA foreign_key_check").fetchall() == []

    def _ready(self) -> bool:
        try:
            with closing(Connection(self.port)) as connection:
                return connection.send("GET", "/v1/health/ready").status == 200
        except (OSError, http.client.HTTPException):
            return False


class ServedFromCluster(Served):
    """A service that stays up while the cluster behind it is killed and comes back."""

    def __init__(self, folder: Path, cluster: Cluster) -> None:
        super().__init__(folder)
        self._cluster = cluster

    def __exit__(self, *_: object) -> None:
        super().kill()

    def start(self) -> None:
        """Start what does not run, and wait until the service is ready."""
        if self._process is None:
            super().start()
        else:
            self._cluster.start()
            self._await()

    def kill(self) -> None:
        """End the server of the database at once (SIGKILL)."""
        self._cluster.kill()


def run_kills(folder: Path, kills: int, seed: int, target: Served | None = None) -> Told:
    """Kill the server ``kills`` times while writers write, and look each time at what is there after its restart.

    The server is the service itself, or what is behind the ``target`` given.

    A kill comes a random while, about as long as a few writes, after a random number of acknowledged ones: as many
    writes come between two kills on a slow machine as on a fast one.
    """
    chance = Random(seed)
    with target or Served(folder) as served, ThreadPoolExecutor(WRITERS) as pool:
        with closing(Connection(served.port)) as connection:
            station = make_shore(connection)
        writers = [Writer(number, Random(f"{seed} {number}"), station) for number in range(WRITERS)]
        unacknowledged = 0
        for _ in range(kills):
            wanted = sum(writer.acknowledged for writer in writers) + chance.randint(*_BETWEEN)
            written = [pool.submit(writer.write, served.port) for writer in writers]
            while sum(writer.acknowledged for writer in writers) < wanted and not all(one.done() for one in written):
                time.sleep(0.001)
            time.sleep(chance.uniform(0.0, _WHILE_S))
            served.kill()
            for one in written:
                one.result()
            unacknowledged += sum(writer.pending is not None for writer in writers)
            served.check_file()
            served.start()
            with closing(Connection(served.port)) as connection:
                check_store(connection, writers)
        acknowledged = sum(writer.acknowledged for writer in writers)
        things = sum(len(writer.living) for writer in writers)
    return Told(kills, acknowledged, unacknowledged, things)


def make_shore(connection: Sender) -> str:
    """Make the station of the marks that are written, and the mark that trips are of; return the station's id."""
    made = connection.send("POST", "/v1/stations", example("create_station"))
    assert made.status == 201, made.text
    station: str = json.loads(made.text)["id"]
    beach = connection.send("POST", "/v1/marks", {**example("create_mark"), "station": station, "external_ref": BEACH})
    assert beach.status == 201, beach.text
    return station


def check_store(connection: Sender, writers: list[Writer]) -> None:
    """Fail unless every acknowledged record is there once, none twice and none half; unacknowledged ones are sent
    again first."""
    for writer in writers:
        writer.look_back(connection)
    living: dict[str, Any] = {thing.id: thing for writer in writers for thing in writer.living}
    gone = {key for writer in writers for key in writer.gone}
    found = [item for path in PATHS.values() for item in read_pages(connection, path)]
    (beach,) = [item["id"] for item in found if item["external_ref"] == BEACH]
    found = [item for item in found if item["id"] != beach]
    assert sorted(item["id"] for item in found) == sorted(living), "a record is missing, or there twice"
    for item in found:
        living[item["id"]].check(item)
    changes = [one for one in read_changes(connection) if one["kind"] != "station" and one["id"] != beach]
    assert len({one["id"] for one in changes}) == len(changes), "a thing is listed twice among the changes"
    listed = {one["id"]: one for one in changes}
    assert set(listed) == set(living) | gone
    for key, one in listed.items():
        if key in gone:
            assert (one["change"], one["version"]) == ("deleted", None), one
        else:
            assert one["change"] == ("created" if living[key].version == 1 else "updated"), one
            assert one["version"] == living[key].version, one
    for writer in writers:
        writer.read_versions(connection)
