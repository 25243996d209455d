"""What crosses to a worker process and back, and the body of that process; knows no database and no kind of job.

The process is spawned, never forked; only plain data and the name of a function cross.
"""

from __future__ import annotations

import os
import signal
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from typing import Any

from service.errors import JobBroke, ServiceError
from service.storage.plain import encode_error
from service.storage.records import Claim
from tidecore.errors import CoreError

#: Says how far a job is: how much is done, of how much (None where that is not known), and with what it is busy.
Progress = Callable[[int, int | None, str], None]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a worker finds what is not in the input of a job: settings of the process that runs it."""

    spool: str
    max_record_bytes: int = 64 * 1024 * 1024
    database_url: str = field(default="", repr=False)
    plan_workers: int = 1
    dask_scheduler: str | None = None
    kept_plans: int = 3


@dataclass(frozen=True, slots=True)
class JobTask:
    """A job to do: by what right, and with what input."""

    claim: Claim
    input: dict[str, Any]
    place: Place


@dataclass(frozen=True, slots=True)
class JobOutcome:
    """How the work ended.

    ``result`` is what the job shows; ``problem`` says why there is none, and then the job has failed for good;
    ``kept`` is for the kind's own tables; ``trace`` is for the log alone.
    """

    result: dict[str, Any] | None = None
    problem: dict[str, Any] | None = None
    kept: dict[str, Any] | None = None
    trace: str | None = None


Work = Callable[[JobTask, Progress], JobOutcome]


def do_work(work: Work, task: JobTask, progress: Progress) -> JobOutcome:
    """Return the outcome of ``work``; an error it did not say itself is in the outcome too."""
    try:
        return work(task, progress)
    except (CoreError, ServiceError) as error:
        return JobOutcome(problem=encode_error(error))
    except MemoryError:
        return JobOutcome(problem=encode_error(JobBroke()), trace="MemoryError")
    except Exception as error:
        # Without what it says, which may hold what the log must not: positions, levels, names.
        places = "".join(traceback.format_tb(error.__traceback__))
        return JobOutcome(problem=encode_error(JobBroke()), trace=f"{places}{type(error).__qualname__}")


def serve_tasks(connection: Connection) -> None:
    """Answer pairs of work and task from ``connection`` until it closes; the body of the worker process."""
    # An interrupt at the terminal reaches the whole group; the runner decides when its worker stops.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent()

    def progress(done: int, total: int | None, note: str) -> None:
        connection.send({"done": done, "total": total, "note": note})

    while True:
        try:
            work, task = connection.recv()
            connection.send(do_work(work, task, progress))
        except (EOFError, OSError):
            # The runner is gone, and nobody waits for an outcome.
            return


def end_with_parent() -> None:
    """Have this process end when the one that started it has died: its job is another's to take then."""
    threading.Thread(target=_wait_for_parent, daemon=True).start()


def _wait_for_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
