"""Imports of trips and of their catches beside a bare `executemany` of 12 columns, as `imports` does it for marks."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from statistics import median

import orjson

from service.jobs.worker import JobTask, Place
from service.security import LOCAL_CALLER
from service.usecases.documents import Draft
from service.usecases.fits import Upload
from service.usecases.imports import ImportRequest, request_import
from service.usecases.marks import MARKS
from tests.benchmarks.imports import MANY, Peer, Subject, with_others, work
from tests.benchmarks.measure import Report, seconds
from tidecore.place import Mark

_ROWS = 10_000
_REPETITIONS = 5
#: Times that a large file is imported, each beside the peer.
_MANY_REPETITIONS = 2
_NOW = datetime(2026, 6, 1, tzinfo=UTC)
#: Catches of one trip.
_OF_A_TRIP = 5


def trip(number: int) -> bytes:
    """Return a row of an invented trip with one rod."""
    start = datetime(2015, 1, 1, 6, tzinfo=UTC) + timedelta(hours=number % 90_000)
    told = {"start": start.isoformat(), "end": (start + timedelta(hours=4)).isoformat()}
    said = {"mark": "beach", **told, "outcome": "fished", "party": 2, "sea_seen": "slight", "notes": "Invented."}
    return orjson.dumps(
        {"client_ref": f"trip-{number}", "trip": said, "deployments": [{"ref": "d1", "rod": "A", **told}]}
    )


def catch(number: int) -> bytes:
    """Return a row of an invented catch of a trip that is there."""
    of = number // _OF_A_TRIP
    at = datetime(2015, 1, 1, 7, tzinfo=UTC) + timedelta(hours=of % 90_000, minutes=number % _OF_A_TRIP)
    return orjson.dumps(
        {
            "client_ref": f"c{number}", "trip": f"trip-{of}", "at": at.isoformat(), "deployment": "d1",
            "species": {"scientific_name": "Gadus morhua", "fao_code": "COD"},
            "length": {"cm": 40 + number % 30, "kind": "total"}, "fate": "returned", "notes": "Invented.",
        }
    )  # fmt: skip


class Log(Subject):
    """A store with one mark, and imports of its log."""

    def __init__(self, folder: Path) -> None:
        """Make the store and the mark."""
        super().__init__(folder)
        beach = Mark.parse(
            {"name": "Beach", "latitude": 50.5, "longitude": -20.0, "time_zone": "Etc/UTC", "station": "roads",
             "kind": "open_beach"}
        )  # fmt: skip
        MARKS.create(self.house.context, LOCAL_CALLER, Draft(beach, "beach"))

    def queue(self, kind: str, row: Callable[[int], bytes], start: int, count: int = _ROWS) -> JobTask:
        """Queue an import of new rows, and claim its job as a runner does."""
        path = self.folder / "rows.ndjson"
        with path.open("wb") as file:
            file.writelines(row(number) + b"\n" for number in range(start, start + count))
        upload = Upload(path, path.stat().st_size, f"{kind} {start}")
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
    kinds = (("trip", "trips", trip, 1), ("catch", "catches", catch, _OF_A_TRIP))
    with tempfile.TemporaryDirectory() as name:
        log, peer = Log(Path(name)), Peer(Path(name) / "bare.sqlite3")
        large: dict[str, list[float]] = {kind: [] for kind, *_ in kinds}
        small: dict[str, list[float]] = {kind: [] for kind, *_ in kinds}
        for rows, repetitions, found in ((MANY, _MANY_REPETITIONS, large), (_ROWS, _REPETITIONS, small)):
            for repetition in range(repetitions):
                start = (10 + repetition) * rows if rows == MANY else repetition * rows
                for kind, _, row, each in kinds:
                    task = log.queue(kind, row, start * each, rows)
                    ours = seconds(partial(work, with_others(task) if rows == MANY else task))
                    found[kind].append(peer.seconds(rows, start) / ours)
        log.house.close()
    for kind, plural, *_ in kinds:
        ratio = median(large[kind])
        report.add(f"imports of the log: {plural}, in the rate of executemany", ratio, "x", ">= 0.1", ratio >= 0.1)
        name = f"imports of the log: {_ROWS} {plural}, by one process, in the rate of executemany"
        report.add(name, median(small[kind]), "x")
