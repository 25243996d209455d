"""Jobs over HTTP: read, listed and cancelled; the same record twice at once is one job."""

from __future__ import annotations

import time

import pytest

from tests.service.coast import gauge_csv
from tests.service.problems import problem

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}
CSV = {"content-type": "text/csv"}
RECORD = gauge_csv()


@pytest.fixture
def waiting(serve):
    """An application that runs no jobs itself, with a station."""
    client = serve(workers=0)
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]

    def send(content=RECORD, **hints):
        return client.post(f"/v1/stations/{station}/fits", params={**HINTS, **hints}, content=content, headers=CSV)

    return client, send


def spooled(client):
    return sorted(path.name for path in client.app.state.house.settings.spool_folder.iterdir())


def test_a_fit_says_its_job_and_the_job_its_fit(waiting, serve):
    client, send = waiting
    sent = send()
    fit = sent.json()
    assert (sent.status_code, sent.headers["location"]) == (202, f"/v1/fits/{fit['id']}")
    answered = client.get(f"/v1/jobs/{fit['job_id']}")
    job = answered.json()
    assert answered.headers["retry-after"] == client.get(sent.headers["location"]).headers["retry-after"] == "1"
    assert (job["id"], job["kind"], job["state"], job["attempts"]) == (fit["job_id"], "fit", "queued", 0)
    assert job["progress"] is job["result"] is job["problem"] is job["started_at"] is job["finished_at"] is None
    serve()  # another application on the same store, which runs jobs
    ends = time.monotonic() + 60.0
    while (answered := client.get(f"/v1/jobs/{fit['job_id']}")).json()["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the job is stuck"
        time.sleep(0.02)
    job, ended = answered.json(), client.get(sent.headers["location"])
    assert "retry-after" not in answered.headers
    assert "retry-after" not in ended.headers
    assert (job["state"], job["result"], job["attempts"]) == ("done", {"fit_id": fit["id"]}, 1)
    assert job["progress"] == {"done": 2, "total": 2, "note": "fitted"}
    assert [ended.json()[name] for name in ("state", "started_at", "finished_at")] == [
        job[name] for name in ("state", "started_at", "finished_at")
    ]
    assert spooled(client) == []


def test_the_same_record_at_the_same_time_is_the_same_job(waiting):
    client, send = waiting
    first, again = send().json(), send().json()
    assert again == first
    others = [send(latitude="50").json(), send(trend="true").json(), send(gauge_csv(41)).json()]
    assert len({one["job_id"] for one in [first, *others]}) == 4
    assert spooled(client) == sorted(one["id"] for one in [first, *others])
    client.post(f"/v1/jobs/{first['job_id']}/cancel")
    after = send().json()
    assert after["id"] != first["id"]
    assert after["job_id"] != first["job_id"]


def test_a_job_that_waits_is_cancelled(waiting):
    client, send = waiting
    fit = send().json()
    answered = client.post(f"/v1/jobs/{fit['job_id']}/cancel")
    job = answered.json()
    assert (answered.status_code, job["state"], job["cancel_requested"]) == (202, "cancelled", True)
    assert "retry-after" not in answered.headers
    assert client.get(f"/v1/jobs/{fit['job_id']}").json() == job
    found = client.get(f"/v1/fits/{fit['id']}").json()
    assert (found["state"], found["problem"], found["finished_at"]) == ("cancelled", None, job["finished_at"])
    assert spooled(client) == []
    assert "cancelled" in problem(client.post(f"/v1/jobs/{fit['job_id']}/cancel"), 409, "job-ended")["detail"]
    assert "cancelled" in problem(client.post(f"/v1/fits/{fit['id']}/adopt"), 409, "fit-not-done")["detail"]


def test_jobs_are_listed_by_state_and_kind_a_page_at_a_time(waiting):
    client, send = waiting
    made = [send(gauge_csv(days)).json()["job_id"] for days in (30, 31, 32)]
    client.post(f"/v1/jobs/{made[1]}/cancel")

    def listed(**params):
        return [one["id"] for one in client.get("/v1/jobs", params=params).json()["items"]]

    assert listed() == listed(kind="fit") == sorted(made)
    assert listed(state="cancelled") == [made[1]]
    assert listed(state="running") == []
    first = client.get("/v1/jobs", params={"limit": 2}).json()
    assert listed(limit=2, cursor=first["next_cursor"]) == sorted(made)[2:]
    problem(client.get("/v1/jobs", params={"kind": "errand"}), 422, "unknown-name", "kind")
    problem(client.get("/v1/jobs", params={"state": "lost"}), 422, "invalid-request", "state")
    problem(client.get("/v1/jobs", params={"cursor": "x"}), 422, "cursor-invalid")


def test_another_accounts_job_is_not_found(waiting):
    client, _ = waiting
    store = client.app.state.house.store
    now = client.app.state.house.context.clock()
    store.ensure_account("acc_other", "other", now)
    with store.unit("acc_other", writes=True) as unit:
        key = unit.jobs.add("fit", "0", {"fit_id": "fit_0"}, now).job_id
        unit.commit()
    for name in (key, "job_0", "nonsense"):
        problem(client.get(f"/v1/jobs/{name}"), 404, "not-found")
        problem(client.post(f"/v1/jobs/{name}/cancel"), 404, "not-found")
    assert client.get("/v1/jobs").json()["items"] == []
    with store.unit("acc_other") as unit:
        assert not unit.jobs.get(key).cancel_requested


def test_a_job_that_failed_says_why(waiting, serve):
    client, send = waiting
    fit = send(gauge_csv(1)).json()
    serve()
    ends = time.monotonic() + 60.0
    while (job := client.get(f"/v1/jobs/{fit['job_id']}").json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the job is stuck"
        time.sleep(0.02)
    assert (job["state"], job["attempts"], job["result"]) == ("failed", 1, None)
    assert set(job["problem"]) == {"type", "title", "detail", "errors"}
    assert job["problem"]["type"] == "/problems/record-too-short"
    assert client.get(f"/v1/fits/{fit['id']}").json()["problem"] == job["problem"]


def test_more_jobs_than_the_limit_are_refused(serve):
    client = serve(workers=0, max_waiting_jobs=1)
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]
    path = f"/v1/stations/{station}/fits"
    first = client.post(path, content=gauge_csv(), params=HINTS, headers=CSV)
    assert first.status_code == 202
    # The same once more is no job more.
    assert client.post(path, content=gauge_csv(), params=HINTS, headers=CSV).json() == first.json()
    response = client.post(path, content=gauge_csv(41), params=HINTS, headers=CSV)
    assert problem(response, 429, "too-many-jobs")["setting"] == "EBBMARK_MAX_WAITING_JOBS"
    assert response.headers["retry-after"]
    assert spooled(client) == [first.json()["id"]]
