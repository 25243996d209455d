"""Fits are never stuck: whatever happens to the worker or to the service, they end."""

from __future__ import annotations

import os
import pickle
import time
from datetime import UTC, datetime, timedelta

import pytest

from service.errors import FitInterrupted, FitTimedOut, WorkerLost
from service.jobs.runner import ProcessRunner, WorkerProcess
from service.jobs.worker import FitTask, fit_file
from service.security import LOCAL_ACCOUNT
from service.storage.records import DONE, FAILED, QUEUED
from tests.service.coast import gauge_csv
from tests.service.workers import die, hang, refuse, succeed

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def runners(house, tmp_path):
    """Make runners on the store of the house; all are stopped at the end."""
    made = []

    def make(work=succeed, clock=None, **limits):
        spool = tmp_path / "spool"
        spool.mkdir(exist_ok=True)
        clock = Clock() if clock is None else clock
        runner = ProcessRunner(house.store, spool, clock, worker=WorkerProcess(work), **limits)
        made.append(runner)
        return runner

    yield make
    for runner in made:
        runner.stop()


def add_fit(house, runner, tmp_path, *, submit=True) -> str:
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        station = unit.stations.add(
            name="Hollow Point",
            latitude=51.0,
            longitude=None,
            time_zone="Etc/UTC",
            external_ref=None,
            public=False,
            now=NOW,
        )
        fit = unit.fits.add(
            station_id=station.station_id,
            runner_id=runner.runner_id,
            lease_until=runner.lease_until(),
            record_sha256="0",
            record_bytes=1,
            options={},
            now=NOW,
        )
        unit.commit()
    (tmp_path / "spool" / fit.fit_id).write_bytes(b"x")
    if submit:
        path = str(tmp_path / "spool" / fit.fit_id)
        runner.submit(FitTask(fit.fit_id, LOCAL_ACCOUNT, path, 51.0, "Hollow Point"))
    return fit.fit_id


def get_fit(house, fit_id):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return unit.fits.get(fit_id)


def await_end(house, fit_id, limit_s=30.0):
    ends = time.monotonic() + limit_s
    while (fit := get_fit(house, fit_id)).state not in (DONE, FAILED):
        assert time.monotonic() < ends, f"the fit is stuck: {fit}"
        time.sleep(0.02)
    return fit


def test_a_fit_runs_and_its_record_goes(house, runners, tmp_path):
    runner = runners()
    runner.start()
    fit_id = add_fit(house, runner, tmp_path)
    fit = await_end(house, fit_id)
    assert (fit.state, fit.problem, fit.started_at, fit.finished_at) == (DONE, None, NOW, NOW)
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.fits.model(fit_id) == {"of": fit_id}
    assert list((tmp_path / "spool").iterdir()) == []


def test_a_record_that_cannot_be_fitted_keeps_its_report(house, runners, tmp_path):
    runner = runners(refuse)
    runner.start()
    fit = await_end(house, add_fit(house, runner, tmp_path))
    assert (fit.state, fit.problem["error"], fit.report) == (FAILED, "RecordTooShort", {"record": {}})


def test_the_death_of_the_worker_fails_the_fit_and_the_next_has_a_new_worker(house, runners, tmp_path):
    runner = runners(die)
    runner.start()
    first, second = (add_fit(house, runner, tmp_path) for _ in range(2))
    for fit_id in (first, second):
        fit = await_end(house, fit_id)
        assert (fit.state, fit.problem["error"]) == (FAILED, WorkerLost.__name__)
    assert list((tmp_path / "spool").iterdir()) == []


def test_a_fit_that_runs_too_long_is_ended(house, runners, tmp_path):
    runner = runners(hang, timeout_s=0.2, lease_s=1.0)
    runner.start()
    fit = await_end(house, add_fit(house, runner, tmp_path))
    assert (fit.state, fit.problem["error"]) == (FAILED, FitTimedOut.__name__)
    assert "0.2 s" in fit.problem["detail"]


def test_stopping_fails_what_runs_and_what_waits(house, runners, tmp_path):
    runner = runners(hang, lease_s=1.0)
    runner.start()
    fits = [add_fit(house, runner, tmp_path) for _ in range(3)]
    while get_fit(house, fits[0]).state == QUEUED:
        time.sleep(0.01)
    began = time.monotonic()
    runner.stop()
    assert time.monotonic() - began < 10.0
    for fit_id in fits:
        fit = get_fit(house, fit_id)
        assert (fit.state, fit.problem["error"]) == (FAILED, FitInterrupted.__name__)


def test_a_service_that_died_leaves_nothing_stuck(house, runners, tmp_path):
    clock = Clock()
    dead = runners(clock=clock, lease_s=20.0)
    queued = add_fit(house, dead, tmp_path, submit=False)
    running = add_fit(house, dead, tmp_path, submit=False)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        assert unit.fits.start(running, NOW)
        unit.commit()
    clock.now += timedelta(seconds=21)
    runners(clock=clock).start()
    for fit_id in (queued, running):
        fit = get_fit(house, fit_id)
        assert (fit.state, fit.problem["error"]) == (FAILED, FitInterrupted.__name__)
    assert list((tmp_path / "spool").iterdir()) == []


def test_a_service_that_lives_keeps_its_fits(house, runners, tmp_path):
    clock = Clock()
    living = runners(clock=clock, lease_s=20.0)
    fit_id = add_fit(house, living, tmp_path, submit=False)
    clock.now += timedelta(seconds=19)
    runners(clock=clock).start()
    assert get_fit(house, fit_id).state == QUEUED
    house.store.renew_leases(living.runner_id, living.lease_until())
    clock.now += timedelta(seconds=19)
    runners(clock=clock).start()
    assert get_fit(house, fit_id).state == QUEUED


def test_leases_are_renewed_while_the_service_lives(house, runners, tmp_path):
    clock = Clock()
    runner = runners(hang, clock=clock, lease_s=0.4)
    fit_id = add_fit(house, runner, tmp_path, submit=False)
    clock.now += timedelta(seconds=0.39)
    runner.start()
    ends = time.monotonic() + 10.0
    while house.store.lost_fits(NOW + timedelta(seconds=0.7)):
        assert time.monotonic() < ends, "the lease was not renewed"
        time.sleep(0.02)
    assert get_fit(house, fit_id).state == QUEUED


def test_records_left_lying_are_removed(runners, tmp_path):
    runner = runners()
    old, new = tmp_path / "spool" / "upload-1.part", tmp_path / "spool" / "upload-2.part"
    for path in (old, new):
        path.write_bytes(b"time,level\n")
    os.utime(old, (1.0, 1.0))
    runner.start()
    assert [path.name for path in (tmp_path / "spool").iterdir()] == [new.name]


def test_a_fit_ends_once(house, runners, tmp_path):
    runner = runners()
    fit_id = add_fit(house, runner, tmp_path, submit=False)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        assert unit.fits.start(fit_id, NOW)
        assert not unit.fits.start(fit_id, NOW)
        assert unit.fits.finish(fit_id, report={}, model={}, now=NOW)
        assert not unit.fits.finish(fit_id, report={}, model={}, now=NOW)
        assert not unit.fits.fail(fit_id, {}, NOW)


def test_what_goes_to_the_worker_pickles():
    task = FitTask("fit_1", "acc_1", "x", 51.0, "Hollow Point", "csv", 1, {"unit": "m"}, {"nodal": "exact"})
    assert pickle.loads(pickle.dumps(task)) == task
    assert pickle.loads(pickle.dumps(fit_file)) is fit_file


def test_an_error_that_nobody_foresaw_is_said_without_its_inside(tmp_path, monkeypatch):
    def broken(*_args, **_kwargs):
        raise RuntimeError("the inside of it")

    monkeypatch.setattr("tidecore.gauges.read_gauge", broken)
    outcome = fit_file(FitTask("fit_1", "acc_1", str(tmp_path / "x"), 51.0, ""))
    assert outcome.problem is not None
    assert outcome.trace is not None
    assert outcome.problem["error"] == "FitBroke"
    assert "inside of it" not in outcome.problem["detail"]
    assert "inside of it" in outcome.trace


def test_a_fit_that_fails_after_reading_says_what_was_read(tmp_path):
    path = tmp_path / "level.csv"
    path.write_bytes(gauge_csv(level=2.0))
    outcome = fit_file(FitTask("fit_1", "acc_1", str(path), 51.0, "", "csv", hints={"unit": "m", "datum": "unknown"}))
    assert outcome.problem is not None
    assert outcome.report is not None
    assert outcome.problem["error"] == "RecordConstant"
    assert outcome.report["record"]["rows"] == 40 * 24
    assert outcome.report["diagnostics"] is None
