"""Slack notes over HTTP, and the slack lags they tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem

#: Offsets that put the mark's waters 40 and 20 min after the station's.
OFFSETS = {
    "standard_zone": "+00:00",
    "high_water": {"times": [{"clock_h": 0, "later_min": 40}]},
    "low_water": {"times": [{"clock_h": 0, "later_min": 20}]},
}
MERGE = "application/merge-patch+json"


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """A coast that the tests of this module may change."""
    app = create_app(settings_for(tmp_path_factory.mktemp("slacks")))
    with TestClient(app, base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture
def coastal(shore):
    """That coast, with a mark of the test's own."""
    client, coast = shore
    made = client.post("/v1/marks", json={**example("create_mark"), "external_ref": None})
    return client, replace(coast, mark=made.json()["id"])


def note(client, mark, time, turned_to, headers=None, **more):
    body = {"time": f"{time}Z", "turned_to": turned_to, **more}
    return client.post(f"/v1/marks/{mark}/slack-notes", json=body, headers=headers or {})


def waters(client, station, kind):
    span = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-08T00:00:00Z"}
    found = client.get(f"/v1/stations/{station}/extremes", params=span).json()
    pairs = zip(found["times"], found["kinds"], strict=True)
    return [np.datetime64(time.removesuffix("Z")) for time, one in pairs if one == kind]


def note_many(client, mark, station, after_hw, after_lw, shift=(0, 0)):
    for kind, word, minutes, later in (("high", "ebb", after_hw, shift[0]), ("low", "flood", after_lw, shift[1])):
        for water, one in zip(waters(client, station, kind)[1::2], minutes, strict=False):
            assert note(client, mark, water + np.timedelta64(60 * (one + later), "s"), word).status_code == 201


def test_a_note_is_made_read_listed_and_deleted(coastal):
    client, coast = coastal
    made = note(client, coast.mark, "2026-06-01T14:25:00", "ebb", notes="Line slack.", external_ref="turn-1")
    assert made.status_code == 201
    shown = made.json()
    place = made.headers["location"]
    assert place == f"/v1/slack-notes/{shown['id']}"
    read = client.get(place)
    assert read.json() == shown
    assert (shown["mark_id"], shown["time"], shown["turned_to"]) == (coast.mark, "2026-06-01T14:25:00Z", "ebb")
    listed = client.get(f"/v1/marks/{coast.mark}/slack-notes").json()
    assert (listed["items"], listed["next_cursor"]) == ([shown], None)
    assert client.get(f"/v1/marks/{coast.bare_mark}/slack-notes").json()["items"] == []
    problem(client.delete(place), 428, "precondition-missing")
    problem(client.delete(place, headers={"If-Match": '"x"'}), 412, "stale")
    assert client.delete(place, headers={"If-Match": read.headers["etag"]}).status_code == 204
    problem(client.get(place), 404, "not-found")


def test_pages_go_through_all_notes(coastal):
    client, coast = coastal
    made = [note(client, coast.mark, f"2026-06-0{day}T14:00:00", "flood").json()["id"] for day in range(1, 6)]
    found, cursor = [], None
    while True:
        params = {"limit": 2} | ({} if cursor is None else {"cursor": cursor})
        page = client.get(f"/v1/marks/{coast.mark}/slack-notes", params=params).json()
        found += [one["id"] for one in page["items"]]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert found == made


def test_the_same_note_sent_again_is_made_once(coastal):
    client, coast = coastal
    sent = [note(client, coast.mark, "2026-06-01T14:25:00", "ebb", {"Idempotency-Key": "turn"}) for _ in range(2)]
    assert sent[0].json() == sent[1].json()
    assert len(client.get(f"/v1/marks/{coast.mark}/slack-notes").json()["items"]) == 1
    problem(
        note(client, coast.mark, "2026-06-02T14:25:00", "ebb", {"Idempotency-Key": "turn"}),
        422,
        "idempotency-key-reused",
    )


@pytest.mark.parametrize(
    ("changes", "kind", "field"),
    [
        ({"time": "2026-06-01T14:25"}, "invalid-request", "time"),
        ({"time": "1850-06-01T14:25:00Z"}, "invalid-input", "time"),
        ({"time": "2099-06-01T14:25:00Z"}, "invalid-input", "time"),
        ({"turned_to": "slack"}, "invalid-request", "turned_to"),
        ({"speed": 1}, "invalid-request", "speed"),
    ],
)
def test_a_bad_note_is_refused(coastal, changes, kind, field):
    client, coast = coastal
    body = {"time": "2026-06-01T14:25:00Z", "turned_to": "ebb"} | changes
    problem(client.post(f"/v1/marks/{coast.mark}/slack-notes", json=body), 422, kind, field)


def test_notes_tell_lags_that_are_adopted_on_purpose(coastal):
    client, coast = coastal
    note_many(client, coast.mark, coast.station, [30, 36, 42], [-20, -12, -10])
    told = client.get(f"/v1/marks/{coast.mark}/slack-lags").json()
    assert told["after_hw"]["lag_min"] == pytest.approx(36, abs=0.1)
    assert told["after_lw"]["lag_min"] == pytest.approx(-12, abs=0.1)
    for one in (told["after_hw"], told["after_lw"]):
        assert one["high_min"] - one["lag_min"] >= 20
        assert one["lag_min"] - one["low_min"] >= 20
        assert (one["notes"], one["tides"]) == (3, 3)
    before = client.get(f"/v1/marks/{coast.mark}").json()
    assert before["slack_lags"] == example("create_mark")["slack_lags"]
    adopted = client.post(f"/v1/marks/{coast.mark}/slack-lags/adopt")
    assert adopted.status_code == 200
    lags = {"after_hw_min": told["after_hw"]["lag_min"], "after_lw_min": told["after_lw"]["lag_min"]}
    assert adopted.json()["slack_lags"] == lags
    assert adopted.json()["version"] == before["version"] + 1
    assert client.get(f"/v1/marks/{coast.mark}").headers["etag"] == adopted.headers["etag"]
    assert client.post(f"/v1/marks/{coast.mark}/slack-lags/adopt").json()["version"] == before["version"] + 1


def test_lags_are_after_the_marks_own_waters(coastal):
    client, coast = coastal
    patched = client.patch(
        f"/v1/marks/{coast.mark}", json={"offsets": OFFSETS}, headers={"If-Match": "*", "content-type": MERGE}
    )
    assert patched.status_code == 200, patched.text
    note_many(client, coast.mark, coast.station, [30, 30, 30], [15, 15, 15], shift=(40, 20))
    told = client.get(f"/v1/marks/{coast.mark}/slack-lags").json()
    assert told["after_hw"]["lag_min"] == pytest.approx(30, abs=0.1)
    assert told["after_lw"]["lag_min"] == pytest.approx(15, abs=0.1)


def test_one_sided_notes_are_a_clear_problem(coastal):
    client, coast = coastal
    for way in (client.get, lambda path: client.post(path + "/adopt")):
        found = problem(way(f"/v1/marks/{coast.mark}/slack-lags"), 409, "slack-undetermined")
        assert "no slack notes" in found["detail"]
    note_many(client, coast.mark, coast.station, [30, 36], [])
    found = problem(client.get(f"/v1/marks/{coast.mark}/slack-lags"), 409, "slack-undetermined")
    assert "turns to the flood, after low water" in found["detail"]
    assert "2 say when it turns to the ebb" in found["detail"]


def test_notes_of_one_tide_and_notes_off_the_tide_are_said(coastal):
    client, coast = coastal
    high, low = waters(client, coast.station, "high")[2], waters(client, coast.station, "low")[2]
    for minutes in (20, 25, 30):
        note(client, coast.mark, high + np.timedelta64(minutes, "m"), "ebb")
    note(client, coast.mark, low + np.timedelta64(5, "m"), "flood")
    far = note(client, coast.mark, high + np.timedelta64(330, "m"), "ebb").json()["id"]
    told = client.get(f"/v1/marks/{coast.mark}/slack-lags").json()
    assert told["one_tide"] is True
    assert told["unused"] == [far]
    assert told["after_hw"]["high_min"] - told["after_hw"]["lag_min"] == pytest.approx(34.6, abs=0.1)


def test_lags_need_the_tide_of_the_station(coastal):
    client, coast = coastal
    note(client, coast.bare_mark, "2026-06-01T14:25:00", "ebb")
    problem(client.get(f"/v1/marks/{coast.bare_mark}/slack-lags"), 409, "no-model")
    problem(client.get("/v1/marks/mrk_0/slack-lags"), 404, "not-found")
    problem(note(client, "mrk_0", "2026-06-01T14:25:00", "ebb"), 404, "not-found")


def test_notes_are_in_the_list_of_changes_and_go_with_their_mark(coastal):
    client, coast = coastal
    first = note(client, coast.mark, "2026-06-01T14:25:00", "ebb").json()["id"]
    changes = client.get("/v1/changes").json()
    assert {"kind": "slack_note", "id": first, "change": "created", "version": 1}.items() <= changes["items"][
        -1
    ].items()
    assert client.delete(f"/v1/marks/{coast.mark}", headers={"If-Match": "*"}).status_code == 204
    later = client.get("/v1/changes", params={"after": changes["next_after"]}).json()["items"]
    assert [(one["kind"], one["change"]) for one in later] == [("slack_note", "deleted"), ("mark", "deleted")]
    problem(client.get(f"/v1/slack-notes/{first}"), 404, "not-found")
