"""A season tells firsts by the local day of the fish, and why nobody fished of the trips that it counts beside."""

from __future__ import annotations

import datetime as dt

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.log_book import BASS, FLAT, trip_document

COD = {"scientific_name": "Gadus inventus", "fao_code": "ZCD"}
RAY = {"scientific_name": "Raja inventa"}
WHITING = {"scientific_name": "Merlangius inventus"}
NEW_YEARS_EVE = dt.datetime(2012, 12, 31, 22, 15, tzinfo=dt.UTC)


def diary(mark, day, outcome, **more):
    return {"mark": mark, "date": day, "outcome": outcome, **more}


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    app = create_app(settings_for(tmp_path_factory.mktemp("seasons"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        station = client.post("/v1/stations", json=example("create_station")).json()["id"]
        plain = {**example("create_mark"), "station": station}
        zones = {"utc": "Etc/UTC", "east": "Etc/GMT-9"}
        marks = {
            name: client.post("/v1/marks", json={**plain, "external_ref": name, "time_zone": zone}).json()["id"]
            for name, zone in zones.items()
        }
        may = dt.datetime(2013, 5, 1, tzinfo=dt.UTC)
        said = [
            # At 02:00 on New Year's day, of the trip that began before it; and one before midnight.
            trip_document("utc", NEW_YEARS_EVE, caught=[(60.0, FLAT), (225.0, BASS)]),
            trip_document("utc", NEW_YEARS_EVE + dt.timedelta(days=200), caught=[(60.0, BASS)]),
            # The trip that began first has its cod last: of two days the second, and another trip the first of them.
            trip_document("utc", may + dt.timedelta(hours=22), caught=[(200.0, COD)]),
            trip_document("utc", may + dt.timedelta(hours=22.5), caught=[(60.0, COD), (70.0, RAY)]),
            # 20:00 UTC is the next day by the clocks of the mark, on which the trip began as well.
            trip_document("east", may + dt.timedelta(hours=19), caught=[(60.0, WHITING)]),
        ]
        unfished = {"mark": "utc", "start": "2013-03-29T06:00Z", "outcome": "not_fished", "why_not": "surf"}
        for one in (*said, {"trip": unfished}):
            made = client.post("/v1/trips", json=one)
            assert made.status_code == 201, made.text
        for row in (
            diary("utc", "2013-02-01", "not_fished"),
            diary("utc", "2013-02-02", "not_fished", why_not="weed"),
            diary("utc", "2013-05-02", "fished", caught=[{"species": RAY, "count": 1}]),
        ):
            made = client.post("/v1/diary-rows", json=row)
            assert made.status_code == 201, made.text
        yield client, marks


def season(client, year, **query):
    found = client.get(f"/v1/insights/seasons/{year}", params=query)
    assert found.status_code == 200, found.text
    return found.json()


def firsts(client, year, **query):
    found = season(client, year, **query)["firsts"]
    return [(one["species"]["scientific_name"], one["date_local"], one["first_on_record"]) for one in found]


def test_a_first_is_told_by_the_day_of_the_fish(shore):
    client, marks = shore
    # A trip counts to the year in which it began, with all that it caught.
    assert firsts(client, 2012) == [("Piscis planus", "2012-12-31", True), ("Piscis inventus", "2013-01-01", True)]
    assert firsts(client, 2013) == [
        ("Gadus inventus", "2013-05-01", True),
        ("Raja inventa", "2013-05-01", True),
        ("Merlangius inventus", "2013-05-02", True),
        ("Piscis inventus", "2013-07-19", False),
    ]
    assert firsts(client, 2013, mark_id=marks["east"]) == [("Merlangius inventus", "2013-05-02", True)]
    assert firsts(client, 2013, species="ZCD") == [("Gadus inventus", "2013-05-01", True)]


def test_why_nobody_fished_is_of_the_trips_that_were_not(shore):
    found = season(shore[0], 2013)
    assert found["not_fished"] == [{"why_not": "surf", "times": 1}]
    assert sum(one["times"] for one in found["not_fished"]) == found["trips"]["not_fished"]
    assert found["diary_rows"] == 3
