"""The runner: claims jobs in the store, has worker processes do them, and never leaves one stuck.

A job belongs to the runner that claimed it, under a lease that the runner keeps renewing. When a runner falls silent,
any other takes its jobs, `MOST_ATTEMPTS` times in all. Whatever a runner writes about a job it writes on condition
that the claim is still its own, so that one that was only slow cannot end what another has begun again.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Protocol

from service.errors import JobInterrupted, JobTimedOut, ServiceError, WorkerLost
from service.jobs.kinds import KINDS, Kinds, remove_spooled, spooled_name
from service.jobs.process import Died, Halted, Overrun, WorkerProcess
from service.jobs.worker import JobOutcome, JobTask, Place
from service.logs import get_log
from service.storage.identifiers import new_id
from service.storage.plain import encode_error
from service.storage.records import CANCELLED, DONE, FAILED, JobRecord
from service.storage.repositories.jobs import MOST_ATTEMPTS
from service.storage.unit import Store

log = get_log("jobs")

#: A file in the spool folder as old as this, and of no job that waits or runs, was left by a service that died [s].
_LEFT_LYING_S = 7 * 86400.0
#: How often a runner with nothing to do looks for jobs that other processes queued [s].
_POLL_S = 1.0
#: How often a runner makes its round, the first time when it starts [s].
_ROUND_S = 3600.0

Clock = Callable[[], datetime]


class JobRunner(Protocol):
    """What use cases need of a runner."""

    def wake(self) -> None:
        """Look for jobs now: one has been committed."""


@dataclass(slots=True)
class _Held:
    """A job that this runner works on; the thread that renews the leases says in it what has become of it."""

    job: JobRecord
    progress: Mapping[str, Any] | None = None
    told: Mapping[str, Any] | None = None
    cancelled: bool = False
    lost: bool = False


class ProcessRunner:
    """Runs jobs in a number of worker processes, oldest first; a thread of this process looks after each."""

    def __init__(
        self,
        store: Store,
        place: Place,
        clock: Clock,
        *,
        workers: int = 1,
        lease_s: float = 20.0,
        timeout_s: float = 1800.0,
        kinds: Kinds = KINDS,
        only: Collection[str] | None = None,
        look_round: Callable[[], None] = lambda: None,
    ) -> None:
        """Work on ``store``, with uploaded files in the spool folder of ``place``; nothing is started yet.

        ``only`` are the kinds that are claimed, all of them unless given. ``look_round`` queues what nobody asked for
        and is wanted nevertheless.
        """
        self._look_round = look_round
        self._store, self._place, self._clock, self._kinds = store, place, clock, kinds
        self._only = list(kinds if only is None else only)
        self._workers, self._lease, self._timeout_s = workers, timedelta(seconds=lease_s), timeout_s
        self._every_s = min(1.0, lease_s / 4)
        self._changed = threading.Condition()
        self._waking = 0
        self._stopping = threading.Event()
        self._held: dict[str, _Held] = {}
        self._threads: list[threading.Thread] = []
        self.runner_id = new_id("run")

    def wake(self) -> None:
        """Look for jobs now: one has been committed."""
        with self._changed:
            self._waking += 1
            self._changed.notify_all()

    def start(self) -> None:
        """End what was tried too often, remove what a dead service left lying, and begin to work."""
        self.end_lost()
        self._tidy()
        bodies = [(self._keep_leases, "ebbmark-leases"), (self._make_rounds, "ebbmark-rounds")]
        bodies += [(self._work_off, f"ebbmark-runner-{number}") for number in range(self._workers)]
        for target, name in bodies:
            thread = threading.Thread(target=target, name=name, daemon=True)
            thread.start()
            self._threads.append(thread)

    def stop(self) -> None:
        """Stop at once; jobs that run are queued again, and the attempt does not count."""
        self._stopping.set()
        self.wake()
        for thread in self._threads:
            thread.join()
        self._threads.clear()

    def end_lost(self) -> None:
        """End every job whose runner fell silent and that may not be tried again."""
        now = self._clock()
        with self._store.queue() as queue:
            lost = queue.lost(now)
        for job in lost:
            problem = encode_error(JobInterrupted(job.attempts))
            with self._store.queue(writes=True) as queue:
                ended = queue.end_lost(job, problem, now)
            if ended:
                remove_spooled(self._kinds, Path(self._place.spool), job)
                log.error("job_given_up", job_id=job.job_id, kind=job.kind, attempts=job.attempts)

    def _tidy(self) -> None:
        """Remove old files that no job waits for: a service that died left them half received."""
        spool = Path(self._place.spool)
        latest = time.time() - _LEFT_LYING_S
        old = []
        for path in spool.iterdir() if spool.is_dir() else ():
            with contextlib.suppress(FileNotFoundError):
                if path.is_file() and path.stat().st_mtime < latest:
                    old.append(path)
        if old:
            with self._store.queue() as queue:
                wanted = {spooled_name(self._kinds, kind, given) for kind, given in queue.active_inputs()}
            for path in old:
                if path.name not in wanted:
                    path.unlink(missing_ok=True)

    def _keep_leases(self) -> None:
        """Renew leases, pass on progress, hear of cancelling, and end lost jobs, until told to stop."""
        looked = time.monotonic()
        while not self._stopping.wait(self._every_s):
            try:
                self._renew()
                if time.monotonic() - looked > self._lease.total_seconds() / 4:
                    looked = time.monotonic()
                    self.end_lost()
            except ServiceError as error:
                # A busy store now and then is no reason to stop; the lease outlasts several tries.
                log.warning("lease_not_renewed", reason=str(error))
            except Exception:
                # Nor is an error that nobody foresaw: without this thread every job of the runner would be lost.
                log.exception("lease_not_renewed")

    def _make_rounds(self) -> None:
        """Look round now and every hour, until told to stop."""
        while True:
            try:
                self._look_round()
            except ServiceError as error:
                log.warning("no_round_made", reason=str(error))
            except Exception:
                log.exception("no_round_made")
            if self._stopping.wait(_ROUND_S):
                return

    def _renew(self) -> None:
        held = list(self._held.values())
        if not held:
            return
        with self._store.queue(writes=True) as queue:
            still = queue.renew([one.job.claim for one in held], self._clock() + self._lease)
        for one in held:
            one.cancelled = still.get(one.job.job_id, False)
            one.lost = one.job.job_id not in still
            if one.progress is not one.told and not one.lost:
                self._tell_progress(one)

    def _tell_progress(self, held: _Held) -> None:
        said = held.progress
        with self._store.unit(held.job.account_id, writes=True) as unit:
            unit.jobs.report(held.job.claim, said, self._clock())
            unit.commit()
        held.told = said

    def _work_off(self) -> None:
        """Claim and do jobs until told to stop; the body of a thread, with a worker process of its own."""
        worker = WorkerProcess()
        try:
            while not self._stopping.is_set():
                seen = self._waking
                if not self._do_next(worker):
                    self._rest(seen)
        finally:
            worker.kill()

    def _rest(self, seen: int) -> None:
        """Wait until somebody wakes the runner, which it has ``seen`` so often, or it is time to look again."""
        with self._changed:
            self._changed.wait_for(lambda: self._waking != seen, _POLL_S)

    def _do_next(self, worker: WorkerProcess) -> bool:
        """Claim and do one job; return whether there was one."""
        try:
            job = self._claim()
            if job is not None:
                self._do(worker, job)
            return job is not None
        except ServiceError as error:
            # Where the end of a job could not be written, its lease runs out and it is done again.
            log.error("store_lost", reason=str(error))
        except Exception:
            log.exception("runner_failed")
        return False

    def _claim(self) -> JobRecord | None:
        now, kinds = self._clock(), self._only
        with self._store.queue() as queue:
            if not queue.waits(kinds, now):
                return None
        with self._store.queue(writes=True) as queue:
            return queue.claim(kinds, self.runner_id, now, now + self._lease)

    def _do(self, worker: WorkerProcess, job: JobRecord) -> None:
        held = _Held(job, cancelled=job.cancel_requested)
        self._held[job.job_id] = held
        log.info("job_started", job_id=job.job_id, kind=job.kind, attempt=job.attempts)

        def note(progress: Mapping[str, Any]) -> None:
            held.progress = progress

        def go_on() -> bool:
            return not (held.cancelled or held.lost or self._stopping.is_set())

        try:
            if not go_on():
                raise Halted
            outcome = worker.run(
                self._kinds[job.kind].work,
                JobTask(job.claim, dict(job.input), self._place),
                limit_s=self._timeout_s,
                go_on=go_on,
                progress=note,
                every_s=self._every_s,
            )
            self._finish(held, outcome)
        except Died:
            # Where everything stops at once, the worker may be gone before its runner is told.
            self._halt(held) if self._stopping.is_set() else self._retry(held)
        except Overrun:
            self._finish(held, JobOutcome(problem=encode_error(JobTimedOut(self._timeout_s))))
        except Halted:
            self._halt(held)
        finally:
            del self._held[job.job_id]

    def _retry(self, held: _Held) -> None:
        """Queue a job again whose worker died, or fail it after the last attempt."""
        job = held.job
        if job.attempts >= MOST_ATTEMPTS:
            self._finish(held, JobOutcome(problem=encode_error(WorkerLost(job.attempts))))
            return
        log.warning("worker_died", job_id=job.job_id, attempt=job.attempts)
        self._give_back(job, counts=True)

    def _halt(self, held: _Held) -> None:
        if held.lost:
            log.warning("job_lost", job_id=held.job.job_id)
        elif held.cancelled:
            self._finish(held, None)
        else:
            self._give_back(held.job, counts=False)

    def _give_back(self, job: JobRecord, *, counts: bool) -> None:
        with self._store.unit(job.account_id, writes=True) as unit:
            given = unit.jobs.give_back(job.claim, self._clock(), counts=counts)
            unit.commit()
        log.info("job_given_back" if given else "job_lost", job_id=job.job_id)

    def _finish(self, held: _Held, outcome: JobOutcome | None) -> None:
        """Write the end of a job, and in the same transaction what its kind keeps; without an outcome: cancelled."""
        job = held.job
        found = JobOutcome() if outcome is None else outcome
        state = CANCELLED if outcome is None else DONE if found.problem is None else FAILED
        with self._store.unit(job.account_id, writes=True) as unit:
            now = self._clock()
            unit.jobs.report(job.claim, held.progress or job.progress, now)
            if not unit.jobs.finish(job.claim, state, now, result=found.result, problem=found.problem):
                log.warning("job_lost", job_id=job.job_id)
                return
            self._kinds[job.kind].keep(unit, job, found)
            unit.commit()
        remove_spooled(self._kinds, Path(self._place.spool), job)
        if found.trace is not None:
            log.error("job_broke", job_id=job.job_id, trace=found.trace)
        error = None if found.problem is None else found.problem["error"]
        log.info("job_ended", job_id=job.job_id, kind=job.kind, state=state, error=error)
