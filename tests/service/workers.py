"""What workers of tests do; in a module of its own, because the process is spawned and imports it."""

from __future__ import annotations

import os
import signal
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from service.errors import DocumentInvalid
from service.jobs.worker import JobOutcome, JobTask, Progress
from tidecore.errors import Fault

#: When every test of jobs begins.
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def succeed(task: JobTask, _progress: Progress) -> JobOutcome:
    """Write down that the work was done, and return what was given."""
    with (Path(task.place.spool).parent / "done").open("a", encoding="utf-8") as file:
        file.write(f"{task.claim.job_id}\n")
    return JobOutcome(result={"of": task.input["number"]})


def refuse(_task: JobTask, _progress: Progress) -> JobOutcome:
    return JobOutcome(problem={"error": "RecordTooShort", "detail": "too short", "faults": []}, kept={"half": 1})


def fail(task: JobTask, _progress: Progress) -> JobOutcome:
    """Raise what is foreseen for an even number, and what nobody foresaw for an odd one."""
    if task.input["number"] % 2 == 0:
        raise DocumentInvalid(Fault("number", "is even", "an odd one"))
    raise RuntimeError("the inside of it")


def die(_task: JobTask, _progress: Progress) -> JobOutcome:
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def hang(_task: JobTask, _progress: Progress) -> JobOutcome:
    time.sleep(600.0)
    raise AssertionError


def hang_once(task: JobTask, progress: Progress) -> JobOutcome:
    """Hang the first time, after leaving the number of the process; be done the second time."""
    tried = Path(task.place.spool).parent / "pid"
    if tried.exists():
        return succeed(task, progress)
    half = tried.with_suffix(".part")
    half.write_text(str(os.getpid()))
    half.rename(tried)
    return hang(task, progress)


def advance(task: JobTask, progress: Progress) -> JobOutcome:
    """Say how far it is, and go on when a file says so."""
    progress(1, 3, "the first of three")
    while not (Path(task.place.spool).parent / "go").exists():
        time.sleep(0.02)
    progress(3, 3, "all three")
    return succeed(task, progress)


def claim_all(url: str, path: str) -> None:
    """Claim jobs until there are none, and write each into a file of this process; the body of a process."""
    from service.storage.engine import open_engine
    from service.storage.unit import Store

    store = Store(open_engine(url))
    with Path(path).open("w", encoding="utf-8") as file:
        while True:
            with store.queue(writes=True) as queue:
                job = queue.claim(["work"], f"run_{os.getpid()}", NOW, NOW + timedelta(seconds=20))
            if job is None:
                break
            file.write(f"{job.job_id}\n")
    store.close()
