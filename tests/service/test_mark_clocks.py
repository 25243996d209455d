"""The log goes by the clocks of its marks as they are told now, whatever zone a mark had when a trip was logged."""

from __future__ import annotations

import datetime as dt

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from tests.service.coast import PEER, URL
from tests.service.conftest import settings_for
from tests.service.log_book import BASS, do_joins, near_and_far, trip_document

MERGE = {"Content-Type": "application/merge-patch+json", "If-Match": "*"}
#: Late on New Year's Eve in UTC, and at noon.
EVE = dt.datetime(2025, 12, 31, 22, 30, tzinfo=dt.UTC)
NOON = dt.datetime(2025, 12, 31, 12, tzinfo=dt.UTC)


@pytest.fixture
def shore(tmp_path):
    app = create_app(settings_for(tmp_path, workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        marks = near_and_far(client)
        for mark in marks:
            for start in (EVE, NOON):
                made = client.post("/v1/trips", json=trip_document(mark, start, caught=[(60.0, BASS)]))
                assert made.status_code == 201, made.text
        row = {"date": "2025-12-31", "mark": marks[0], "outcome": "blank"}
        assert client.post("/v1/diary-rows", json=row).status_code == 201
        do_joins(app.state.house, LOCAL_ACCOUNT)
        yield client, marks


def set_zone(client, mark, zone):
    answer = client.patch(f"/v1/marks/{mark}", json={"time_zone": zone}, headers=MERGE)
    assert answer.status_code == 200, answer.text


def told(client, mark, year):
    """Trips of a year by what each endpoint says: by list, totals, season; and those behind its rates."""
    days = {"from_day": f"{year}-01-01", "to_day": f"{year}-12-31", "mark_id": mark}
    listed = client.get("/v1/trips", params={"mark_id": mark}).json()["items"]
    totals = client.get("/v1/insights/totals", params=days).json()
    season = client.get(f"/v1/insights/seasons/{year}", params={"mark_id": mark}).json()
    rates = client.get("/v1/insights/rates", params={"by": "light", **days}).json()["trips"]
    return (
        sum(one["date_local"].startswith(str(year)) for one in listed),
        totals["trips"]["all"],
        season["trips"]["all"],
        rates["fished"],
    ), (rates["counted"], rates["not_joined"])


def test_trips_move_to_the_days_of_the_clocks_of_their_mark(shore):
    client, (near, far) = shore
    assert told(client, near, 2025) == ((2, 2, 2, 2), (2, 0))
    tag = client.get("/v1/insights/totals").headers["etag"]
    set_zone(client, near, "Etc/GMT-3")
    # At once; what is kept of the tide by the days before is no more, and said to be missing.
    assert told(client, near, 2025) == ((1, 1, 1, 1), (1, 0))
    assert told(client, near, 2026) == ((1, 1, 1, 1), (0, 1))
    assert told(client, far, 2025) == ((2, 2, 2, 2), (2, 0))
    assert client.get("/v1/insights/totals").headers["etag"] != tag
    do_joins(client.app.state.house, LOCAL_ACCOUNT)
    assert told(client, near, 2026) == ((1, 1, 1, 1), (1, 0))
    # A row of a diary has the day that was written in it.
    assert client.get("/v1/insights/seasons/2025").json()["diary_rows"] == 1
    set_zone(client, near, "Etc/UTC")
    do_joins(client.app.state.house, LOCAL_ACCOUNT)
    assert told(client, near, 2025) == ((2, 2, 2, 2), (2, 0))


def test_other_edits_of_a_mark_keep_the_joins_that_there_are(shore):
    client, (near, _) = shore
    edited = client.patch(f"/v1/marks/{near}", json={"name": "Another name"}, headers=MERGE)
    assert edited.status_code == 200
    assert told(client, near, 2025) == ((2, 2, 2, 2), (2, 0))


def test_more_joins_than_trips_are_no_trips_that_are_not_joined(shore, monkeypatch):
    """As in a store whose mark was told other clocks before its trips followed them."""
    client, (near, _) = shore
    monkeypatch.setattr("service.storage.repositories.log_days.LogDayRepository.move", lambda *_: [])
    set_zone(client, near, "Etc/GMT-3")
    do_joins(client.app.state.house, LOCAL_ACCOUNT)
    _, behind = told(client, near, 2026)
    assert behind == (1, 0)
