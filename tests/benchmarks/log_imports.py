"""Imports of trips and of their catches beside a bare `executemany` of the same columns, as `imports` has of marks."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from statistics import median
from typing import Any

import orjson

from service.jobs.worker import JobTask, Place
from service.security import LOCAL_CALLER
from service.usecases.documents import Draft
from service.usecases.fits import Upload
from service.usecases.imports import ImportRequest, request_import
from service.usecases.marks import MARKS
from tests.benchmarks.imports import MANY, Cells, Peer, Subject, with_others, work
from tests.benchmarks.measure import Report, seconds
from tidecore.place import Mark

_ROWS = 10_000
_REPETITIONS = 5
#: Times that a large file is imported, each beside the peer.
_MANY_REPETITIONS = 2
_NOW = datetime(2026, 6, 1, tzinfo=UTC)
#: Catches of one trip.
_OF_A_TRIP = 5


#: The fields of a trip with one rod, and of a catch; with the number of its row either has twelve columns.
OF_TRIPS = (
    *("client_ref", "trip.mark", "trip.start", "trip.end", "trip.outcome", "trip.party", "trip.notes"),
    *("deployment.ref", "deployment.rod", "deployment.start", "deployment.end"),
)
OF_CATCHES = (
    *("client_ref", "trip", "at", "precision_min", "deployment", "species.scientific_name", "species.fao_code"),
    *("length.cm", "length.kind", "fate", "notes"),
)


def trips(wanted: int, start: int) -> Iterator[Cells]:
    """Yield invented trips with one rod."""
    for number in range(start, start + wanted):
        begin = datetime(2015, 1, 1, 6, tzinfo=UTC) + timedelta(hours=number % 90_000)
        told = (begin.isoformat(), (begin + timedelta(hours=4)).isoformat())
        yield (f"trip-{number}", "beach", *told, "fished", 2, "Invented.", "d1", "A", *told)


def catches(wanted: int, start: int) -> Iterator[Cells]:
    """Yield invented catches of trips that are there."""
    for number in range(start, start + wanted):
        of = number // _OF_A_TRIP
        at = datetime(2015, 1, 1, 7, tzinfo=UTC) + timedelta(hours=of % 90_000, minutes=number % _OF_A_TRIP)
        yield (
            *(f"c{number}", f"trip-{of}", at.isoformat(), 5, "d1", "Gadus morhua", "COD"),
            *(40 + number % 30, "total", "returned", "Invented."),
        )


def lines(columns: Sequence[str], given: Iterable[Cells]) -> Iterator[bytes]:
    """Yield rows as lines of NDJSON; the fields of a deployment are those of the only one."""
    for cells in given:
        document: dict[str, Any] = {}
        for column, cell in zip(columns, cells, strict=True):
            of, _, name = column.rpartition(".")
            (document.setdefault(of, {}) if of else document)[name] = cell
        if "deployment.ref" in columns:
            document["deployments"] = [document.pop("deployment")]
        yield orjson.dumps(document) + b"\n"


class Log(Subject):
    """A store with one mark, and imports of its log."""

    def __init__(self, folder: Path) -> None:
        """Make the store and the mark."""
        super().__init__(folder)
        self._numbers = count()
        beach = Mark.parse(
            {"name": "Beach", "latitude": 50.5, "longitude": -20.0, "time_zone": "Etc/UTC", "station": "roads",
             "kind": "open_beach"}
        )  # fmt: skip
        MARKS.create(self.house.context, LOCAL_CALLER, Draft(beach, "beach"))

    def queue(self, kind: str, columns: Sequence[str], given: Iterable[Cells]) -> JobTask:
        """Queue an import of new rows, and claim its job as a runner does."""
        path = self.folder / "rows.ndjson"
        with path.open("wb") as file:
            file.writelines(lines(columns, given))
        upload = Upload(path, path.stat().st_size, f"{kind} {next(self._numbers)}")
        request_import(self.house.context, LOCAL_CALLER, upload, ImportRequest(kind, "ndjson", False))
        with self.house.store.queue(writes=True) as queue:
            job = queue.claim(["import"], "run_bench", _NOW, _NOW + timedelta(days=1))
        assert job is not None
        settings = self.house.settings
        place = Place(str(settings.spool_folder), settings.max_upload_bytes, settings.database_url)
        return JobTask(job.claim, dict(job.input), place)


def run(report: Report) -> None:
    """Print the rates of trips and of catches in that of the peer."""
    of = f"1,000 a transaction, {_OF_A_TRIP} catches a trip"
    report.heading(f"imports of the log: {of}, {MANY // 1000} thousand in a file")
    kinds = (("trip", "trips", OF_TRIPS, trips, 1), ("catch", "catches", OF_CATCHES, catches, _OF_A_TRIP))
    with tempfile.TemporaryDirectory() as name:
        log, peer = Log(Path(name)), Peer(Path(name) / "bare.sqlite3")
        large: dict[str, list[float]] = {kind: [] for kind, *_ in kinds}
        small: dict[str, list[float]] = {kind: [] for kind, *_ in kinds}
        for size, repetitions, found in ((MANY, _MANY_REPETITIONS, large), (_ROWS, _REPETITIONS, small)):
            for repetition in range(repetitions):
                start = (10 + repetition) * size if size == MANY else repetition * size
                for kind, _, columns, rows, each in kinds:
                    given = list(rows(size, start * each))
                    task = log.queue(kind, columns, given)
                    ours = seconds(partial(work, with_others(task) if size == MANY else task))
                    found[kind].append(peer.seconds(columns, given) / ours)
        log.house.close()
    for kind, plural, *_ in kinds:
        ratio = median(large[kind])
        report.add(f"imports of the log: {plural}, in the rate of executemany", ratio, "x", ">= 0.1", ratio >= 0.1)
        name = f"imports of the log: {_ROWS} {plural}, by one process, in the rate of executemany"
        report.add(name, median(small[kind]), "x")
