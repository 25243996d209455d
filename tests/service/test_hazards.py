"""Hazards in answers, and the safety thresholds of an account, over HTTP."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.holders import context_of, keyed_client, make_holder
from tests.service.problems import problem

SPAN = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-05T00:00:00Z"}
PATH = "/v1/safety-thresholds"
PATCH = {"Content-Type": "application/merge-patch+json"}
FIELDS = {"kind", "grade", "start", "end", "value", "unit", "threshold", "source", "text"}
# A whole number is one to JSON, whether written 2 or 2.0.
PARTY = {"party": 2.0, "first_visit": False, "wading": False, "bathers": False}


def sea(client, mark, height, period=14.0):
    hours = [f"2026-06-{day:02d}T{hour:02d}:00:00Z" for day in range(1, 6) for hour in range(0, 24, 3)]
    body = {
        "mark_id": mark,
        "kind": "forecast",
        "source": "invented",
        "issued_at": "2026-05-31T18:00:00Z",
        "waves_at": "at_mark",
        "wave_period_kind": "peak",
        "times": hours,
        "values": {"wave_height_m": [height] * len(hours), "wave_period_s": [period] * len(hours)},
    }
    assert client.post("/v1/conditions", json=body).status_code == 201


@pytest.fixture(scope="module")
def ledge(tmp_path_factory):
    """A client, a ledge under a swell, and a rule."""
    app = create_app(settings_for(tmp_path_factory.mktemp("ledge")))
    with TestClient(app, base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield under_swell(client)


def under_swell(client):
    coast = make_coast(client)
    new = {**example("create_mark"), "kind": "rock_ledge", "external_ref": "swell-ledge", "beds": []}
    mark = client.post("/v1/marks", json=new).json()["id"]
    sea(client, mark, 1.2)
    return client, mark, coast.rule


def searched(ledge, path, **changes):
    client, mark, rule = ledge
    body = {**SPAN, "mark_ids": [mark], "rule_ids": [rule], "outing": PARTY, **changes}
    found = client.post(path, json=body)
    assert found.status_code == 200, found.text
    return found.json()


def test_windows_in_danger_are_shown_to_who_asks_and_stay_marked(ledge):
    without = searched(ledge, "/v1/windows/search")
    assert without["windows"] == []
    assert "waves on rock 100%" in " ".join(without["without_window"][0]["reasons"])
    shown = searched(ledge, "/v1/windows/search", include_dangerous=True)
    assert shown["windows"]
    for window in shown["windows"]:
        assert window["safe"]["grade"] == "danger"
        worst = window["hazards"][0]
        assert set(worst) == FIELDS
        assert (worst["kind"], worst["grade"], worst["value"], worst["threshold"]) == (
            "waves_on_rock",
            "danger",
            1.2,
            1.0,
        )
        assert worst["start"] <= window["start"]
        assert "14 s" in worst["text"]
        assert {"thunder", "official_warning", "cut_off"} <= set(window["safe"]["not_assessed"])
        assert "coastguard" in window["safe"]["sentences"][-1]


def test_sessions_and_why_not_say_the_same(ledge):
    assert searched(ledge, "/v1/sessions/search")["sessions"] == []
    shown = searched(ledge, "/v1/sessions/search", include_dangerous=True)
    session = shown["sessions"][0]["session"]
    assert session["safe"]["grade"] == session["verdicts"]["safe"]["grade"] == "danger"
    assert session["hazards"][0]["kind"] == "waves_on_rock"
    client, mark, rule = ledge
    asked = {"mark_id": mark, "rule_id": rule, "at": "2026-06-03T12:00:00Z", "outing": PARTY}
    told = client.post("/v1/windows/why-not", json=asked).json()
    assert told["safe"]["grade"] == "danger"
    assert told["hazards"][0]["kind"] == "waves_on_rock"


def test_facts_that_contradict_each_other_are_refused(ledge):
    client, mark, _ = ledge
    body = {**SPAN, "mark_ids": [mark], "outing": {"alone": True, "party": 3}}
    refused = problem(client.post("/v1/windows/search", json=body), 422, "invalid-input")
    assert refused["errors"][0]["field"].endswith("alone")


def test_thresholds_are_versioned_and_an_edit_needs_the_tag(client):
    read = client.get(PATH)
    told, tag = read.json(), read.headers["etag"]
    assert (told["version"], told["changed"], told["updated_at"]) == (0, [], None)
    assert told["thresholds"] == told["defaults"]
    problem(client.put(PATH, json={}), 428, "precondition-missing")
    edited = client.put(PATH, json={"ledge_height_any_period_m": 1.2}, headers={"If-Match": tag})
    assert edited.status_code == 200, edited.text
    assert (edited.json()["version"], edited.json()["changed"], edited.json()["loosened"]) == (
        1,
        ["ledge_height_any_period_m"],
        [],
    )
    problem(client.put(PATH, json={}, headers={"If-Match": tag}), 412, "stale")
    assert client.get(PATH, headers={"If-None-Match": edited.headers["etag"]}).status_code == 304
    loose = client.patch(
        PATH, json={"knee_m": 0.8, "ledge_height_any_period_m": None}, headers={**PATCH, "If-Match": "*"}
    ).json()
    assert (loose["version"], loose["changed"], loose["loosened"]) == (2, ["knee_m"], ["knee_m"])
    assert "knee_m: 0.8 instead of 0.5" in loose["said"][0]
    same = client.patch(PATH, json={"knee_m": 0.8}, headers={**PATCH, "If-Match": "*"})
    assert same.json()["version"] == 2


@pytest.mark.parametrize("body", [{"knee_m": "high"}, {"knee_m": 9.0}, {"nothing": 1.0}])
def test_thresholds_that_are_none_are_refused(client, body):
    before = client.get(PATH).json()
    (name,) = body
    problem(client.put(PATH, json=body, headers={"If-Match": "*"}), 422, "invalid-request", name)
    problem(client.patch(PATH, json=body, headers={**PATCH, "If-Match": "*"}), 422, "invalid-input", name)
    assert client.get(PATH).json() == before


def test_a_loosened_threshold_lets_through_and_is_seen_in_every_answer(client):
    ledge = under_swell(client)
    assert searched(ledge, "/v1/windows/search")["windows"] == []
    loose = {"ledge_long_period_height_m": 1.4}
    assert client.put(PATH, json=loose, headers={"If-Match": "*"}).status_code == 200
    # The same question, word for word: what is remembered of an answer is no older than the thresholds.
    windows = searched(ledge, "/v1/windows/search")["windows"]
    assert windows
    for window in windows:
        assert window["safe"]["loosened"] == ["ledge_long_period_height_m"]
        assert any("has loosened ledge_long_period_height_m" in said for said in window["safe"]["sentences"])
    sessions = searched(ledge, "/v1/sessions/search")["sessions"]
    assert all(one["session"]["safe"]["loosened"] == ["ledge_long_period_height_m"] for one in sessions)


def test_thresholds_are_an_accounts_own(tmp_path):
    with keyed_client(tmp_path) as client:
        one, other = (make_holder(context_of(client), "read", "write") for _ in range(2))
        headers = {**one.headers, "If-Match": "*"}
        assert client.put(PATH, json={"knee_m": 0.9}, headers=headers).status_code == 200
        assert client.get(PATH, headers=one.headers).json()["loosened"] == ["knee_m"]
        theirs = client.get(PATH, headers=other.headers).json()
        assert (theirs["version"], theirs["loosened"]) == (0, [])
        reader = make_holder(context_of(client), "read", account_id=one.account_id)
        problem(client.put(PATH, json={}, headers={**reader.headers, "If-Match": "*"}), 403, "scope-needed")
        kinds = [change["kind"] for change in client.get("/v1/changes", headers=one.headers).json()["items"]]
        assert "safety_thresholds" in kinds
