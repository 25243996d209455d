"""Plans over HTTP: asked for, computed once for the same inputs, compared, listed, deleted."""

from __future__ import annotations

import time
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, Coast, example, make_coast
from tests.service.conftest import settings_for

ASKED: dict[str, Any] = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-08T00:00:00Z"}


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """An application of this module with the coast: one mark whose station has no tide, and a plan of both."""
    app = create_app(settings_for(tmp_path_factory.mktemp("plans"), plan_workers=1, kept_plans=2))
    with TestClient(app, base_url=URL, client=PEER) as client:
        yield client, make_coast(client)


@pytest.fixture(scope="module")
def first(shore: tuple[TestClient, Coast]) -> dict[str, Any]:
    return made(shore[0], {**ASKED, "series": "first"})


def made(client: TestClient, body: dict[str, Any]) -> dict[str, Any]:
    """Ask for a plan, and return it once it has ended."""
    asked = client.post("/v1/plans", json=body)
    assert asked.status_code == 202, asked.text
    ends = time.monotonic() + 60.0
    while True:
        plan: dict[str, Any] = client.get(asked.headers["location"]).json()
        if plan["state"] not in ("queued", "running"):
            return plan
        assert time.monotonic() < ends, "the plan is stuck"
        time.sleep(0.02)


def items(client: TestClient, path: str, **query: Any) -> list[dict[str, Any]]:
    """Everything on all pages of a list."""
    found: list[dict[str, Any]] = []
    cursor = None
    while True:
        page = client.get(path, params={**query, **({} if cursor is None else {"cursor": cursor})}).json()
        found += page["items"]
        cursor = page["next_cursor"]
        if cursor is None:
            return found


def test_a_plan_has_the_sessions_that_a_search_finds(shore, first):
    client, coast = shore
    assert first["state"] == "done", first
    planned = items(client, f"/v1/plans/{first['id']}/sessions", limit=3)
    asked = {**ASKED, "mark_ids": [coast.mark], "by": "mark", "limit": 200}
    searched = client.post("/v1/sessions/search", json=asked).json()["sessions"]
    assert len(planned) == len(searched) > 0
    by_rank = {one["rank"]: one for one in planned}
    for one in searched:
        session, mine = one["session"], by_rank[one["rank"]]
        leg = session["legs"][0]
        assert mine["worth_h"] == one["worth_h"]
        assert [mine[name] for name in ("leave_home", "arrive", "leave", "back_home", "date_local", "fishing_h")] == [
            session[name] for name in ("leave_home", "arrive", "leave", "back_home", "date_local", "fishing_h")
        ]
        assert [mine["start"], mine["end"]] == [leg["start"], leg["end"]]
        assert mine["best_hour"] == session["best_hour"]
        assert mine["hazards"] == session["hazards"]
        assert mine["windows"] == leg["windows"]
        assert mine["key_times"] == leg["key_times"]
        assert mine["verdicts"]["safe"] == session["verdicts"]["safe"]["grade"]
        assert mine["verdicts"]["fishable"] == session["verdicts"]["fishable"]["grade"]
        assert mine["verdicts"]["feeding"] == session["verdicts"]["feeding"]


def test_sessions_come_by_worth_or_by_time(shore, first):
    client, _ = shore
    worths = [one["worth_h"] for one in items(client, f"/v1/plans/{first['id']}/sessions", limit=2)]
    assert worths == sorted(worths, reverse=True)
    times = [one["arrive"] for one in items(client, f"/v1/plans/{first['id']}/sessions", order="time", limit=2)]
    assert times == sorted(times)
    assert len(times) == len(worths)
    cursor = client.get(f"/v1/plans/{first['id']}/sessions", params={"limit": 1}).json()["next_cursor"]
    other = client.get(f"/v1/plans/{first['id']}/sessions", params={"order": "time", "cursor": cursor})
    assert other.json()["type"] == "/problems/cursor-invalid"


def test_a_mark_that_fails_stops_no_other(shore, first):
    client, coast = shore
    found = {one["mark_id"]: one for one in items(client, f"/v1/plans/{first['id']}/marks", limit=1)}
    assert found[coast.mark]["state"] == "done"
    bare = found[coast.bare_mark]
    assert bare["state"] == "failed"
    assert bare["problem"]["type"] == "/problems/no-model"
    assert first["marks"] == {"done": 2, "reused": 0, "failed": 1, "changed": 0}
    whole = client.get(f"/v1/plans/{first['id']}/marks/{coast.bare_mark}").json()
    assert whole["sessions"] == []
    assert whole["rests_on"] is None


def test_a_mark_of_a_plan_says_what_it_rests_on(shore, first):
    client, coast = shore
    whole = client.get(f"/v1/plans/{first['id']}/marks/{coast.mark}").json()
    rests = whole["rests_on"]
    assert rests["station_id"] == coast.station
    assert rests["station_version"] == 1
    assert [one["id"] for one in rests["rules"]] == [coast.rule] == [one["id"] for one in first["rules"]]
    assert whole["mark"]["kept"] == len(whole["sessions"]) == whole["mark"]["found"]
    assert [one["arrive"] for one in whole["sessions"]] == sorted(one["arrive"] for one in whole["sessions"])


def test_reads_carry_etags_and_are_answered_with_304(shore, first):
    client, coast = shore
    for path in ("", "/sessions", f"/marks/{coast.mark}"):
        for _ in range(2):
            one = client.get(f"/v1/plans/{first['id']}{path}")
            assert client.get(one.request.url, headers={"if-none-match": one.headers["etag"]}).status_code == 304
            assert client.get(one.request.url, headers={"if-none-match": '"other"'}).content == one.content


def test_the_same_inputs_are_computed_once(shore, first):
    client, _ = shore
    again = made(client, {**ASKED, "series": "first"})
    assert again["supersedes"] == first["id"]
    assert again["marks"] == {"done": 2, "reused": 1, "failed": 1, "changed": 0}
    job = client.get(f"/v1/jobs/{again['job_id']}").json()
    assert job["result"] == {"plan_id": again["id"], "marks": 2, "computed": 0, "reused": 1, "failed": 1}
    assert job["progress"] == {"done": 2, "total": 2, "note": "marks"}
    before, after = (items(client, f"/v1/plans/{one['id']}/sessions") for one in (first, again))
    assert before == after
    assert items(client, f"/v1/plans/{again['id']}/changes") == []


def test_a_plan_says_what_is_other_than_before(shore):
    client, coast = shore
    body = {**ASKED, "mark_ids": [coast.mark], "series": "edited"}
    before = made(client, body)
    earlier = {one["key"]: one for one in items(client, f"/v1/plans/{before['id']}/sessions")}
    station = client.get(f"/v1/stations/{coast.station}")
    document = example("create_station")
    lines = document["model"]["constituents"]
    lines["M2"]["phase_deg"] += 5.0
    edited = client.patch(
        f"/v1/stations/{coast.station}",
        json={"model": document["model"]},
        headers={"if-match": station.headers["etag"], "content-type": "application/merge-patch+json"},
    )
    assert edited.status_code == 200, edited.text
    after = made(client, body)
    assert after["marks"]["changed"] == 1
    later = {one["key"]: one for one in items(client, f"/v1/plans/{after['id']}/sessions")}
    changes = items(client, f"/v1/plans/{after['id']}/changes")
    assert changes
    kinds = {kind for one in changes for kind in one["kinds"]}
    # The tide comes ten minutes later: sessions move with it, and stay themselves.
    assert "moved" in kinds
    for one in changes:
        key = one["key"]
        if one["kinds"] == ["new"]:
            assert one["before"] is None
            assert key not in earlier
            assert later[key]["changed"] == 0
        elif one["kinds"] == ["gone"]:
            assert one["after"] is None
            assert key not in later
        else:
            assert one["before"]["arrive"] == earlier[key]["arrive"]
            assert one["after"]["arrive"] == later[key]["arrive"]
            assert later[key]["changed"] == earlier[key]["changed"] + 1
    told = {one["key"] for one in changes}
    assert all(later[key]["arrive"] == earlier[key]["arrive"] for key in later.keys() - told)


def test_the_same_request_is_answered_with_the_active_plan(serve):
    client = serve(workers=0)
    coast = make_coast(client)
    body = {**ASKED, "mark_ids": [coast.mark]}
    one, other = (client.post("/v1/plans", json=body).json() for _ in range(2))
    assert one["id"] == other["id"]
    assert client.post("/v1/plans", json={**body, "travel_min": 5}).json()["id"] != one["id"]
    path = f"/v1/plans/{one['id']}"
    assert client.get(f"{path}/sessions").json()["type"] == "/problems/plan-not-done"
    busy = client.delete(path, headers={"if-match": "*"})
    assert busy.json()["type"] == "/problems/in-use"
    assert client.post(f"/v1/jobs/{one['job_id']}/cancel").json()["state"] == "cancelled"
    assert client.get(path).json()["state"] == "cancelled"
    assert client.delete(path, headers={"if-match": "*"}).status_code == 204
    assert client.get(path).status_code == 404


def test_what_a_plan_rests_on_is_not_deleted_before_it(shore, first):
    client, coast = shore
    for path in (f"/v1/marks/{coast.mark}", f"/v1/species-rules/{coast.rule}"):
        refused = client.delete(path, headers={"if-match": "*"})
        assert refused.status_code == 409
        assert first["id"] in refused.json()["detail"]


def test_plans_of_a_series_are_kept_so_many(shore):
    client, coast = shore
    body = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-03T00:00:00Z", "mark_ids": [coast.mark], "series": "x"}
    ids = [made(client, body)["id"] for _ in range(3)]
    assert [one["id"] for one in items(client, "/v1/plans", series="x")] == ids[1:]
    changes = client.get("/v1/changes", params={"limit": 500}).json()["items"]
    changed = {one["id"]: one["change"] for one in changes if one["id"] in ids}
    assert changed == {ids[0]: "deleted", ids[1]: "updated", ids[2]: "updated"}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "month"),
        ({"month": "2026-13"}, "month"),
        ({"month": "2026-06", "start": "2026-06-01T00:00:00Z"}, "month"),
        ({"start": "2026-06-01T00:00:00Z"}, "end"),
        ({"month": "2026-06", "time_zone": "Nowhere/Here"}, "time_zone"),
        ({"month": "2026-06", "most_h": 0.5}, "most_h"),
        ({"month": "2026-06", "most_per_mark": 0}, "most_per_mark"),
        ({"month": "2026-06", "supersedes": "pln_absent"}, None),
        ({"month": "2026-06", "mark_ids": ["mrk_absent"]}, None),
        ({"start": "2026-06-01T00:00:00Z", "end": "2027-06-01T00:00:00Z"}, "end"),
    ],
)
def test_a_request_that_makes_no_plan_is_refused(shore, body, field):
    client, _ = shore
    refused = client.post("/v1/plans", json=body)
    assert 400 <= refused.status_code < 500, refused.text
    if field is None:
        assert refused.json()["type"] == "/problems/not-found"
    else:
        assert any(field in one["field"] for one in refused.json()["errors"]), refused.text


def test_a_month_and_a_zone_that_are_none_are_told_at_once(shore):
    client, _ = shore
    for month in ("2026-13", "1600-01"):
        asked = client.post("/v1/plans", json={"month": month, "time_zone": "Nowhere/Here"})
        assert asked.status_code == 422
        assert {one["field"] for one in asked.json()["errors"]} == {"month", "time_zone"}
