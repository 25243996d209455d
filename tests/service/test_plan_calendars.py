"""Sessions of a plan as calendar and table, and the calendar followed from plan to plan."""

from __future__ import annotations

import csv
import io
import zoneinfo
from datetime import datetime, timedelta
from typing import Any

import icalendar
import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem
from tests.service.rfc5545 import read_calendar
from tests.service.test_plans import items, made

#: The clocks of the mark go back on 25 October.
ASKED = {
    "start": "2026-10-22T00:00:00Z",
    "end": "2026-10-28T00:00:00Z",
    "travel_min": 25,
    "include_dangerous": True,
    "series": "followed",
}
ZONE = zoneinfo.ZoneInfo("Europe/London")
GROUND = example("create_mark_in_full")["ground_datum"]
GULLY = {"name": "gully", "lowest_sill_m": 2.0, "bed": "clean_sand", "length_m": 400.0}


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """An application with a mark whose way back the water can cover, and a plan."""
    app = create_app(settings_for(tmp_path_factory.mktemp("calendars"), plan_workers=1))
    with TestClient(app, base_url=URL, client=PEER) as client:
        coast = make_coast(client)
        told = {
            **example("create_mark"),
            "external_ref": "gully",
            "name": "Long, Beach; <b>",
            "way_back": [GULLY],
            "ground_datum": GROUND,
        }
        told |= {"time_zone": "Europe/London", "station": coast.station}
        mark = client.post("/v1/marks", json=told)
        assert mark.status_code == 201, mark.text
        asked = {**ASKED, "mark_ids": [mark.json()["id"]]}
        yield client, coast, asked, made(client, asked)


def calendar(client: TestClient, plan_id: str, **query: Any) -> Any:
    told = client.get(f"/v1/plans/{plan_id}/calendar", params=query)
    assert told.status_code == 200, told.text
    return told


def events(raw: bytes) -> dict[str, Any]:
    """Events by their UID, as the package reads them."""
    found = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    return {str(event["UID"]): event for event in found}


def test_a_calendar_has_the_sessions_of_the_plan_and_their_alarms(shore):
    client, _, _, plan = shore
    sessions = items(client, f"/v1/plans/{plan['id']}/sessions", order="time")
    told = calendar(client, plan["id"])
    assert told.headers["content-type"] == "text/calendar; charset=utf-8; method=PUBLISH"
    found = events(told.content)
    assert len(found) == len(sessions) > 4
    turned, late = 0, 0
    for one, event in zip(sessions, found.values(), strict=True):
        assert event["DTSTART"].dt == datetime.fromisoformat(one["arrive"])
        assert event["DTEND"].dt == datetime.fromisoformat(one["leave"])
        assert (event["SEQUENCE"], event["STATUS"]) == (one["changed"], "CONFIRMED")
        rings = [event["DTSTART"].dt + alarm["TRIGGER"].dt for alarm in event.walk("VALARM")]
        assert rings[0] == datetime.fromisoformat(one["leave_home"])
        if one["turn_back"] is not None and one["turn_back"] > one["arrive"]:
            turned += 1
            due = datetime.fromisoformat(one["turn_back"]).replace(second=0)
            assert rings[1:] == [due - timedelta(minutes=15), due]
            assert f"Pack up to turn back by {due.astimezone(ZONE):%H:%M}." in event["DESCRIPTION"]
        else:
            assert len(rings) == 1
            assert "turn back by" not in event["DESCRIPTION"].split("Not for navigation")[0].split("Info: ")[0]
        if one["turn_back"] is not None and one["turn_back"] <= one["arrive"]:
            late += 1
            assert "Turning back is due before arriving" in event["DESCRIPTION"]
            assert event["SUMMARY"].startswith("Danger: ")
        assert "look again 24 to 48 h before, and on arrival.\nNot for navigation" in event["DESCRIPTION"]
        assert f"Computed {event['DTSTAMP'].dt.astimezone(ZONE):%-d %b %Y %H:%M};" in event["DESCRIPTION"]
        assert event["LOCATION"] == "Long, Beach; <b>"
    assert turned, "no session has a way back that the water covers"
    assert late, "no session has one that is covered on arriving"
    # The same again by a reader of lines that knows the standard and not the package.
    lines = [one for name, one in read_calendar(told.content) if name == "VEVENT"]
    assert [one["UID"] for one in lines] == list(found)
    assert [one["DTSTART"] for one in lines] == [e["DTSTART"].dt.strftime("%Y%m%dT%H%M%SZ") for e in found.values()]


def test_clocks_in_words_are_those_of_the_mark_on_both_sides_of_the_change(shore):
    client, _, _, plan = shore
    for event in events(calendar(client, plan["id"]).content).values():
        start = event["DTSTART"].dt
        # From the 25th on they are UTC, before that an hour ahead.
        ahead = timedelta(hours=1 if start < datetime.fromisoformat("2026-10-25T01:00:00Z") else 0)
        assert f"arrive {start + ahead:%H:%M}," in event["DESCRIPTION"]


def test_a_table_says_the_same(shore):
    client, coast, _, plan = shore
    sessions = items(client, f"/v1/plans/{plan['id']}/sessions", order="time")
    told = client.get(f"/v1/plans/{plan['id']}/calendar", headers={"accept": "text/csv"})
    rows = list(csv.DictReader(io.StringIO(told.text)))
    assert len(rows) == len(sessions)
    for one, row in zip(sessions, rows, strict=True):
        for name in ("mark_id", "key", "date_local", "leave_home", "arrive", "start", "end", "leave", "back_home"):
            assert row[name] == one[name]
        assert row["turn_back"] == (one["turn_back"] or "")
        assert float(row["worth_h"]) == one["worth_h"]
        assert (row["rule_id"], row["safe"]) == (coast.rule, one["verdicts"]["safe"])


def test_some_of_it_is_chosen_and_what_is_not_in_the_plan_is_refused(shore):
    client, coast, asked, plan = shore
    path = f"/v1/plans/{plan['id']}/calendar"
    best = items(client, f"/v1/plans/{plan['id']}/sessions")[:2]
    found = events(calendar(client, plan["id"], most=2, mark_id=asked["mark_ids"], rule_id=[coast.rule]).content)
    assert {e["DTSTART"].dt for e in found.values()} == {datetime.fromisoformat(one["arrive"]) for one in best}
    problem(client.get(path, params={"mark_id": coast.bare_mark}), 404, "not-found")
    problem(client.get(path, params={"rule_id": "rul_0"}), 404, "not-found")
    problem(client.get(path, headers={"accept": "image/png"}), 406, "not-acceptable")


def test_a_calendar_is_followed_through_a_change(shore):
    client, coast, asked, plan = shore
    before = calendar(client, plan["id"])
    again = client.get(f"/v1/plans/{plan['id']}/calendar", headers={"if-none-match": before.headers["etag"]})
    assert again.status_code == 304
    same = made(client, asked)
    assert events(calendar(client, same["id"]).content) == events(before.content)
    station = client.get(f"/v1/stations/{coast.station}")
    model = example("create_station")["model"]
    model["constituents"]["M2"]["phase_deg"] += 15.0
    headers = {"if-match": station.headers["etag"], "content-type": "application/merge-patch+json"}
    assert client.patch(f"/v1/stations/{coast.station}", json={"model": model}, headers=headers).status_code == 200
    after = made(client, asked)
    changes = items(client, f"/v1/plans/{after['id']}/changes")
    old, new = events(before.content), events(calendar(client, after["id"]).content)
    moved = [uid for uid in old.keys() & new.keys() if old[uid]["DTSTART"].dt != new[uid]["DTSTART"].dt]
    assert moved
    for uid in old.keys() & new.keys():
        rose = int(new[uid]["SEQUENCE"]) - int(old[uid]["SEQUENCE"])
        assert rose == (1 if uid in moved or new[uid]["STATUS"] == "CANCELLED" else rose)
        assert new[uid]["DTSTAMP"].dt >= old[uid]["DTSTAMP"].dt
    gone = [uid for uid, event in new.items() if event["STATUS"] == "CANCELLED"]
    assert len(gone) == sum("gone" in one["kinds"] for one in changes)
    assert set(gone) <= old.keys()
    assert not any(new[uid].walk("VALARM") for uid in gone)
    # Nothing that was there has vanished without a word.
    assert old.keys() <= new.keys()


def test_sessions_that_are_gone_are_told_once(shore):
    client, _, asked, _ = shore
    short = {**asked, "series": "shorter"}
    first = made(client, short)
    fewer = made(client, {**short, "most_per_mark": 3, "supersedes": first["id"]})
    told = events(calendar(client, fewer["id"]).content)
    states = [str(event["STATUS"]) for event in told.values()]
    assert states.count("CONFIRMED") == 3
    assert states.count("CANCELLED") == len(items(client, f"/v1/plans/{first['id']}/sessions")) - 3
    cancelled = [event for event in told.values() if event["STATUS"] == "CANCELLED"]
    assert all(int(event["SEQUENCE"]) >= 1 for event in cancelled)
    last = made(client, {**short, "most_per_mark": 3, "supersedes": fewer["id"]})
    assert {str(e["STATUS"]) for e in events(calendar(client, last["id"]).content).values()} == {"CONFIRMED"}
