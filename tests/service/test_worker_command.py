"""Several processes on one store, and what becomes of a job when the one that runs it is stopped or killed."""

from __future__ import annotations

import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.conftest import ROOT
from tests.service.processes import await_fetched, fetch, free_port, make_station, send_record

#: A record whose fit takes long enough to be interrupted.
LONG_DAYS = 500


def ended(found) -> bool:
    return found["state"] not in ("queued", "running")


def test_two_services_and_two_workers_share_a_store(process):
    ports = [free_port(), free_port()]
    for port in ports:
        process("serve", port=port, EBBMARK_WORKERS="0")
    workers = [process("worker", port=ports[0]) for _ in ports]
    for port in ports:
        assert fetch(port, "/v1/health/ready")["status"] == "ready"
    station = make_station(ports[0])
    # Every record goes to both services at once.
    with ThreadPoolExecutor(4) as pool:
        sent = [(days, pool.submit(send_record, port, station, days)) for days in (30, 31, 32, 33) for port in ports]
        fits = {days: [future.result()["id"] for wanted, future in sent if wanted == days] for days, _ in sent}
    assert all(first == second for first, second in fits.values())
    jobs = fetch(ports[0], "/v1/jobs")["items"]
    assert len(jobs) == len(fits)
    for number, job in enumerate(jobs):
        found = await_fetched(ports[number % 2], f"/v1/jobs/{job['id']}", ended)
        assert (found["state"], found["attempts"], found["problem"]) == ("done", 1, None)
        fit = fetch(ports[1], f"/v1/fits/{found['result']['fit_id']}")
        assert (fit["state"], fit["job_id"]) == ("done", job["id"])
        assert fit["diagnostics"]["residual_rms_m"] == pytest.approx(0.02, rel=0.2)  # the noise of the record
    for worker, number in zip(workers, (signal.SIGTERM, signal.SIGINT), strict=True):
        worker.send_signal(number)
    for worker in workers:
        out, said = worker.communicate(timeout=60.0)
        assert worker.returncode == 0, said
        assert "running jobs, 1 at once" in out
        assert "Traceback" not in said


def test_a_worker_that_is_stopped_gives_its_job_back(process):
    port = free_port()
    process("serve", port=port, EBBMARK_WORKERS="0")
    fetch(port, "/v1/health/ready")
    job = send_record(port, make_station(port), LONG_DAYS)["job_id"]
    first = process("worker", port=port)
    await_fetched(port, f"/v1/jobs/{job}", lambda found: found["state"] == "running")
    first.send_signal(signal.SIGTERM)
    _, said = first.communicate(timeout=60.0)
    assert first.returncode == 0, said
    found = fetch(port, f"/v1/jobs/{job}")
    assert (found["state"], found["attempts"], found["problem"]) == ("queued", 0, None)


def test_the_job_of_a_process_that_was_killed_is_done_by_another(process):
    port = free_port()
    first = process("serve", port=port, EBBMARK_JOB_LEASE_S="1")
    fetch(port, "/v1/health/ready")
    fit = send_record(port, make_station(port), LONG_DAYS)
    await_fetched(port, f"/v1/jobs/{fit['job_id']}", lambda found: found["state"] == "running")
    first.kill()
    first.wait()
    process("serve", port=port, EBBMARK_JOB_LEASE_S="1")
    job = await_fetched(port, f"/v1/jobs/{fit['job_id']}", ended)
    assert (job["state"], job["attempts"], job["result"]) == ("done", 2, {"fit_id": fit["id"]})
    assert fetch(port, f"/v1/fits/{fit['id']}")["state"] == "done"


def test_a_signal_is_heard_whichever_thread_it_comes_to():
    # Held off by the main thread, it comes to the other one, as it may at any time.
    code = """
import os, signal, threading, time
from service.cli.stopping import hear_stopping
ready = threading.Event()
def kill():
    ready.wait()
    time.sleep(0.2)
    os.kill(os.getpid(), signal.SIGTERM)
threading.Thread(target=kill).start()
signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})
with hear_stopping() as wait:
    ready.set()
    wait()
print("heard")
"""
    ran = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert ran.stdout.strip() == "heard"


def test_a_demo_coast_with_a_record_needs_a_worker(process, tmp_path):
    from tests.service.test_cli import write_coast

    write_coast(tmp_path / "demo")
    service = process("serve", "--demo", port=free_port(), EBBMARK_WORKERS="0")
    _, said = service.communicate(timeout=60.0)
    assert service.returncode == 1
    assert "EBBMARK_WORKERS" in said
