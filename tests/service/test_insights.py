"""What the log says over HTTP: trips joined to the tide, totals, rates held to a count of every second, seasons."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter

import numpy as np
import pytest
from scipy.stats import chi2
from sqlalchemy import event, text
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from service.storage.engine import is_postgresql
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.log_book import BASS, FLAT, START, do_joins, trip_document
from tidecore.catchlog import DEFAULT_BINS, TripRecord, bins_at, ticks
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.timeline import build_timeline, factors

DAY = dt.timedelta(days=1)
SECOND = 1_000_000
HW = DEFAULT_BINS["hours_from_hw"].edges


@pytest.fixture(scope="module")
def coast(tmp_path_factory):
    """A served log without a runner: six trips of two purposes, one blank, one not fished, two coarse rows."""
    app = create_app(settings_for(tmp_path_factory.mktemp("insights"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        station = client.post("/v1/stations", json=example("create_station")).json()["id"]
        mark = client.post("/v1/marks", json=example("create_mark")).json()["id"]
        said = [
            trip_document(mark),
            trip_document(mark, START + 3 * DAY, caught=[(100.0, BASS)] * 4, purpose="match", drawn_peg="7"),
            trip_document(mark, START + 5.3 * DAY, caught=[(30.0, FLAT), (210.0, BASS)], casts=False),
            trip_document(mark, START + 9.6 * DAY, caught=[]),
            trip_document(mark, START + 40 * DAY, caught=[(61.0, BASS), (62.0, BASS)]),
            trip_document(mark, START - 365 * DAY, caught=[(61.0, FLAT)]),
        ]
        unfished = {"trip": {"mark": mark, "start": "2026-03-29T06:00Z", "outcome": "not_fished", "why_not": "weed"}}
        trips = [client.post("/v1/trips", json=one) for one in (*said, unfished)]
        assert [one.status_code for one in trips] == [201] * 7, trips[0].text
        caught = [{"species": BASS, "count": 3}]
        rows = [
            {
                "date": "2026-03-02",
                "mark": mark,
                "hours": {"from": "10:00", "to": "13:00"},
                "rods": 2,
                "caught": caught,
            },
            {"date": "2025-11-02", "mark": mark, "caught": caught},
        ]
        for row in rows:
            assert client.post("/v1/diary-rows", json={**row, "outcome": "fished"}).status_code == 201
        do_joins(app.state.house, LOCAL_ACCOUNT)
        yield client, station, mark, [one.json()["id"] for one in trips], said


def ask(client, path, **query):
    found = client.get(path, params=query)
    assert found.status_code == 200, found.text
    return found.json()


def rates(client, by, **query):
    return ask(client, "/v1/insights/rates", by=by, **query)


def by_name(found):
    return {one["name"]: one["rate"] for one in found["bins"]}


@pytest.fixture(scope="module")
def seconds(coast):
    """Bin of every second of bait in the water, and of every catch, of the trips with casts on record."""
    client, station, _, _, said = coast
    house = client.app.state.house
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        model = TideModel.from_document(unit.stations.document(station, 1))
    mark = Mark.parse({**{k: v for k, v in example("create_mark").items() if k != "external_ref"}, "station": station})
    counted: tuple[Counter[str], Counter[str]] = Counter(), Counter()
    for document in said:
        record = TripRecord.parse(document)
        day = record.trip.start.replace(tzinfo=None)
        tide = build_timeline(mark, model, np.datetime64(day) - 1, np.datetime64(day + DAY), names=())
        casts = [cast for one in record.deployments for cast in one.casts]
        if casts:
            at = np.concatenate([np.arange(ticks(one.out), ticks(one.in_), SECOND) for one in casts])
            counted[0].update(bins_at(tide, "hours_from_hw", HW, at))
        catches = np.array([ticks(one.at) for one in record.catches if one.species.fao_code], dtype=np.int64)
        counted[1].update(bins_at(tide, "hours_from_hw", HW, catches))
    return counted


def test_rates_by_default_bins_are_those_of_every_second(coast, seconds):
    effort, caught = seconds
    found = rates(coast[0], "hours_from_hw", species="ZZZ")
    for name, one in by_name(found).items():
        assert one["effort_h"] * 3600.0 == pytest.approx(effort[name], abs=20.0), name
        assert one["count"] + one["uncounted"] == caught[name], name
        # One trip has no casts on record. Rods in use after the last cast are no effort, and none that is unknown.
        assert one["effort_unknown"] <= 1, name
        assert (one["trips"] > 0) == (effort[name] > 0), name
    assert found["together"]["effort_h"] == pytest.approx(sum(effort.values()) / 3600.0, abs=0.001)
    assert (found["together"]["count"], found["together"]["uncounted"]) == (8, 1)
    assert found["trips"] == {"fished": 6, "not_fished": 1, "counted": 6, "not_joined": 0, "older": 0}
    assert [one["newest"] for one in found["joined_to"]] == [True]
    assert any("cannot be told apart" in one for one in found["remarks"])
    assert any(one.startswith("Thin evidence") for one in found["remarks"])


def test_edges_of_ones_own_join_anew_and_say_the_same(coast):
    kept = by_name(rates(coast[0], "hours_from_hw", effort="raw"))
    own = by_name(rates(coast[0], "hours_from_hw", effort="raw", edges=[*HW, 30.0]))
    assert {name: own.get(name) for name in kept if name != "5 and over"} == {
        name: one for name, one in kept.items() if name != "5 and over"
    }
    heights = rates(coast[0], "height", edges=[3.0], effort="raw")
    assert sum(one["rate"]["effort_h"] for one in heights["bins"]) == pytest.approx(heights["together"]["effort_h"])


def test_limits_are_those_of_garwood(coast):
    found = rates(coast[0], "mark", effort="raw", level=0.9)["bins"][0]["rate"]
    count, hours = found["count"], found["effort_h"]
    assert found["lower"] == pytest.approx(chi2.ppf(0.05, 2 * count) / 2 / hours, rel=1e-3)
    assert found["upper"] == pytest.approx(chi2.ppf(0.95, 2 * count + 2) / 2 / hours, rel=1e-3)
    assert (found["trips"], found["blanks"]) == (6, 1)


def test_coarse_rows_count_by_month_and_mark_alone_and_apart(coast):
    months = {one["name"]: one for one in rates(coast[0], "month")["bins"]}
    march = months["March"]
    assert (march["coarse"]["count"], march["coarse"]["effort_h"]) == (3, 6.0)
    assert (months["November"]["coarse"]["effort_unknown"], months["November"]["coarse"]["uncounted"]) == (1, 3)
    assert rates(coast[0], "light")["bins"][0]["coarse"] is None
    assert rates(coast[0], "month", purpose="match")["bins"][2]["coarse"] is None


def test_totals_keep_matches_and_coarse_rows_apart(coast):
    client, _, mark, *_ = coast
    found = ask(client, "/v1/insights/totals")
    assert found["trips"] == {"all": 7, "fished": 5, "blank": 1, "not_fished": 1}
    assert found["diary"]["coarse_rod_h"] == 6.0
    assert found["caught"] == 18
    bass = found["species"][0]
    assert (bass["count"], bass["from_diary"], bass["trips"]) == (15, 6, 4)
    assert found["effort"]["raw_rod_h"] == pytest.approx(6 * (225 + 179.5) / 60.0, abs=1e-4)
    assert found["effort"]["uncast_rod_h"] == pytest.approx((225 + 179.5) / 60.0, abs=1e-4)
    match = ask(client, "/v1/insights/totals", purpose="match", species="piscis INVENTUS", mark_id=mark)
    assert (match["trips"]["all"], match["caught"], match["diary"]) == (1, 4, None)
    assert ask(client, "/v1/insights/totals", from_day="2026-03-20", to_day="2026-03-20")["trips"]["all"] == 1


def test_a_season_is_a_page(coast):
    client, _, mark, trips, _ = coast
    found = ask(client, "/v1/insights/seasons/2026")
    assert found["trips"] == {"all": 6, "fished": 4, "blank": 1, "not_fished": 1}
    assert sum(one["trips"]["all"] for one in found["months"]) == 6
    assert [found["months"][2][name] for name in ("caught", "diary_caught", "coarse_rod_h")] == [9, 3, 6.0]
    assert found["best"][0]["trip_id"] == trips[1]
    assert [one["trip_id"] for one in found["blank"]] == [trips[3]]
    assert found["not_fished"] == [{"why_not": "weed", "times": 1}]
    firsts = {one["species"]["scientific_name"]: one for one in found["firsts"]}
    assert not firsts["Piscis planus"]["first_on_record"]
    assert firsts["Piscis inventus"]["date_local"] == "2026-03-02"
    assert found["longest"][0]["length_cm"] == 33.0
    assert found["marks"][0]["mark_id"] == mark


def test_a_joined_trip_says_what_it_rests_on(coast):
    client, _, mark, trips, _ = coast
    found = ask(client, f"/v1/trips/{trips[0]}/joined")
    assert found["kept"]["newest"]
    assert found["rests_on"]["mark_id"] == mark
    assert [one["ref"] for one in found["deployments"]] == ["near", "far"]
    light = found["catches"][0]["factors"]["light"]
    assert light["value"] in light["shares"]
    assert found["bites"][0]["factors"]["wave_height"] == {
        "value": None, "low": None, "high": None, "shares": {"unknown": 1.0}
    }  # fmt: skip


@pytest.mark.parametrize("path", ["totals", "rates?by=light", "rates?by=mark", "seasons/2026"])
def test_what_has_not_changed_is_not_read(coast, path, monkeypatch):
    """Neither by the process that answered it nor by one that has not read the log yet."""
    address = f"/v1/insights/{path}"
    tag = {"if-none-match": coast[0].get(address).headers["etag"]}
    assert coast[0].get(address, headers=tag).status_code == 304
    with TestClient(create_app(coast[0].app.state.house.settings), base_url=URL, client=PEER) as client:
        if not path.startswith("seasons"):
            monkeypatch.setattr("service.storage.repositories.log_sums.SumRepository._trips", None)
        again = client.get(address, headers=tag)
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag["if-none-match"])
        other = {"if-none-match": '"another"'}
        if path.startswith("seasons"):
            assert client.get(address, headers=other).json() == coast[0].get(address).json()


@pytest.mark.parametrize(
    ("path", "query", "field"),
    [
        ("rates", {"by": "height"}, "edges"),
        ("rates", {"by": "mark", "edges": [1.0]}, "edges"),
        ("rates", {"by": "light", "edges": [1.0]}, "edges"),
        ("rates", {"by": "light", "level": 1.0}, "level"),
        ("totals", {"from_day": "2026-03-02", "to_day": "2026-03-01"}, "to_day"),
        ("totals", {"from_day": "2026-02-30"}, "from_day"),
        ("seasons/1899", {}, "year"),
        ("seasons/2100", {}, "year"),
    ],
)
def test_what_cannot_be_asked_is_refused(coast, path, query, field):
    found = coast[0].get(f"/v1/insights/{path}", params=query)
    assert found.status_code == 422
    assert found.json()["errors"][0]["field"] == field


@pytest.mark.parametrize("year", [1900, 2099])
def test_the_first_and_the_last_year_may_be_asked_for(coast, year):
    assert ask(coast[0], f"/v1/insights/seasons/{year}")["trips"]["all"] == 0


def test_an_unknown_factor_is_named(coast):
    found = coast[0].get("/v1/insights/rates", params={"by": "luck"})
    assert (found.status_code, found.json()["type"]) == (422, "/problems/unknown-name")
    (fault,) = found.json()["errors"]
    # Not all of them fit there, which is said.
    named, _, more = fault["expected"].removeprefix("one of: ").partition(" and ")
    assert re.fullmatch(r"[1-9]\d* more", more)
    assert len(named.split(", ")) + int(more.split()[0]) == len(factors())


def test_too_many_trips_to_join_anew_are_refused_with_the_parameters_that_choose_fewer(coast, monkeypatch):
    monkeypatch.setattr("service.usecases.rates.MOST_TRIPS", 2)
    found = coast[0].get("/v1/insights/rates", params={"by": "hours_from_hw", "edges": [0.0]})
    (fault,) = found.json()["errors"]
    assert (fault["field"], found.status_code) == ("edges", 422)
    assert "by from_day, to_day, mark_id or purpose" in fault["expected"]


def test_joining_may_be_asked_for(coast):
    client = coast[0]
    asked = client.post("/v1/insights/joins")
    assert (asked.status_code, asked.json()["kind"]) == (202, "join")
    assert client.post("/v1/insights/joins").json()["id"] == asked.json()["id"]
    client.post(f"/v1/jobs/{asked.json()['id']}/cancel")


def test_the_queries_of_the_log_use_indexes(coast):
    """No table of the log is read whole: not for totals, rates or a season, nor to find what is to be joined."""
    _, _, mark, trips, _ = coast
    # An application that has not read the log yet.
    with TestClient(create_app(coast[0].app.state.house.settings), base_url=URL, client=PEER) as client:
        check_the_queries(client, mark, trips)


def check_the_queries(client, mark, trips):
    engine = client.app.state.house.store.engine
    tables = ("trips", "trip_versions", "trip_facts", "trip_joins", "diary_rows", "diary_row_versions")
    heard = []

    def hear(_connection, _cursor, statement, parameters, *_):
        if any(f"FROM {table}" in statement for table in tables):
            heard.append((statement, parameters))

    event.listen(engine, "before_cursor_execute", hear)
    try:
        rates(client, "light", from_day="2026-01-01", to_day="2026-12-31")
        rates(client, "mark", mark_id=mark)
        ask(client, "/v1/insights/totals", mark_id=mark)
        ask(client, "/v1/insights/seasons/2026")
        ask(client, f"/v1/trips/{trips[0]}/joined")
        ask(client, "/v1/trips", limit=2)
        gone = client.post("/v1/trips", json=trip_document(mark, START - 30 * DAY))
        row = client.post("/v1/diary-rows", json={"mark": mark, "date": "2020-05-01", "rods": 1, "outcome": "blank"})
        for one in (gone, row):
            assert client.delete(one.headers["location"], headers={"if-match": one.headers["etag"]}).status_code == 204
    finally:
        event.remove(engine, "before_cursor_execute", hear)
    assert len(heard) >= 12
    with engine.connect() as connection:
        if is_postgresql(engine):
            connection.execute(text("SET enable_seqscan = off"))
        for statement, parameters in heard:
            prefix = "EXPLAIN " if is_postgresql(engine) else "EXPLAIN QUERY PLAN "
            plan = " ".join(str(row) for row in connection.exec_driver_sql(prefix + statement, parameters))
            # What an account has of versions is its whole log; that none is left is asked by a constraint.
            assert not re.search(r"(trip|diary_row)_versions[^']*\(account_id=\?\)", plan), (statement, plan)
            for table in tables:
                assert f"Seq Scan on {table}" not in plan, statement
                assert f"SCAN {table}" not in plan, (statement, plan)
