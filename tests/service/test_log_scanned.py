"""Rates and seasons of the log held to a plain scan of the trips that were sent, for every way to choose among them."""

from __future__ import annotations

import datetime as dt
import random
from collections import Counter
from itertools import product
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from tests.service.coast import PEER, URL
from tests.service.conftest import settings_for
from tests.service.log_book import BASS, FLAT, do_joins, near_and_far, trip_document

#: On both sides of two new years, and between.
DAYS = ("2023-11-30", "2023-12-31", "2024-01-01", "2024-03-08", "2024-03-21", "2024-07-05", "2024-12-31", "2025-01-01")
COD = {"scientific_name": "Gadus inventus", "fao_code": "ZCD", "local_name": None}


def trips_at(marks):
    """Trips of every sort, some without casts, some without rods on record, some not fished."""
    rng, found = random.Random(20260320), []
    for day, mark in product(DAYS, marks):
        start = dt.datetime.fromisoformat(f"{day}T14:00:00+00:00") + dt.timedelta(minutes=rng.randrange(60))
        # The first and last of a species may be at either mark, and cod are first caught in the middle of 2024.
        kinds: list[dict[str, Any]] = [BASS, FLAT, COD] if "2024-07" < day < "2025" else [BASS, FLAT]
        caught = [(rng.randrange(40, 190), rng.choice(kinds)) for _ in range(rng.randrange(4))]
        purpose, casts = rng.choice(["pleasure", "match"]), rng.random() < 0.7
        one = trip_document(mark, start, caught=caught, casts=casts, purpose=purpose)
        for fish in one["catches"]:
            fish["length"] = {"cm": float(rng.randrange(20, 60)), "kind": rng.choice(["total", "fork"])}
        if rng.random() < 0.2:
            one |= {"deployments": [], "bites": []}
            for fish in one["catches"]:
                del fish["deployment"]
        found.append(one)
    why = ("weed", "surf", "weed")
    for place, reason in enumerate(why):
        at = f"2024-05-0{place + 1}T14:00:00Z"
        found.append({"trip": {"mark": marks[0], "start": at, "outcome": "not_fished", "why_not": reason}})
    return found


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    app = create_app(settings_for(tmp_path_factory.mktemp("scanned"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        marks = near_and_far(client)
        trips = trips_at(marks)
        for one in trips:
            sent = client.post("/v1/trips", json=one)
            assert sent.status_code == 201, sent.text
            one["id"] = sent.json()["id"]
        do_joins(app.state.house, LOCAL_ACCOUNT)
        yield client, marks, trips


def ask(client, path, **query):
    found = client.get(f"/v1/insights/{path}", params={name: value for name, value in query.items() if value})
    assert found.status_code == 200, found.text
    return found.json()


def day_of(trip):
    return trip["trip"]["start"][:10]


def hours(start, end):
    return (dt.datetime.fromisoformat(end) - dt.datetime.fromisoformat(start)).total_seconds() / 3600.0


def effort_of(trip, kind):
    """Rod-hours; None where nothing says."""
    rods = trip["deployments"]
    if kind == "raw":
        return sum(hours(rod["start"], rod["end"]) for rod in rods) if rods else None
    if not rods or not all(rod["casts"] for rod in rods):
        return None
    return sum(hours(cast["out"], cast["in"]) for rod in rods for cast in rod["casts"])


def count_of(trip, species):
    codes = [(fish["species"].get("fao_code"), fish["species"]["scientific_name"]) for fish in trip.get("catches", ())]
    return sum(species is None or species in one for one in codes)


def chosen(trips, mark_id, purpose, from_day, to_day):
    for one in trips:
        told = one["trip"]
        if mark_id in (None, told["mark"]) and purpose in (None, told.get("purpose", "pleasure")):
            if (from_day or "") <= day_of(one) <= (to_day or "9"):
                yield one


@pytest.mark.parametrize("purpose", [None, "match"])
@pytest.mark.parametrize(("from_day", "to_day"), [(None, None), ("2024-01-01", "2024-12-31"), (None, "2024-03-08")])
@pytest.mark.parametrize("species", [None, "ZZZ", "Piscis planus"])
def test_rates_are_those_of_a_scan(log, purpose, from_day, to_day, species):
    client, marks, trips = log
    for effort, by, place in product(("raw", "bait_on"), ("mark", "month"), (None, 1)):
        wanted = {"mark_id": None if place is None else marks[place], "purpose": purpose}
        wanted |= {"from_day": from_day, "to_day": to_day}
        fished = [one for one in chosen(trips, **wanted) if one["trip"]["outcome"] != "not_fished"]
        expected: dict[str, tuple[list[float], list[int], list[int]]] = {}
        for one in fished:
            name = one["trip"]["mark"] if by == "mark" else f"{dt.date.fromisoformat(day_of(one)):%B}"
            hours, count = effort_of(one, effort), count_of(one, species)
            rods_h, counts, unknown = expected.setdefault(name, ([], [], []))
            if hours is None:
                # A blank without rods on record is at a mark, and in no bin of a factor.
                unknown += [count] if count or by == "mark" or one["deployments"] else []
            else:
                rods_h.append(hours)
                counts.append(count)
        found = ask(client, "rates", by=by, species=species, effort=effort, **wanted)
        got = {one["name"]: one["rate"] for one in found["bins"]}
        for name, (rods_h, counts, unknown) in expected.items():
            one = got.pop(name)
            assert one["effort_h"] == pytest.approx(sum(rods_h), abs=2e-3), (by, name)
            assert (one["count"], one["trips"], one["blanks"]) == (sum(counts), len(counts), counts.count(0))
            assert one["uncounted"] == sum(unknown)
            assert one["effort_unknown"] == len(unknown)
        together = found["together"]
        assert together["trips"] + together["effort_unknown"] == len(fished) == found["trips"]["counted"]
        assert together["uncounted"] == sum(sum(unknown) for *_, unknown in expected.values())
        assert not any(one["trips"] or one["count"] or one["uncounted"] for one in got.values())
        assert found["trips"]["fished"] == len(fished)


@pytest.mark.parametrize("year", [2023, 2024, 2025])
@pytest.mark.parametrize("place", [None, 0, 1])
def test_a_season_is_that_of_a_scan(log, year, place):
    client, marks, trips = log
    mark_id = None if place is None else marks[place]
    every = sorted(chosen(trips, mark_id, None, None, None), key=lambda one: one["trip"]["start"])
    mine = [one for one in every if day_of(one).startswith(str(year))]
    found = ask(client, f"seasons/{year}", mark_id=mark_id)
    assert found["trips"]["all"] == len(mine)
    assert found["caught"] == sum(count_of(one, None) for one in mine)
    assert [one["caught"] for one in found["months"]] == [
        sum(count_of(one, None) for one in mine if day_of(one)[5:7] == f"{month:02d}") for month in range(1, 13)
    ]
    # Most caught first, of equals the earlier; blanks in their order.
    caught = [one for one in mine if count_of(one, None)]
    best = sorted(caught, key=lambda one: -count_of(one, None))
    assert [one["trip_id"] for one in found["best"]] == [one["id"] for one in best]
    assert [one["caught"] for one in found["best"]] == [count_of(one, None) for one in best]
    blank = [one for one in mine if one["trip"]["outcome"] == "blank"]
    assert [(one["trip_id"], one["caught"]) for one in found["blank"]] == [(one["id"], 0) for one in blank]
    why = Counter(one["trip"]["why_not"] for one in mine if one["trip"]["outcome"] == "not_fished")
    assert {one["why_not"]: one["times"] for one in found["not_fished"]} == why
    fish = [(day_of(one), fish["species"]["scientific_name"], fish) for one in every for fish in one.get("catches", ())]
    own = [one for one in fish if one[0].startswith(str(year))]
    first = {name: min(day for day, of, _ in own if of == name) for _, name, _ in own}
    known = {name for day, name, _ in fish if day < str(year)}
    assert {
        one["species"]["scientific_name"]: (one["date_local"], one["first_on_record"]) for one in found["firsts"]
    } == {name: (day, name not in known) for name, day in first.items()}
    longest: dict[tuple[str, str], float] = {}
    for _, name, one in own:
        key = name, one["length"]["kind"]
        longest[key] = max(longest.get(key, 0.0), one["length"]["cm"])
    assert {
        (one["species"]["scientific_name"], one["length_kind"]): one["length_cm"] for one in found["longest"]
    } == longest
