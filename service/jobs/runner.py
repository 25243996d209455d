"""The runner: takes fits one after another, runs them in a spawned worker process, and never leaves one stuck.

A fit belongs to the runner that took it, under a lease in the store that the runner keeps renewing. A fit whose
lease ran out, because its service died, is marked as failed by whichever runner sees it, the first at start-up.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from service.errors import FitFailed, FitInterrupted, FitTimedOut, ServiceError, WorkerLost
from service.jobs.worker import FitOutcome, FitTask, fit_file, serve_tasks
from service.logs import get_log
from service.storage.identifiers import new_id
from service.storage.plain import encode_error
from service.storage.unit import Store

log = get_log("jobs")

#: A file in the spool folder as old as this belongs to no fit that could still be waiting [s].
_LEFT_LYING_S = 7 * 86400.0

Clock = Callable[[], datetime]


class FitRunner(Protocol):
    """What use cases need of a runner."""

    @property
    def runner_id(self) -> str:
        """Id under which the runner holds its leases."""

    def lease_until(self) -> datetime:
        """Return when a lease taken now runs out."""

    def submit(self, task: FitTask) -> None:
        """Take a fit whose row is committed as queued."""


class WorkerProcess:
    """One spawned process that computes one task at a time, started when first needed."""

    def __init__(self, work: Callable[[FitTask], FitOutcome] = fit_file) -> None:
        """Hold the ``work``, a function at the top of a module."""
        self._work = work
        self._context = multiprocessing.get_context("spawn")
        self._process: multiprocessing.process.BaseProcess | None = None

    def run(self, task: FitTask, limit_s: float, beat: Callable[[], bool], every_s: float) -> FitOutcome:
        """Compute ``task``, calling ``beat`` every ``every_s`` seconds meanwhile.

        Raises
        ------
        WorkerLost, FitTimedOut, FitInterrupted
            If the process dies, runs longer than ``limit_s``, or ``beat`` returns False.
        """
        try:
            self._start()
            self._connection.send(task)
            ends = time.monotonic() + limit_s
            while not self._connection.poll(every_s):
                if not beat():
                    raise FitInterrupted
                if time.monotonic() > ends:
                    raise FitTimedOut(limit_s)
            outcome: FitOutcome = self._connection.recv()
        except (EOFError, OSError) as error:
            self.kill()
            raise WorkerLost from error
        except FitFailed:
            self.kill()
            raise
        return outcome

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        self.kill()
        self._connection, theirs = self._context.Pipe()
        self._process = self._context.Process(
            target=serve_tasks, args=(theirs, self._work), name="ebbmark-fit", daemon=True
        )
        self._process.start()
        # Only the worker may hold its end: its death must read as the end of the file here.
        theirs.close()

    def kill(self) -> None:
        """End the process at once, whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
            self._process = None
            self._connection.close()


class ProcessRunner:
    """Runs fits in one worker process, in the order they came."""

    def __init__(
        self,
        store: Store,
        spool: Path,
        clock: Clock,
        *,
        lease_s: float = 20.0,
        timeout_s: float = 1800.0,
        worker: WorkerProcess | None = None,
    ) -> None:
        """Work on ``store``, with records in ``spool``; ``lease_s`` and ``timeout_s`` in seconds."""
        self._store, self._spool, self._clock = store, spool, clock
        self._lease, self._timeout_s = timedelta(seconds=lease_s), timeout_s
        self._every_s = min(1.0, lease_s / 4)
        self._worker = worker if worker is not None else WorkerProcess()
        self._tasks: queue.SimpleQueue[FitTask | None] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self._runner_id = new_id("run")

    @property
    def runner_id(self) -> str:
        """Id under which the runner holds its leases."""
        return self._runner_id

    def lease_until(self) -> datetime:
        """Return when a lease taken now runs out."""
        return self._clock() + self._lease

    def submit(self, task: FitTask) -> None:
        """Take a fit whose row is committed as queued."""
        self._tasks.put(task)

    def start(self) -> None:
        """Mark what a dead service left as failed, remove what it left lying, and begin to work."""
        self.fail_lost()
        self._tidy()
        for target, name in ((self._work_off, "ebbmark-runner"), (self._keep_leases, "ebbmark-leases")):
            thread = threading.Thread(target=target, name=name, daemon=True)
            thread.start()
            self._threads.append(thread)

    def stop(self) -> None:
        """Stop at once; fits that wait or run are marked as failed."""
        self._stopping.set()
        self._tasks.put(None)
        for thread in self._threads:
            thread.join()
        self._worker.kill()
        try:
            self._fail(self._store.lost_fits(self._clock(), self._runner_id))
        except ServiceError as error:
            # The store is gone too; the leases run out and the next runner marks the fits.
            log.error("fits_left_to_their_leases", reason=str(error))

    def fail_lost(self) -> None:
        """Mark every fit whose lease ran out as failed, and remove its record."""
        self._fail(self._store.lost_fits(self._clock()))

    def _tidy(self) -> None:
        """Remove records that no fit can be waiting for any more: a service that died left them half received."""
        if not self._spool.is_dir():
            return
        latest = time.time() - _LEFT_LYING_S
        for path in self._spool.iterdir():
            with contextlib.suppress(FileNotFoundError):
                if path.is_file() and path.stat().st_mtime < latest:
                    path.unlink()

    def _fail(self, fits: list[tuple[str, str]]) -> None:
        for account_id, fit_id in fits:
            self._end(account_id, fit_id, FitOutcome(problem=encode_error(FitInterrupted())))

    def _keep_leases(self) -> None:
        """Renew leases and look for lost fits, until told to stop; the body of a thread."""
        renew_every = self._lease.total_seconds() / 4
        while not self._stopping.wait(renew_every):
            try:
                self._store.renew_leases(self._runner_id, self.lease_until())
                self.fail_lost()
            except ServiceError as error:
                # A busy store now and then is no reason to stop; the lease outlasts three tries.
                log.warning("lease_not_renewed", reason=str(error))

    def _work_off(self) -> None:
        """Take fits until told to stop; the body of a thread."""
        while (task := self._tasks.get()) is not None and not self._stopping.is_set():
            try:
                self._run(task)
            except Exception:
                log.exception("fit_not_recorded", fit_id=task.fit_id)

    def _run(self, task: FitTask) -> None:
        with self._store.unit(task.account_id, writes=True) as unit:
            started = unit.fits.start(task.fit_id, self._clock())
            unit.commit()
        if not started:
            return
        log.info("fit_started", fit_id=task.fit_id)
        try:
            outcome = self._worker.run(task, self._timeout_s, lambda: not self._stopping.is_set(), self._every_s)
        except FitFailed as error:
            outcome = FitOutcome(problem=encode_error(error))
        self._end(task.account_id, task.fit_id, outcome)

    def _end(self, account_id: str, fit_id: str, outcome: FitOutcome) -> None:
        with self._store.unit(account_id, writes=True) as unit:
            if outcome.model is not None and outcome.report is not None:
                unit.fits.finish(fit_id, report=outcome.report, model=outcome.model, now=self._clock())
            else:
                unit.fits.fail(fit_id, outcome.problem or {}, self._clock(), outcome.report)
            unit.commit()
        with contextlib.suppress(FileNotFoundError):
            (self._spool / fit_id).unlink()
        if outcome.trace is not None:
            log.error("fit_broke", fit_id=fit_id, trace=outcome.trace)
        log.info("fit_ended", fit_id=fit_id, error=None if outcome.problem is None else outcome.problem["error"])
