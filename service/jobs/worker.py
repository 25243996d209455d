"""What runs in the worker process: the only place of the service that reads gauge records and fits them.

The process is spawned, never forked, and imports the heavy libraries itself; only plain data crosses.
"""

from __future__ import annotations

import signal
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from service.errors import FitBroke
from service.storage.plain import encode_error, plain
from tidecore.errors import CoreError


@dataclass(frozen=True, slots=True)
class FitTask:
    """One record to fit: where it lies, what is said about it, and how to fit it."""

    fit_id: str
    account_id: str
    path: str
    latitude: float
    station: str
    file_format: str | None = None
    max_bytes: int = 64 * 1024 * 1024
    hints: dict[str, Any] = field(default_factory=dict)
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FitOutcome:
    """How a fit ended: a model with its report, or a problem. ``trace`` is for the log alone."""

    model: dict[str, Any] | None = None
    report: dict[str, Any] | None = None
    problem: dict[str, Any] | None = None
    trace: str | None = None


def fit_file(task: FitTask) -> FitOutcome:
    """Read the record of ``task``, fit it, and return the outcome as plain data; what goes wrong is in it too."""
    report: dict[str, Any] | None = None
    try:
        from tidecore.gauges import read_gauge
        from tidecore.model import fit

        record = read_gauge(Path(task.path), format=task.file_format, max_bytes=task.max_bytes, **task.hints)
        report = {"record": plain(dict(record.attrs)), "diagnostics": None}
        model = fit(record, latitude=task.latitude, station=task.station, **task.options)
        diagnostics = None if model.diagnostics is None else plain(asdict(model.diagnostics))
        report = {"record": report["record"], "diagnostics": diagnostics}
        return FitOutcome(model=plain(model.to_document()), report=report)
    except CoreError as error:
        return FitOutcome(problem=encode_error(error), report=report)
    except MemoryError:
        return FitOutcome(problem=encode_error(FitBroke()), report=report, trace="MemoryError")
    except Exception:
        return FitOutcome(problem=encode_error(FitBroke()), report=report, trace=traceback.format_exc())


def serve_tasks(connection: Connection, work: Callable[[FitTask], FitOutcome]) -> None:
    """Answer tasks from ``connection`` until it closes; the body of the worker process."""
    # An interrupt at the terminal reaches the whole group; the service decides when its worker stops.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    while True:
        try:
            task = connection.recv()
            connection.send(work(task))
        except (EOFError, OSError):
            # The service is gone, and nobody waits for an outcome.
            return
