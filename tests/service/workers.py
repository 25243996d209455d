"""What workers of tests do; in a module of its own, because the process is spawned and imports it."""

from __future__ import annotations

import os
import signal
import time

from service.jobs.worker import FitOutcome, FitTask


def succeed(task: FitTask) -> FitOutcome:
    return FitOutcome(model={"of": task.fit_id}, report={"record": {}, "diagnostics": None})


def refuse(task: FitTask) -> FitOutcome:
    return FitOutcome(problem={"error": "RecordTooShort", "detail": "too short", "faults": []}, report={"record": {}})


def die(_task: FitTask) -> FitOutcome:
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def hang(_task: FitTask) -> FitOutcome:
    time.sleep(600.0)
    raise AssertionError
