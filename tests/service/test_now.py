"""A mark now: by the clock to the minute, as JSON and on one screen, with nothing passed over in silence."""

from __future__ import annotations

import re
import zoneinfo
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.app import create_app
from service.bootstrap import House
from service.exports.now_screen import COLUMNS, MOST_LINES, Screen, now_screen
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.problems import problem
from tests.service.test_contact_notes import GULLY
from tests.service.test_peg_plans import HOURS, forecast, make_mark
from tidecore.safety import DEFERS, Thresholds, loosened_words

AT, UNTIL = "2026-06-03T11:20:00Z", "2026-06-03T16:00:00Z"
TEXT = {"accept": "text/plain"}


@pytest.fixture(scope="module")
def sand(coastal):
    client, coast = coastal
    return client, make_mark(client, coast.station, name="Mirrelsand", way_back=[GULLY])


def ask(client, mark, headers=None, **query):
    return client.get(f"/v1/marks/{mark}/now", params={"at": AT, **query}, headers=headers)


def test_the_water_is_that_of_the_timeline_with_the_surge_beside_it(sand):
    client, mark = sand
    found = ask(client, mark, surge_m=0.3).json()
    query = {"start": AT, "end": "2026-06-03T11:30:00Z", "step": "10min"}
    factors = ["height", "rate", "flow_index", "direction", "light", "waterline"]
    columns = client.get(f"/v1/marks/{mark}/timeline", params={**query, "factor": factors}).json()["columns"]
    assert found["level"]["height_m"] == pytest.approx(columns["height"][0], abs=1e-3)
    assert found["level"]["rate_m_per_h"] == pytest.approx(columns["rate"][0], abs=1e-3)
    assert found["level"]["water_level_m"] == pytest.approx(found["level"]["height_m"] + 0.3, abs=1e-3)
    assert found["flow"]["direction"] == columns["direction"][0]
    assert found["flow"]["reliable"] is True
    assert found["light"]["light"] == columns["light"][0]
    assert found["shore"]["waterline_m"] == pytest.approx(columns["waterline"][0], abs=0.06)
    assert found["until"] == "2026-06-03T17:20:00Z"


def test_the_next_waters_are_those_of_the_tide(sand):
    client, mark = sand
    found = ask(client, mark).json()["next"]
    query = {"start": AT, "end": "2026-06-04T11:20:00Z", "secondary": False}
    waters = client.get(f"/v1/marks/{mark}/extremes", params=query).json()
    for kind in ("high", "low"):
        first = waters["kinds"].index(kind)
        assert found[f"{kind}_water"]["time"] == waters["times"][first]
        assert found[f"{kind}_water"]["height_m"] == waters["heights_m"][first]
    gone = datetime.fromisoformat(found["low_water"]["time"]) - datetime.fromisoformat(AT)
    assert found["low_water"]["in_min"] == pytest.approx(gone.total_seconds() / 60, abs=0.06)
    assert set(found) == {"high_water", "low_water", "slack", "sunrise", "sunset", "first_light", "last_light"}


def test_with_the_end_of_the_session_come_the_peg_the_next_move_and_turning_back(sand):
    client, mark = sand
    plain = ask(client, mark).json()
    assert plain["stand"] is plain["next_move"] is plain["turn_back"] is None
    assert "until" in plain["plan_missing"][0]
    found = ask(client, mark, until=UNTIL).json()
    plan = client.post(
        "/v1/sessions/peg-plan", json={"mark_id": mark, "start": AT, "end": UNTIL, "surge_m": None}
    ).json()
    assert found["stand"] == plan["moves"][0]
    assert found["next_move"] == plan["moves"][1]
    assert found["turn_back"] == plan["turn_back"]
    assert found["turn_back"]["time"] is not None
    text = ask(client, mark, TEXT, until=UNTIL).text
    assert f"Stand at {plan['moves'][0]['distance_m']:g} m" in text
    assert "turn back; gully" in text


@pytest.mark.parametrize("surge", [None, 0.0, 0.6])
@pytest.mark.parametrize("at", [AT, "2026-06-03T06:00:00Z", "2026-06-04T00:10:00Z"])
def test_the_minutes_until_turning_back_are_those_to_its_time(sand, surge, at):
    client, mark = sand
    asked = {"at": at} | ({} if surge is None else {"surge_m": surge})
    moment = datetime.fromisoformat(at)
    found = ask(client, mark, until=(moment + timedelta(hours=14)).isoformat(), **asked).json()
    left = found["shore"]["minutes_to_turn_back"]
    due = datetime.fromisoformat(found["turn_back"]["time"])
    assert left == pytest.approx((due - moment).total_seconds() / 60.0, abs=0.06)
    # Without the end of the session they are the same.
    assert ask(client, mark, **asked).json()["shore"]["minutes_to_turn_back"] == left


def test_a_surge_leaves_fewer_minutes_and_low_pressure_does_as_much(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station, told=False, way_back=[GULLY])

    def left(**asked):
        return ask(client, mark, **asked).json()["shore"]["minutes_to_turn_back"]

    calm, surging = left(), left(surge_m=0.3)
    assert surging < calm - 5.0
    # 30 hPa under 1013.25 hPa are 0.30 m by the inverse barometer.
    told = {"mark_id": mark, **forecast(pressure_hpa=[983.25] * len(HOURS))}
    assert client.post("/v1/conditions", json=told).status_code == 201
    assert left() == surging


def test_a_sill_that_is_never_dry_was_covered_before_what_was_looked_at(coastal):
    client, coast = coastal
    sunk = make_mark(client, coast.station, told=False, way_back=[GULLY | {"lowest_sill_m": -40.0}])
    found = ask(client, sunk, until=UNTIL).json()["turn_back"]
    assert found["already_covered"] is True
    assert datetime.fromisoformat(found["covered_at"]) <= datetime.fromisoformat(AT) - timedelta(days=1)
    shown = " ".join(ask(client, sunk, TEXT, until=UNTIL).text.split())
    assert "Turning back was due long ago: gully may have been under water for more than a day." in shown
    often = make_mark(client, coast.station, told=False, way_back=[GULLY])
    for one in (AT, "2026-06-03T06:00:00Z"):
        told = ask(client, often, at=one, until="2026-06-03T17:00:00Z").json()["turn_back"]
        assert told["already_covered"] is False


def test_the_screen_says_when_to_turn_back_without_the_end_of_the_session_too(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station, way_back=[{**GULLY, "lowest_sill_m": 4.5}])
    due = datetime.fromisoformat(ask(client, mark, until=UNTIL).json()["turn_back"]["time"])
    # Six hours from then on end after turning back is due, and before the water is there.
    early = (due - timedelta(hours=6, minutes=-5)).isoformat()
    assert {one["grade"] for one in ask(client, mark, at=early).json()["hazards"] if one["kind"] == "cut_off"} == {
        "info"
    }
    zone = zoneinfo.ZoneInfo(example("create_mark")["time_zone"])
    assert f"- Turn back by {due.astimezone(zone):%H:%M}" in ask(client, mark, TEXT, at=early).text


def test_hazards_are_those_of_the_outing_and_what_is_not_assessed_is_never_silent(sand):
    client, mark = sand
    found = ask(client, mark, until=UNTIL).json()
    kinds = {one["kind"]: one["grade"] for one in found["hazards"]}
    assert {"thunder", "official_warning"} <= set(found["safe"]["not_assessed"])
    assert found["safe"]["grade"] in ("caution", "danger", "not_assessed")
    assert kinds
    assert found["cautions"][-1] == DEFERS
    text = ask(client, mark, TEXT, until=UNTIL).text
    assert "Against being here" in text
    cut_off = ask(client, mark, at="2026-06-03T06:00:00Z", until="2026-06-03T10:00:00Z").json()
    assert cut_off["safe"]["grade"] == "danger"
    assert cut_off["stand"] is None
    shown = ask(client, mark, TEXT, at="2026-06-03T06:00:00Z", until="2026-06-03T10:00:00Z").text
    assert "DANGER: cut off" in shown
    assert "Turning back was due at" in shown


def test_thresholds_that_are_loosened_stay_visible(serve):
    client = serve()
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    mark = make_mark(client, station)
    before = ask(client, mark)
    body = {"thunder_caution_percent": 90.0}
    told = client.put("/v1/safety-thresholds", json=body, headers={"if-match": "*"})
    assert told.status_code == 200, told.text
    after = ask(client, mark)
    assert after.json()["safe"]["loosened"] == ["thunder_caution_percent"]
    assert after.headers["etag"] != before.headers["etag"]


def test_the_screen_names_what_is_loosened_whatever_else_is_cut(serve):
    client = serve()
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    mark = make_mark(client, station, told=False, way_back=[GULLY])
    assert "loosened" not in ask(client, mark, TEXT).text
    body = {"deck_caution_m": 0, "sill_margin_m": 0}
    assert client.put("/v1/safety-thresholds", json=body, headers={"if-match": "*"}).status_code == 200
    text = ask(client, mark, TEXT, until=UNTIL).text
    assert "\nThis account has loosened deck_caution_m, sill_margin_m.\n" in text
    assert "Left out here" in text


def test_waters_and_lights_of_another_day_have_their_weekday(sand):
    client, mark = sand
    zone = zoneinfo.ZoneInfo(example("create_mark")["time_zone"])
    names = {"HW": "high_water", "LW": "low_water", "sunrise": "sunrise", "last light": "last_light"}
    for at in (AT, "2026-06-03T17:00:00Z", "2026-06-03T21:30:00Z"):
        told = " ".join(ask(client, mark, TEXT, at=at).text.split())
        today = datetime.fromisoformat(at).astimezone(zone)
        found = ask(client, mark, at=at).json()["next"]
        for name, kind in names.items():
            local = datetime.fromisoformat(found[kind]["time"]).astimezone(zone)
            # What comes on another day follows its weekday, and nothing of today does.
            (before,) = re.findall(rf"((?:Next|;)[^.;]*(?:\.\d\d m[^.;]*)*){name} {local:%H:%M}", told)
            days = re.findall(r"on ([A-Z][a-z]{2}) ", before)
            assert days[-1:] == ([] if local.date() == today.date() else [f"{local:%a}"]), (name, told)


def test_the_named_phase_says_what_it_goes_by_where_that_is_not_the_stream(coastal, sand):
    client, coast = coastal
    phase = ask(client, sand[1]).json()["level"]["named_phase"].replace("_", " ")
    assert f", {phase}." in " ".join(ask(client, sand[1], TEXT).text.split())
    level = make_mark(client, coast.station, told=False, slack_lags=None)
    found = ask(client, level).json()["level"]
    assert found["named_phase_basis"] == "level"
    shown = " ".join(ask(client, level, TEXT).text.split())
    assert f", {found['named_phase'].replace('_', ' ')} by the level." in shown


def test_a_mark_without_a_tide_is_said_to_have_none(coastal):
    client, _ = coastal
    station = {**example("create_station"), "name": "Still Pool", "external_ref": "still-pool"}
    flat = {"constituents": {"M2": {"amplitude_m": 0.01, "phase_deg": 60.0}}, "mean_level_m": 0.2}
    station["model"] = {**station["model"], **flat}
    made = client.post("/v1/stations", json=station)
    assert made.status_code == 201, made.text
    mark = make_mark(client, made.json()["id"], told=False)
    lines = ask(client, mark, TEXT).text.splitlines()
    assert lines[1].startswith("No tide to speak of: the level is 0.")
    assert not any("no HW" in one or "The tide" in one for one in lines)


def test_the_screen_has_24_lines_of_80_columns_by_the_clocks_of_the_mark(coastal, sand):
    client, mark = sand
    _, coast = coastal
    for one, query in ((mark, {}), (mark, {"until": UNTIL}), (coast.mark, {"until": UNTIL})):
        told = ask(client, one, TEXT, **query)
        assert told.headers["content-type"] == "text/plain; charset=utf-8"
        lines = told.text.split("\n")
        assert lines.pop() == ""
        assert len(lines) <= MOST_LINES
        assert max(map(len, lines)) <= COLUMNS
        assert "not for navigation" in told.text
        assert "coastguard" in told.text
    assert ask(client, mark, TEXT).text.startswith("2026-06-03 ")


def test_an_answer_is_the_same_in_its_minute_and_304_says_so(sand):
    client, mark = sand
    first = ask(client, mark, at="2026-06-03T11:20:01Z")
    again = ask(client, mark, at="2026-06-03T11:20:59Z")
    assert again.headers["etag"] == first.headers["etag"]
    assert again.content == first.content
    assert ask(client, mark, at="2026-06-03T11:21:00Z").headers["etag"] != first.headers["etag"]
    assert ask(client, mark, until=UNTIL).headers["etag"] != ask(client, mark).headers["etag"]
    assert ask(client, mark, TEXT).headers["etag"] != first.headers["etag"]
    seen = ask(client, mark, {"if-none-match": first.headers["etag"]})
    assert seen.status_code == 304


def test_the_clock_is_read_each_time(tmp_path):
    moment = [datetime(2026, 6, 3, 11, 20, 30, tzinfo=UTC)]
    house = House(settings_for(tmp_path), lambda: moment[0])
    house.open(with_runner=False)
    try:
        app = create_app(settings_for(tmp_path), house)
        with TestClient(app, base_url=URL, client=PEER) as client:
            station = client.post("/v1/stations", json=example("create_station")).json()["id"]
            mark = make_mark(client, station, told=False)
            path = f"/v1/marks/{mark}/now"
            first = client.get(path)
            assert first.json()["time"] == AT
            etag = first.headers["etag"]
            assert client.get(path, headers={"if-none-match": etag}).status_code == 304
            moment[0] += timedelta(minutes=1)
            later = client.get(path, headers={"if-none-match": etag})
            assert later.status_code == 200
            assert later.json()["time"] == "2026-06-03T11:21:00Z"
    finally:
        house.close()


def test_the_pressure_tells_a_surge_where_none_is_given(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station)
    hours = ["2026-06-03T09:00:00Z", "2026-06-03T12:00:00Z"]
    issue = {
        "mark_id": mark,
        "kind": "observation",
        "source": "Invented barometer",
        "issued_at": hours[-1],
        "times": hours,
        "values": {"pressure_hpa": [993.25, 993.25]},
    }
    assert client.post("/v1/conditions", json=issue).status_code == 201
    found = ask(client, mark).json()
    assert found["level"]["surge_m"] == 0.2
    assert "993.25 hPa by Invented barometer" in found["level"]["surge_source"]
    assert any("1013.25" in one for one in found["cautions"])


@pytest.mark.parametrize(
    ("query", "slug", "field"),
    [
        ({"until": AT}, "invalid-span", "until"),
        ({"until": "2026-06-05T11:20:00Z"}, "invalid-span", "until"),
        ({"at": "yesterday"}, "invalid-request", "at"),
        ({"party": 0}, "invalid-request", "party"),
        ({"surge_m": 99}, "invalid-request", "surge_m"),
    ],
)
def test_what_is_no_question_is_refused(sand, query, slug, field):
    client, mark = sand
    problem(ask(client, mark, **query), 422, slug, field)


SENTENCE = st.lists(st.text("abc,;", min_size=1, max_size=100), min_size=1, max_size=25).map(" ".join)


@settings(max_examples=200, deadline=None)
@given(
    SENTENCE,
    st.lists(SENTENCE, max_size=12),
    st.lists(st.text("abcdef", min_size=3, max_size=18), max_size=20, unique=True),
    st.lists(SENTENCE, max_size=12),
    st.lists(SENTENCE, max_size=8),
    st.lists(st.sampled_from(list(Thresholds.model_fields)), unique=True),
)
def test_any_screen_fits_and_names_every_danger_and_what_is_loosened(head, water, dangers, hazards, coming, looser):
    grade, loosened = "Against being here: DANGER.", loosened_words(looser)
    text = now_screen(Screen(head, water, grade, dangers, loosened, hazards, coming[:3], coming, coming))
    lines = text.splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= COLUMNS
    joined = " ".join(line.strip() for line in lines)
    assert all(one in joined for one in dangers)
    assert loosened in joined
    assert "follow the coastguard" in joined
    left = len(hazards) - sum(1 for one in hazards if f"- {' '.join(one.split())}" in joined)
    assert left == 0 or "Left out here" in joined or any(len(word) > 70 for one in hazards for word in one.split())
