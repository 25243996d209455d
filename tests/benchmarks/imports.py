"""Imports of marks beside a bare `executemany` of the same rows, 1,000 a transaction, WAL and FULL on both sides."""

from __future__ import annotations

import multiprocessing
import resource
import sqlite3
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median

from service.bootstrap import House
from service.jobs.worker import JobTask, Place
from service.security import LOCAL_CALLER
from service.settings import Settings
from service.usecases.fits import Upload
from service.usecases.importing import import_rows
from service.usecases.imports import ImportRequest, request_import
from service.usecases.stations import NewStation, create_station
from tests.benchmarks.measure import Report, seconds

_ROWS = 10_000
_REPETITIONS = 5
#: Times that a large file is imported, each beside the peer.
_MANY_REPETITIONS = 3
#: Rows of a file that is large enough for others to check them.
MANY = 200_000
#: The fields of a mark; with the number of its row they are twelve columns.
_COLUMNS = (
    *("client_ref", "name", "latitude", "longitude", "time_zone", "station", "kind", "beds"),
    *("slack_lags.after_hw_min", "slack_lags.after_lw_min", "notes"),
)
_NOW = datetime(2026, 6, 1, tzinfo=UTC)

Cells = tuple[str | float, ...]


def rows(wanted: int, start: int = 0) -> Iterator[Cells]:
    """Yield invented marks."""
    for number in range(start, start + wanted):
        place = (round(50 + number % 1000 / 1000, 3), round(-20 + number % 977 / 1000, 3))
        yield (
            f"spot-{number}", f"Spot {number}", *place, "Etc/UTC", "roads", "open_beach", "clean_sand;mud",
            25.0, 35.0, "Invented for the benchmark.",
        )  # fmt: skip


class Subject:
    """A store with one station, and imports into it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.house = House(Settings(auth="open", store=str(folder / "store"), log_level="error"))
        self.house.open(with_runner=False)
        create_station(self.house.context, LOCAL_CALLER, NewStation("Roads", 50.5, None, "Etc/UTC", "roads", None))

    def prepare(self, count: int, start: int) -> JobTask:
        """Queue an import of new rows, and claim its job as a runner does."""
        path = self.folder / "rows.csv"
        with path.open("w", encoding="utf-8") as file:
            file.write(",".join(_COLUMNS) + "\n")
            file.writelines(",".join(map(str, row)) + "\n" for row in rows(count, start))
        upload = Upload(path, path.stat().st_size, f"{count} {start}")
        request_import(self.house.context, LOCAL_CALLER, upload, ImportRequest("mark", "csv", False))
        with self.house.store.queue(writes=True) as queue:
            job = queue.claim(["import"], "run_bench", _NOW, _NOW + timedelta(days=1))
        assert job is not None
        settings = self.house.settings
        place = Place(str(settings.spool_folder), settings.max_upload_bytes, settings.database_url)
        return JobTask(job.claim, dict(job.input), place)


def work(task: JobTask) -> None:
    """Do an import here and now."""
    outcome = import_rows(task, lambda _done, _total, _note: None)
    assert outcome.problem is None, outcome.problem


def bare(path: Path, table: str, columns: Sequence[str], given: Sequence[Cells]) -> None:
    """Write rows into a table of their number and their columns."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    named = ", ".join(name.replace(".", "_") for name in columns)
    connection.execute(f"CREATE TABLE {table} (row INTEGER PRIMARY KEY, {named})")
    places = ", ".join("?" * (1 + len(columns)))
    for start in range(0, len(given), 1000):
        connection.execute("BEGIN")
        numbered = [(start + place, *row) for place, row in enumerate(given[start : start + 1000])]
        connection.executemany(f"INSERT INTO {table} VALUES ({places})", numbered)
        connection.execute("COMMIT")
    connection.close()


class Peer:
    """A bare store beside ours: rows go into a new table each time."""

    def __init__(self, path: Path) -> None:
        self._path, self._tables = path, count()

    def seconds(self, columns: Sequence[str], given: Sequence[Cells]) -> float:
        """Return how long it takes to write rows of these columns."""
        return seconds(partial(bare, self._path, f"rows_{next(self._tables)}", columns, given))


def peak_of(task: JobTask, connection: Connection) -> None:
    """Do an import in a process of its own, and send its peak memory, and that of any process it started [MB]."""
    work(task)
    # Linux counts the peak of whoever started the process into ru_maxrss; VmHWM is its own alone.
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    own = [int(line.split()[1]) / 1024.0 for line in lines if line.startswith("VmHWM")]
    unit = 1024.0 * (1024.0 if sys.platform == "darwin" else 1.0)
    mine, others = (
        resource.getrusage(who).ru_maxrss / unit for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    connection.send((own[0] if own else mine, others))


def peak(task: JobTask, judges: int = 1) -> tuple[float, float]:
    """Return the peak memory of a process that does an import, and of those ``judges`` that check its rows [MB]."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    task = replace(task, place=replace(task.place, plan_workers=judges))
    process = context.Process(target=peak_of, args=(task, theirs))
    process.start()
    theirs.close()
    found: tuple[float, float] = ours.recv()
    process.join()
    return found


def with_others(task: JobTask) -> JobTask:
    """Return an import whose rows are checked by other processes, one for each processor, where it is large."""
    return replace(task, place=replace(task.place, plan_workers=0))


def run(report: Report) -> None:
    """Print the rate in that of the peer, and the peak memory of a small and of a large import."""
    with tempfile.TemporaryDirectory() as name:
        subject, peer = Subject(Path(name)), Peer(Path(name) / "bare.sqlite3")
        report.heading(f"imports: marks of 12 columns, 1,000 a transaction, {MANY // 1000} thousand in a file")
        ratios = []
        for repetition in range(_MANY_REPETITIONS):
            start = (10 + repetition) * MANY
            ours = seconds(partial(work, with_others(subject.prepare(MANY, start))))
            ratios.append(peer.seconds(_COLUMNS, list(rows(MANY, start))) / ours)
        report.add("imports: rows a second, the last time", MANY / ours, "1/s")
        ratio = median(ratios)
        report.add("imports: rate, in that of executemany", ratio, "x", ">= 0.1", ratio >= 0.1)
        mine, theirs = [], []
        for repetition in range(-1, _REPETITIONS):
            start = (repetition + 1) * _ROWS
            mine.append(seconds(partial(work, subject.prepare(_ROWS, start))))
            theirs.append(peer.seconds(_COLUMNS, list(rows(_ROWS, start))))
        small = median(theirs[1:]) / median(mine[1:])
        report.add(f"imports: {_ROWS} rows, by one process, in the rate of executemany", small, "x")
        start = (_REPETITIONS + 2) * _ROWS
        few, _ = peak(subject.prepare(10_000, start))
        large, _ = peak(subject.prepare(100_000, start + 10_000))
        subject.house.close()
    report.add("imports: peak memory of 10 thousand rows", few, "MB")
    report.add("imports: peak memory of 100 thousand rows", large, "MB", "<= 1.1 x that", large <= 1.1 * few)
