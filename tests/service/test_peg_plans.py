"""Plans of pegs over HTTP."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.service.coast import example
from tests.service.problems import problem

START, END = "2026-06-03T06:00:00Z", "2026-06-03T12:00:00Z"
#: A sand beach that falls 15 m over 450, on the datum of the station.
SAND = {
    "kind": "open_beach",
    "beds": ["clean_sand"],
    "ledge_height_m": None,
    "cliff": [],
    "exposure": None,
    "peg": None,
    "beach_slope": None,
    "external_ref": None,
    "ground_datum": {"name": "gauge zero", "above_datum_m": 0.0, "source": "levelled, invented"},
    "profile": [
        {"distance_m": 0.0, "level_m": 12.0, "bed": "clean_sand"},
        {"distance_m": 450.0, "level_m": -3.0, "bed": "clean_sand"},
    ],
    "way_back": [{"name": "steps", "lowest_sill_m": 11.5, "bed": "clean_sand", "length_m": 200.0}],
}
HOURS = [f"2026-06-{day:02d}T{hour:02d}:00:00Z" for day in (2, 3, 4) for hour in range(0, 24, 3)]


def forecast(**changes):
    values = {"wave_height_m": [0.6] * len(HOURS), "wave_period_s": [8.0] * len(HOURS), **changes}
    return {
        "kind": "forecast",
        "source": "Invented",
        "issued_at": "2026-06-02T00:00:00Z",
        "waves_at": "at_mark",
        "wave_period_kind": "peak",
        "times": HOURS,
        "values": values,
    }


def make_mark(client, station, told=True, **changes):
    """A mark of sand with its ground known, and a forecast for it."""
    body = {**example("create_mark"), **SAND, "station": station, **changes}
    made = client.post("/v1/marks", json=body)
    assert made.status_code == 201, made.text
    if told:
        given = client.post("/v1/conditions", json={"mark_id": made.json()["id"], **forecast()})
        assert given.status_code == 201, given.text
    return made.json()["id"]


@pytest.fixture(scope="module")
def sand(coastal):
    client, coast = coastal
    return client, make_mark(client, coast.station)


def ask(client, mark, **changes):
    return client.post("/v1/sessions/peg-plan", json={"mark_id": mark, "start": START, "end": END, **changes})


def test_a_plan_says_where_and_when_in_metres_and_minutes(sand):
    client, mark = sand
    told = ask(client, mark, step_m=10, surge_m=0.1)
    assert told.status_code == 200, told.text
    found = told.json()
    assert found["missing"] == found["untold"] == []
    first, *moves = found["moves"]
    assert (first["time"], first["cause"], first["metres"]) == (START, "set_up", 0.0)
    assert moves
    for before, one in zip(found["moves"], moves, strict=False):
        assert one["metres"] == pytest.approx(one["distance_m"] - before["distance_m"])
        gone = datetime.fromisoformat(one["time"]) - datetime.fromisoformat(before["time"])
        assert one["minutes"] == pytest.approx(gone.total_seconds() / 60, abs=0.06)
        assert one["ground_level_m"] == pytest.approx(12.0 - one["distance_m"] / 30.0, abs=0.01)
        assert one["ground_level_m"] > one["water_level_m"] + 0.38
        assert (one["cause"] == "ebb") == (one["metres"] > 0)
    assert len(found["sentences"]) == len(found["moves"])
    assert "min move 10 m" in found["sentences"][1]
    assert found["surge_m"] == 0.1
    assert found["turn_back"] == {
        "time": None, "covered_at": None, "already_covered": False, "sill": "steps", "sill_m": 11.5, "walk_min": 3.0,
    }  # fmt: skip
    assert "coastguard" in found["caution"]


def test_sentences_are_by_the_clocks_of_the_mark_and_instants_by_the_zone_asked_for(sand):
    client, mark = sand
    found = ask(client, mark, tz="Etc/GMT-3").json()
    assert found["moves"][0]["time"] == "2026-06-03T09:00:00+03:00"
    assert found["time_zone"] != "Etc/GMT-3"
    assert found["sentences"][0].startswith(("06:00", "07:00"))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"profile": []}, "no profile and no slope"),
        ({"ground_datum": None}, "zero of the ground"),
        ({"told": False}, "the height of the sea is not known"),
        ({"kind": "rock_ledge"}, "a rock ledge"),
    ],
)
def test_what_is_missing_is_said_and_there_is_no_plan(coastal, changes, said):
    client, coast = coastal
    found = ask(client, make_mark(client, coast.station, **changes)).json()
    assert found["moves"] == found["untold"] == []
    assert any(said in one for one in found["missing"])
    assert found["sentences"][0].startswith("No plan of pegs: ")


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"end": START}, "invalid-span", "end"),
        ({"end": "2026-06-06T06:00:00Z"}, "invalid-span", "end"),
        ({"step_m": 0}, "invalid-request", "step_m"),
        ({"mark_id": "mrk_00000000000000000000000000"}, "not-found", None),
    ],
)
def test_what_is_no_question_is_refused(sand, changes, slug, field):
    client, mark = sand
    status = 404 if slug == "not-found" else 422
    found = problem(ask(client, mark, **changes), status, slug)
    assert field is None or any(one["field"] == field for one in found["errors"])
