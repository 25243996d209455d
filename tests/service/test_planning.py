"""The work of a plan done in this process: what breaks, what is taken up again, what is counted and told."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.jobs.worker import JobOutcome, JobTask, Place
from service.storage.records import DONE
from service.usecases.planning import PLAN, _Planning, make_plan
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.test_plans import items
from tidecore.windows import search_marks

PRIVATE = "words of an error may be private"


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """An application without a runner, and three marks of one station, of which one is called to break."""
    app = create_app(settings_for(tmp_path_factory.mktemp("planning"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        coast = make_coast(client)
        others = [
            client.post("/v1/marks", json={**example("create_mark"), "external_ref": name, "name": name}).json()["id"]
            for name in ("calm", "broken")
        ]
        yield client, [coast.mark, *others]


@pytest.fixture
def one_breaks(monkeypatch):
    """What is searched breaks wherever the mark called so is in it."""

    def broken(timelines: Any, *rest: Any) -> Any:
        if any(one.mark.name == "broken" for one in timelines.values()):
            raise RuntimeError(PRIVATE)
        return search_marks(timelines, *rest)

    monkeypatch.setattr("service.jobs.plan_work.search_marks", broken)


def asked(
    client: TestClient, marks: list[str], first: str = "2026-06-01", last: str = "2026-06-03", **more: Any
) -> Any:
    body = {"start": f"{first}T00:00:00Z", "end": f"{last}T00:00:00Z", "mark_ids": marks, **more}
    made = client.post("/v1/plans", json=body)
    assert made.status_code == 202, made.text
    return made.json()


def claimed(client: TestClient) -> JobTask:
    house = client.app.state.house  # type: ignore[attr-defined]
    now = house.context.clock()
    with house.store.queue(writes=True) as queue:
        job = queue.claim([PLAN], "run_test", now, now + dt.timedelta(minutes=5))
    assert job is not None
    return JobTask(job.claim, dict(job.input), Place("", database_url=house.settings.database_url))


def finished(client: TestClient, task: JobTask, outcome: JobOutcome) -> dict[str, Any]:
    house = client.app.state.house  # type: ignore[attr-defined]
    with house.store.unit(task.claim.account_id, writes=True) as unit:
        unit.jobs.finish(task.claim, DONE, house.context.clock(), result=outcome.result)
        unit.commit()
    assert outcome.result is not None
    return {name: outcome.result[name] for name in ("marks", "computed", "reused", "failed")}


def made(client: TestClient, marks: list[str], **more: Any) -> Any:
    plan, task = asked(client, marks, **more), claimed(client)
    finished(client, task, make_plan(task, lambda *_: None))
    return client.get(f"/v1/plans/{plan['id']}").json()


def test_a_mark_that_breaks_is_counted_told_and_logged(shore, one_breaks):
    client, marks = shore
    plan, task = asked(client, marks, series="broken"), claimed(client)
    outcome = make_plan(task, lambda *_: None)
    assert finished(client, task, outcome) == {"marks": 3, "computed": 2, "reused": 0, "failed": 1}
    assert outcome.trace is not None
    assert outcome.trace.endswith("RuntimeError")
    assert PRIVATE not in outcome.trace
    states = {one["mark_id"]: one for one in items(client, f"/v1/plans/{plan['id']}/marks")}
    assert [states[one]["state"] for one in marks] == ["done", "done", "failed"]
    assert states[marks[2]]["problem"]["type"] == "/problems/job-broke"


def test_a_plan_that_was_interrupted_goes_on_where_it_was(shore, monkeypatch):
    client, marks = shore
    plan, task = asked(client, marks[:2], series="interrupted", travel_min=7), claimed(client)
    with monkeypatch.context() as patch:
        patch.setattr(_Planning, "_finish", lambda _self: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            make_plan(task, lambda *_: None)
    assert client.get(f"/v1/plans/{plan['id']}").json()["state"] == "running"
    outcome = make_plan(task, lambda *_: None)
    assert finished(client, task, outcome) == {"marks": 2, "computed": 0, "reused": 2, "failed": 0}
    assert outcome.trace is None
    whole = client.get(f"/v1/plans/{plan['id']}").json()
    assert (whole["state"], whole["marks"]["done"]) == ("done", 2)


def test_changes_are_of_the_time_that_both_plans_are_of(shore):
    client, marks = shore
    first = made(client, marks[:1], series="moving", first="2026-06-02", last="2026-06-06")
    later = made(client, marks[:1], series="moving", first="2026-06-05", last="2026-06-09", least_h=4.5)
    assert later["supersedes"] == first["id"]
    before, after = (
        [one["arrive"] for one in items(client, f"/v1/plans/{one['id']}/sessions")] for one in (first, later)
    )
    assert min(before) < "2026-06-05" < "2026-06-06" < max(after)
    changes = items(client, f"/v1/plans/{later['id']}/changes")
    assert changes
    for one in changes:
        arrive = (one["before"] or one["after"])["arrive"]
        assert "2026-06-05" <= arrive < "2026-06-06", one


def test_a_mark_that_had_failed_has_nothing_before(shore, one_breaks, monkeypatch):
    client, marks = shore
    made(client, marks[2:], series="mended")
    monkeypatch.undo()
    plan = made(client, marks[2:], series="mended")
    told = items(client, f"/v1/plans/{plan['id']}/changes")
    arrivals = [one["arrive"] for one in items(client, f"/v1/plans/{plan['id']}/sessions", order="time")]
    assert [(one["kinds"], one["after"]["arrive"]) for one in told] == [(["new"], arrive) for arrive in arrivals]
