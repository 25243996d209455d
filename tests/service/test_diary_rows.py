"""Coarse rows of old diaries over HTTP: versions, and the effort that each tells."""

from __future__ import annotations

import pytest

from tests.service.coast import example
from tests.service.problems import problem

MERGE = {"Content-Type": "application/merge-patch+json"}
ROW = {name: value for name, value in example("create_diary_row").items() if name != "external_ref"}
BY_CLOCK = {name: value for name, value in ROW.items() if name != "tide"}


@pytest.fixture(scope="module")
def client(logbook):
    """The coast, with a mark whose clocks change."""
    client, _ = logbook
    summer = {**example("create_mark"), "external_ref": "summer-ledge", "time_zone": "WET", "slack_lags": None}
    assert client.post("/v1/marks", json=summer).status_code == 201
    return client


def faults(response) -> set[str]:
    return {one["field"] for one in problem(response, 422, "invalid-input")["errors"]}


def test_a_row_is_logged_read_edited_and_deleted(client):
    made = client.post("/v1/diary-rows", json=example("create_diary_row"))
    assert made.status_code == 201, made.text
    path, tag, answer = made.headers["location"], made.headers["etag"], made.json()
    assert client.get(path).json() == answer
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    query = {"external_ref": example("create_diary_row")["external_ref"]}
    assert client.put("/v1/diary-rows", params=query, json=ROW).json()["version"] == 1
    edited = client.patch(path, json={"rods": 1}, headers={**MERGE, "If-Match": tag})
    assert (edited.json()["version"], edited.json()["effort"]["rod_hours"]) == (2, 4.0)
    problem(client.put(path, json=ROW, headers={"If-Match": tag}), 412, "stale")
    assert client.put(path, json=ROW, headers={"If-Match": edited.headers["etag"]}).json()["version"] == 3
    assert client.get(path, params={"version": 2}).json()["row"]["rods"] == 1
    assert len(client.get(f"{path}/versions").json()["items"]) == 3
    assert [one["id"] for one in client.get("/v1/diary-rows", params=query).json()["items"]] == []
    assert client.delete(path, headers={"If-Match": "*"}).status_code == 204
    problem(client.get(path), 404, "not-found")


def test_hours_of_the_tide_are_told_by_the_tide_of_the_mark(client):
    answer = client.post("/v1/diary-rows", json=ROW).json()
    effort, query = answer["effort"], {"start": "2019-11-16T00:00:00Z", "end": "2019-11-17T00:00:00Z"}
    waters = client.get(f"/v1/marks/{answer['mark_id']}/extremes", params=query).json()
    highs = [time for time, kind in zip(waters["times"], waters["kinds"], strict=True) if kind == "high"]
    (span,) = effort["spans"]
    assert (effort["coarse"], effort["rod_hours"], effort["notes"]) == (True, 8.0, [])
    assert (int(span["start"][11:13]) + 2) % 24 == int(highs[1][11:13])
    assert span["start"][13:17] == highs[1][13:17]
    assert (effort["station_id"], effort["station_version"]) == (waters["station_id"], 1)
    # Of two high waters it is not said which; at a mark without a tide it is not known when either was.
    either = client.post("/v1/diary-rows", json={**ROW, "tide": {**ROW["tide"], "which": None}}).json()["effort"]
    assert (either["rod_hours"], either["spans"]) == (8.0, [])
    assert "which was fished is not known" in either["notes"][0]
    bare = client.post("/v1/diary-rows", json={**ROW, "mark": "hollow-ledge"}).json()["effort"]
    assert (bare["station_id"], bare["spans"], bare["notes"]) == (None, [], ["the water of the day is not given"])


def test_hours_in_which_the_clocks_change_are_named(client):
    """In WET 2025-10-26 01:00 to 02:00 comes twice."""
    night = {**BY_CLOCK, "mark": "summer-ledge", "date": "2025-10-26", "hours": {"from": "00:00", "to": "03:00"}}
    effort = client.post("/v1/diary-rows", json={**night, "rods": 1}).json()["effort"]
    assert effort["rod_hours"] == 4.0
    assert "clocks change" in effort["notes"][0]
    unsaid = client.post("/v1/diary-rows", json=BY_CLOCK).json()["effort"]
    assert (unsaid["rod_hours"], unsaid["notes"]) == (None, ["it is not said when: effort unknown"])
    idle = {**BY_CLOCK, "caught": [], "outcome": "not_fished", "why_not": "surf"}
    assert client.post("/v1/diary-rows", json=idle).json()["effort"]["rod_hours"] == 0.0


def test_rows_are_listed_by_their_day(client):
    days = ["2018-02-03", "2018-02-01", "2018-02-02"]
    made = [
        client.post("/v1/diary-rows", json={**BY_CLOCK, "mark": "summer-ledge", "date": day}).json() for day in days
    ]
    query = {"mark_id": made[0]["mark_id"], "from": "2018-02-01", "to": "2018-02-03", "limit": 1}
    first = client.get("/v1/diary-rows", params=query).json()
    rest = client.get("/v1/diary-rows", params={**query, "cursor": first["next_cursor"]}).json()
    assert [one["date_local"] for one in first["items"] + rest["items"]] == ["2018-02-01", "2018-02-02"]
    assert rest["next_cursor"] is None
    assert faults(client.get("/v1/diary-rows", params={**query, "to": "2018-01-01"})) == {"to"}


def test_what_is_wrong_with_a_row_is_named(client):
    assert faults(client.post("/v1/diary-rows", json={**ROW, "mark": "nowhere"})) == {"mark"}
    assert faults(client.post("/v1/diary-rows", json={**ROW, "date": "2199-01-01"})) == {"date"}
    both = {**ROW, "hours": {"from": "18:00", "to": "21:00"}, "outcome": "blank"}
    assert faults(client.post("/v1/diary-rows", json=both)) == {"tide", "outcome"}
