"""Claims of jobs: never two at once, never after the lease was lost, never a fourth time."""

from __future__ import annotations

import multiprocessing
import threading
from datetime import timedelta

import pytest

from service.errors import StoreConflict
from service.security import LOCAL_ACCOUNT
from service.storage.records import CANCELLED, DONE, FAILED, QUEUED, RUNNING
from tests.service.workers import NOW, claim_all

LEASE = timedelta(seconds=20)
LATER = NOW + timedelta(seconds=21)
OUTPUT = {"error": "JobInterrupted", "detail": "interrupted", "faults": []}


def add_job(house, number=0, account=LOCAL_ACCOUNT):
    with house.store.unit(account, writes=True) as unit:
        job = unit.jobs.add("work", f"hash {number}", {"number": number}, NOW)
        unit.commit()
    return job


def get_job(house, job_id):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return unit.jobs.get(job_id)


def claim(house, runner_id, now=NOW, kinds=("work",)):
    with house.store.queue(writes=True) as queue:
        return queue.claim(kinds, runner_id, now, now + LEASE)


def change(house, name, *args, **more):
    """Do one conditional change and commit it; return whether it took hold."""
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        took = getattr(unit.jobs, name)(*args, **more)
        unit.commit()
    return took


def test_the_oldest_job_of_a_known_kind_is_claimed(house):
    first, second = add_job(house, 1), add_job(house, 2)
    assert claim(house, "run_1", kinds=("other",)) is None
    taken = claim(house, "run_1")
    assert (taken.job_id, taken.state, taken.runner_id, taken.attempts) == (first.job_id, RUNNING, "run_1", 1)
    assert (taken.lease_until, taken.started_at, taken.input) == (NOW + LEASE, NOW, {"number": 1})
    assert claim(house, "run_2").job_id == second.job_id
    assert claim(house, "run_1") is None


def test_threads_never_claim_the_same_job(house):
    made = {add_job(house, number).job_id for number in range(40)}
    claimed, start = [], threading.Barrier(8)

    def take(name):
        start.wait()
        while (job := claim(house, name)) is not None:
            claimed.append(job.job_id)

    threads = [threading.Thread(target=take, args=(f"run_{number}",)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(claimed) == 40
    assert set(claimed) == made


def test_processes_never_claim_the_same_job(house, tmp_path):
    made = {add_job(house, number).job_id for number in range(40)}
    context = multiprocessing.get_context("spawn")
    paths = [tmp_path / f"claimed-{number}" for number in range(3)]
    processes = [context.Process(target=claim_all, args=(house.settings.database_url, str(path))) for path in paths]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60.0)
        assert process.exitcode == 0
    claimed = [line for path in paths for line in path.read_text().split()]
    assert len(claimed) == 40
    assert set(claimed) == made


def test_a_runner_that_lost_its_lease_can_do_nothing_to_the_job(house):
    key = add_job(house).job_id
    old = claim(house, "run_1").claim
    assert claim(house, "run_2", LATER - timedelta(seconds=2)) is None
    new = claim(house, "run_2", LATER).claim
    assert (new.attempt, get_job(house, key).started_at) == (2, NOW)
    assert not change(house, "finish", old, DONE, LATER)
    assert not change(house, "finish", old, FAILED, LATER, problem=OUTPUT)
    assert not change(house, "give_back", old, LATER, counts=True)
    assert not change(house, "report", old, {"done": 9, "total": 9, "note": ""}, LATER)
    with house.store.queue(writes=True) as queue:
        assert queue.renew([old], LATER + LEASE) == {}
    job = get_job(house, key)
    assert (job.state, job.runner_id, job.attempts, job.progress) == (RUNNING, "run_2", 2, None)
    assert change(house, "finish", new, DONE, LATER, result={"of": 0})
    assert not change(house, "finish", new, DONE, LATER, result={"of": 1})
    assert get_job(house, key).result == {"of": 0}


def test_the_same_runner_once_more_is_another_claim(house):
    add_job(house)
    old = claim(house, "run_1").claim
    assert claim(house, "run_1", LATER).attempts == 2
    assert not change(house, "finish", old, DONE, LATER)


def test_a_renewed_lease_is_kept(house):
    key = add_job(house).job_id
    held = claim(house, "run_1").claim
    with house.store.queue(writes=True) as queue:
        assert queue.renew([held], LATER + LEASE) == {key: False}
    assert claim(house, "run_2", LATER) is None
    assert change(house, "cancel", key, LATER)
    with house.store.queue(writes=True) as queue:
        assert queue.renew([held], LATER + LEASE) == {key: True}


def test_a_job_is_begun_three_times_at_most(house):
    key = add_job(house).job_id
    now = NOW
    for attempt in (1, 2, 3):
        assert claim(house, f"run_{attempt}", now).attempts == attempt
        with house.store.queue() as queue:
            assert queue.lost(now) == []
        now += timedelta(seconds=21)
    assert claim(house, "run_4", now) is None
    with house.store.queue(writes=True) as queue:
        assert not queue.waits(["work"], now)
        (lost,) = queue.lost(now)
        assert lost.job_id == key
        assert queue.end_lost(lost, OUTPUT, now)
        assert not queue.end_lost(lost, OUTPUT, now)
    job = get_job(house, key)
    assert (job.state, job.problem, job.finished_at, job.lease_until) == (FAILED, OUTPUT, now, None)


def test_a_job_whose_lease_was_renewed_meanwhile_is_not_ended(house):
    add_job(house)
    for attempt in range(3):
        held = claim(house, "run_1", NOW + attempt * timedelta(seconds=21))
    now = NOW + timedelta(seconds=63)
    with house.store.queue(writes=True) as queue:
        (lost,) = queue.lost(now)
        assert queue.renew([held.claim], now + LEASE)
        assert not queue.end_lost(lost, OUTPUT, now)


def test_what_is_given_back_counts_or_does_not(house):
    key = add_job(house).job_id
    held = claim(house, "run_1").claim
    assert change(house, "give_back", held, NOW, counts=False)
    job = get_job(house, key)
    assert (job.state, job.attempts, job.runner_id, job.lease_until) == (QUEUED, 0, None, None)
    assert change(house, "give_back", claim(house, "run_2").claim, NOW, counts=True)
    assert (get_job(house, key).state, get_job(house, key).attempts) == (QUEUED, 1)


def test_a_job_to_be_cancelled_whose_runner_fell_silent_is_cancelled(house):
    key = add_job(house).job_id
    claim(house, "run_1")
    assert change(house, "cancel", key, NOW)
    assert get_job(house, key).state == RUNNING
    assert claim(house, "run_2", LATER) is None
    with house.store.queue(writes=True) as queue:
        (lost,) = queue.lost(LATER)
        assert queue.end_lost(lost, OUTPUT, LATER)
    assert (get_job(house, key).state, get_job(house, key).problem) == (CANCELLED, None)
    assert not change(house, "cancel", key, LATER)


def test_one_content_is_active_once_in_an_account(house):
    house.store.ensure_account("acc_other", "other", NOW)
    first = add_job(house)
    add_job(house, account="acc_other")
    for _ in range(2):
        with pytest.raises(StoreConflict):
            add_job(house)
        claim(house, "run_1")
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.jobs.active("work", "hash 0").job_id == first.job_id
        assert unit.jobs.active("other", "hash 0") is None
        assert unit.jobs.active_count() == 1
    assert change(house, "cancel", first.job_id, NOW)
    assert change(house, "finish", get_job(house, first.job_id).claim, CANCELLED, NOW)
    assert add_job(house).job_id != first.job_id


def test_pages_of_jobs_are_filtered(house):
    made = [add_job(house, number).job_id for number in range(5)]
    taken = claim(house, "run_1").job_id
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert [job.job_id for job in unit.jobs.page(None, None, None, 10)] == sorted(made)
        assert [job.job_id for job in unit.jobs.page(RUNNING, "work", None, 10)] == [taken]
        assert unit.jobs.page(None, "other", None, 10) == []
        assert [job.job_id for job in unit.jobs.page(QUEUED, None, sorted(made)[1], 2)] == sorted(made)[2:4]


def test_another_account_sees_and_ends_no_job(house):
    house.store.ensure_account("acc_other", "other", NOW)
    key = add_job(house).job_id
    held = claim(house, "run_1").claim
    with house.store.unit("acc_other", writes=True) as unit:
        assert unit.jobs.get(key) is unit.jobs.active("work", "hash 0") is None
        assert unit.jobs.page(None, None, None, 10) == []
        assert unit.jobs.active_count() == 0
        assert not unit.jobs.cancel(key, NOW)
        # Not even by the claim of its runner.
        assert not unit.jobs.finish(held, DONE, NOW)
