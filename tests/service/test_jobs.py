"""Jobs are never stuck: whatever happens to a worker or to the process that runs it, they end, and once."""

from __future__ import annotations

import errno
import os
import pickle
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest

from service.errors import JobBroke, JobInterrupted, JobTimedOut, RecordLost, WorkerLost
from service.jobs.fitting import fit_record
from service.jobs.kinds import Kind
from service.jobs.process import Died, WorkerProcess
from service.jobs.runner import ProcessRunner
from service.jobs.worker import JobOutcome, JobTask, Place, do_work
from service.security import LOCAL_ACCOUNT
from service.storage.plain import encode_error
from service.storage.records import ACTIVE, CANCELLED, DONE, FAILED, QUEUED, RUNNING, Claim
from service.usecases.kinds import KINDS
from tests.conftest import ROOT
from tests.service.coast import gauge_csv
from tests.service.workers import NOW, advance, die, fail, hang, hang_once, refuse, succeed

CLAIM = Claim("job_1", LOCAL_ACCOUNT, "run_1", 1)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self):
        return self.now


@pytest.fixture
def runners(house, tmp_path):
    """Make runners of one kind of work on the store of the house; all are stopped at the end."""
    made = []
    (tmp_path / "spool").mkdir()

    def make(work=succeed, clock=None, keep=None, **limits):
        kind = Kind(work, spooled="file") if keep is None else Kind(work, keep, spooled="file")
        place = Place(str(tmp_path / "spool"))
        runner = ProcessRunner(house.store, place, Clock() if clock is None else clock, kinds={"work": kind}, **limits)
        made.append(runner)
        return runner

    yield make
    for runner in made:
        runner.stop()


@pytest.fixture
def add(house, tmp_path):
    """Add a job with an uploaded file, waking the runners given."""
    count = iter(range(1000))

    def add_job(*runners):
        number = next(count)
        (tmp_path / "spool" / f"file-{number}").write_bytes(b"x")
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            job = unit.jobs.add("work", f"hash {number}", {"number": number, "file": f"file-{number}"}, NOW)
            unit.commit()
        for runner in runners:
            runner.wake()
        return job.job_id

    return add_job


def get_job(house, job_id):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return unit.jobs.get(job_id)


def await_job(house, job_id, reached=lambda job: job.state not in ACTIVE, limit_s=60.0):
    ends = time.monotonic() + limit_s
    while not reached(job := get_job(house, job_id)):
        assert time.monotonic() < ends, f"the job is stuck: {job}"
        time.sleep(0.02)
    return job


def await_nothing_left(folder, limit_s=10.0):
    """A runner removes the file of a job after it has said how the job ended."""
    ends = time.monotonic() + limit_s
    while list(folder.iterdir()):
        assert time.monotonic() < ends, f"{list(folder.iterdir())} stayed"
        time.sleep(0.02)


def await_file(path, limit_s=60.0):
    ends = time.monotonic() + limit_s
    while not path.exists():
        assert time.monotonic() < ends, f"{path.name} did not come"
        time.sleep(0.02)
    return path.read_text()


def claim_as(house, runner_id, now):
    with house.store.queue(writes=True) as queue:
        return queue.claim(["work"], runner_id, now, now + timedelta(seconds=20))


def test_jobs_are_done_in_their_order_and_their_files_go(house, runners, add, tmp_path):
    runner = runners()
    waiting = [add() for _ in range(3)]
    runner.start()
    for number, key in enumerate(waiting):
        job = await_job(house, key)
        assert (job.state, job.problem, job.result, job.attempts) == (DONE, None, {"of": number}, 1)
        assert (job.started_at, job.finished_at, job.lease_until) == (NOW, NOW, None)
    assert (tmp_path / "done").read_text().split() == sorted(waiting) == waiting
    await_nothing_left(tmp_path / "spool")


def test_a_job_submitted_wakes_the_runner(house, runners, add, monkeypatch):
    monkeypatch.setattr("service.jobs.runner._POLL_S", 600.0)
    runner = runners()
    runner.start()
    assert await_job(house, add(runner)).state == DONE
    assert await_job(house, add(runner)).state == DONE


def test_a_job_that_another_process_queued_is_found(house, runners, add, monkeypatch):
    monkeypatch.setattr("service.jobs.runner._POLL_S", 0.05)
    runners().start()
    assert await_job(house, add()).state == DONE


def test_two_worker_processes_work_at_once(house, runners, add, tmp_path):
    runner = runners(advance, workers=2)
    runner.start()
    both = [add(runner) for _ in range(2)]
    for key in both:
        await_job(house, key, lambda job: job.state == RUNNING)
    (tmp_path / "go").touch()
    assert {await_job(house, key).state for key in both} == {DONE}


def test_progress_is_seen_while_the_job_runs(house, runners, add, tmp_path):
    runner = runners(advance, lease_s=0.4, clock=Clock())
    runner.start()
    key = add(runner)
    job = await_job(house, key, lambda job: job.progress is not None)
    assert (job.state, job.progress) == (RUNNING, {"done": 1, "total": 3, "note": "the first of three"})
    (tmp_path / "go").touch()
    assert await_job(house, key).progress == {"done": 3, "total": 3, "note": "all three"}


def test_what_fails_by_its_own_input_is_not_tried_again(house, runners, add):
    kept = []
    runner = runners(refuse, keep=lambda unit, job, outcome: kept.append((unit.account_id, outcome.kept)))
    runner.start()
    job = await_job(house, add(runner))
    assert (job.state, job.problem["error"], job.attempts) == (FAILED, "RecordTooShort", 1)
    assert kept == [(LOCAL_ACCOUNT, {"half": 1})]


def test_what_is_raised_fails_the_job_and_the_worker_goes_on(house, runners, add):
    runner = runners(fail)
    runner.start()
    for error in ("DocumentInvalid", "JobBroke", "DocumentInvalid"):
        job = await_job(house, add(runner))
        assert (job.state, job.problem["error"], job.attempts) == (FAILED, error, 1)
        assert "inside of it" not in str(job.problem)


def test_what_cannot_be_kept_is_not_done(house, runners, add, tmp_path):
    def keep(unit, job, _outcome):
        if not (tmp_path / "mended").exists():
            (tmp_path / "mended").touch()
            raise ZeroDivisionError

    clock = Clock()
    runner = runners(keep=keep, clock=clock)
    runner.start()
    key = add(runner)
    await_file(tmp_path / "mended")
    assert get_job(house, key).state == RUNNING
    clock.now += timedelta(seconds=21)
    runner.wake()
    assert (await_job(house, key).state, get_job(house, key).attempts) == (DONE, 2)


def test_the_death_of_a_worker_is_retried_three_times_in_all(house, runners, add, tmp_path):
    runner = runners(die)
    runner.start()
    job = await_job(house, add(runner))
    assert (job.state, job.problem["error"], job.attempts) == (FAILED, WorkerLost.__name__, 3)
    assert "3 attempts" in job.problem["detail"]
    await_nothing_left(tmp_path / "spool")


def test_a_worker_killed_in_the_middle_leads_to_one_result(house, runners, add, tmp_path):
    runner = runners(hang_once)
    runner.start()
    key = add(runner)
    os.kill(int(await_file(tmp_path / "pid")), signal.SIGKILL)
    job = await_job(house, key)
    assert (job.state, job.result, job.attempts) == (DONE, {"of": 0}, 2)
    assert (tmp_path / "done").read_text().split() == [key]


def test_a_job_that_runs_too_long_is_ended(house, runners, add):
    runner = runners(hang, timeout_s=0.2, lease_s=1.0)
    runner.start()
    job = await_job(house, add(runner))
    assert (job.state, job.problem["error"], job.attempts) == (FAILED, JobTimedOut.__name__, 1)
    assert "0.2 s" in job.problem["detail"]


def test_a_job_that_runs_is_cancelled(house, runners, add, tmp_path):
    runner = runners(hang_once, lease_s=1.0)
    runner.start()
    key = add(runner)
    pid = int(await_file(tmp_path / "pid"))
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        assert unit.jobs.cancel(key, NOW)
        unit.commit()
    job = await_job(house, key)
    assert (job.state, job.problem, job.result) == (CANCELLED, None, None)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    await_nothing_left(tmp_path / "spool")
    assert await_job(house, add(runner)).state == DONE


def test_stopping_gives_back_what_runs_and_leaves_what_waits(house, runners, add, tmp_path):
    runner = runners(hang_once, lease_s=1.0)
    runner.start()
    both = [add(runner) for _ in range(2)]
    await_file(tmp_path / "pid")
    began = time.monotonic()
    runner.stop()
    assert time.monotonic() - began < 10.0
    for key in both:
        job = get_job(house, key)
        assert (job.state, job.attempts, job.runner_id, job.problem) == (QUEUED, 0, None, None)
    assert len(list((tmp_path / "spool").iterdir())) == 2
    runners(hang_once).start()
    for key in both:
        assert (await_job(house, key).state, get_job(house, key).attempts) == (DONE, 1)


def test_a_runner_that_lost_its_lease_lets_go(house, runners, add, tmp_path):
    runner = runners(hang_once, lease_s=1.0)
    runner.start()
    key = add(runner)
    pid = int(await_file(tmp_path / "pid"))
    assert claim_as(house, "run_other", NOW + timedelta(seconds=2)).job_id == key
    ends = time.monotonic() + 30.0
    while Path(f"/proc/{pid}").exists():
        assert time.monotonic() < ends, "the worker goes on"
        time.sleep(0.02)
    runner.stop()
    job = get_job(house, key)
    assert (job.state, job.runner_id, job.attempts) == (RUNNING, "run_other", 2)
    assert len(list((tmp_path / "spool").iterdir())) == 1


def test_the_jobs_of_a_dead_runner_are_taken_over(house, runners, add, tmp_path):
    clock = Clock()
    running, waiting = add(), add()
    assert claim_as(house, "run_dead", NOW).job_id == running
    living = runners(clock=clock)
    living.start()
    assert await_job(house, waiting).state == DONE
    assert get_job(house, running).state == RUNNING
    clock.now += timedelta(seconds=21)
    living.wake()
    assert (await_job(house, running).state, get_job(house, running).attempts) == (DONE, 2)


def test_a_job_interrupted_three_times_has_failed(house, runners, add, tmp_path):
    clock = Clock()
    key = add()
    for _ in range(3):
        assert claim_as(house, "run_dead", clock.now).job_id == key
        clock.now += timedelta(seconds=21)
    runners(clock=clock).start()
    job = get_job(house, key)
    assert (job.state, job.problem["error"]) == (FAILED, JobInterrupted.__name__)
    await_nothing_left(tmp_path / "spool")


def test_leases_are_renewed_while_the_runner_lives(house, runners, add, tmp_path):
    clock = Clock()
    runner = runners(hang_once, clock=clock, lease_s=0.4)
    runner.start()
    key = add(runner)
    await_file(tmp_path / "pid")
    clock.now += timedelta(seconds=0.3)
    await_job(house, key, lambda job: job.lease_until == NOW + timedelta(seconds=0.7))


def test_files_left_lying_are_removed_but_not_those_of_jobs(runners, add, tmp_path):
    runner = runners(workers=0)
    add()
    for name in ("upload-1.part", "upload-2.part"):
        (tmp_path / "spool" / name).write_bytes(b"time,level\n")
    for name in ("upload-1.part", "file-0"):
        os.utime(tmp_path / "spool" / name, (1.0, 1.0))
    runner.start()
    assert sorted(path.name for path in (tmp_path / "spool").iterdir()) == ["file-0", "upload-2.part"]


ORPHAN = """
import sys
from service.jobs.process import WorkerProcess
from service.jobs.worker import JobTask, Place
from service.storage.records import Claim
from tests.service.workers import hang_once

if __name__ == "__main__":
    task = JobTask(Claim("job_1", "acc_1", "run_1", 1), {}, Place(sys.argv[1]))
    WorkerProcess().run(
        hang_once, task, limit_s=60.0, go_on=lambda: True, progress=lambda said: None, every_s=1.0
    )
"""


def test_a_worker_ends_with_the_process_that_runs_it(tmp_path):
    parent = subprocess.Popen([sys.executable, "-c", ORPHAN, str(tmp_path / "spool")], cwd=ROOT)
    pid = int(await_file(tmp_path / "pid"))
    parent.kill()
    parent.wait()
    ends = time.monotonic() + 30.0
    while (stat := Path(f"/proc/{pid}/stat")).exists() and stat.read_text().split()[2] != "Z":
        assert time.monotonic() < ends, "the worker goes on without its runner"
        time.sleep(0.02)


def test_a_process_that_could_not_be_started_is_started_the_next_time(tmp_path, monkeypatch):
    """A machine out of processes for a moment must not leave a runner that can never work again."""
    worker, task = WorkerProcess(), JobTask(CLAIM, {"number": 2}, Place(str(tmp_path / "spool")))
    started, tried = worker._context.Process.start, []

    def start(process):
        tried.append(process)
        if len(tried) == 1:
            raise BlockingIOError(errno.EAGAIN, "no more processes")
        started(process)

    monkeypatch.setattr(worker._context.Process, "start", start)

    def run():
        return worker.run(succeed, task, limit_s=60.0, go_on=lambda: True, progress=lambda said: None, every_s=1.0)

    with pytest.raises(Died):
        run()
    assert run() == JobOutcome(result={"of": 2})
    worker.kill()


def test_what_goes_to_the_worker_pickles():
    task = JobTask(CLAIM, {"fit_id": "fit_1", "hints": {"unit": "m"}}, Place("spool", 1, "sqlite:///x"))
    assert pickle.loads(pickle.dumps((fit_record, task))) == (fit_record, task)
    assert all(pickle.loads(pickle.dumps(kind.work)) is kind.work for kind in KINDS.values())
    assert "sqlite" not in repr(task)


def fit_of(folder, content, **hints):
    """The outcome of the work of a fit, done in this process."""
    if content is not None:
        (folder / "fit_1").write_bytes(content)
    given = {"fit_id": "fit_1", "station": "", "latitude": 51.0, "format": "csv", "hints": hints, "fit": {}}
    return do_work(fit_record, JobTask(CLAIM, given, Place(str(folder))), lambda done, total, note: None)


def test_an_error_that_nobody_foresaw_is_said_without_its_inside(tmp_path, monkeypatch):
    """Neither the problem nor the trace for the log holds what the error says; the trace has where it was."""
    inside = "depth 51.98"

    def broken(*_args, **_kwargs):
        raise RuntimeError(inside)

    monkeypatch.setattr("tidecore.gauges.read_gauge_parts", broken)
    outcome = fit_of(tmp_path, b"x")
    assert outcome.problem["error"] == "JobBroke"
    assert inside not in outcome.problem["detail"]
    assert outcome.trace is not None
    assert outcome.trace.endswith("RuntimeError")
    assert "in broken" in outcome.trace
    assert inside not in outcome.trace


def test_memory_that_ran_out_is_said_too():
    def greedy(_task, _progress):
        raise MemoryError

    outcome = do_work(greedy, JobTask(CLAIM, {}, Place("")), lambda done, total, note: None)
    assert outcome == JobOutcome(problem=encode_error(JobBroke()), trace="MemoryError")


def test_a_record_that_is_gone_is_said(tmp_path):
    assert fit_of(tmp_path, None).problem["error"] == RecordLost.__name__


def test_a_fit_that_fails_after_reading_says_what_was_read(tmp_path):
    outcome = fit_of(tmp_path, gauge_csv(level=2.0), unit="m", datum="unknown")
    assert outcome.problem["error"] == "RecordConstant"
    assert outcome.kept["report"]["record"]["rows"] == 40 * 24
    assert outcome.kept["report"]["diagnostics"] is outcome.kept["model"] is None
