"""Marks and their timelines over HTTP."""

from __future__ import annotations

import numpy as np
import pytest

from tests.service.coast import SPAN, example
from tests.service.problems import problem
from tidecore.place import Mark
from tidecore.timeline import build_timeline, factors


def post(client, **changes):
    return client.post("/v1/marks", json={**example("create_mark"), "external_ref": None, **changes})


def test_a_mark_is_made_and_read(coastal):
    client, coast = coastal
    response = post(client, external_ref="another-beach")
    assert response.status_code == 201
    made = response.json()
    assert response.headers["location"] == f"/v1/marks/{made['id']}"
    assert client.get(response.headers["location"]).json() == made
    assert (made["version"], made["station_id"], made["flow_reliable"]) == (1, coast.station, True)
    given = example("create_mark")
    assert {name: made[name] for name in ("name", "latitude", "slack_lags", "beds", "notes")} == {
        name: given[name] for name in ("name", "latitude", "slack_lags", "beds", "notes")
    }
    assert made["id"] in {item["id"] for item in client.get("/v1/marks").json()["items"]}


def test_a_station_is_named_by_id_or_reference(coastal):
    client, coast = coastal
    assert post(client, station=coast.station).json()["station_id"] == coast.station
    assert post(client, station="pellwick-roads").json()["station_id"] == coast.station
    found = problem(post(client, station="nowhere"), 422, "invalid-input", "station")
    assert "GET /v1/stations" in found["errors"][0]["expected"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"latitude": 95}, "latitude"),
        ({"longitude": -181}, "longitude"),
        ({"longitude": None}, "longitude"),
        ({"kind": "cloud"}, "kind"),
        ({"beds": ["feathers"]}, "beds.0"),
        ({"slack_lags": {"after_hw_min": 10}}, "slack_lags.after_lw_min"),
        ({"slack_lags": {"after_hw_min": 300, "after_lw_min": 0}}, "slack_lags.after_hw_min"),
        ({"name": ""}, "name"),
        ({"notes": "x" * 4001}, "notes"),
    ],
)
def test_a_bad_mark_is_refused(coastal, changes, field):
    client, _ = coastal
    problem(post(client, **changes), 422, "invalid-request", field)


def test_an_unknown_zone_is_refused(coastal):
    client, _ = coastal
    problem(post(client, time_zone="Atlantis/Deep"), 422, "invalid-input", "time_zone")


def test_a_reference_is_taken_once(coastal):
    client, _ = coastal
    problem(post(client, external_ref="pellwick-long-beach"), 409, "reference-taken")


@pytest.mark.parametrize(
    "path", ["/v1/marks/mrk_0", "/v1/marks/x/timeline?start=2026-06-01T00:00Z&end=2026-06-02T00:00Z"]
)
def test_an_unknown_mark_is_not_found(coastal, path):
    client, _ = coastal
    problem(client.get(path), 404, "not-found")


def timeline(coastal, mark=None, **params):
    client, coast = coastal
    return client.get(f"/v1/marks/{mark or coast.mark}/timeline", params={**SPAN, **params})


def test_a_timeline_holds_every_factor_with_its_meaning(coastal):
    found = timeline(coastal).json()
    assert list(found["columns"]) == [factor["name"] for factor in found["factors"]] == list(factors())
    assert (found["count"], found["step_s"], found["start"]) == (144, 600, "2026-06-01T00:00:00Z")
    assert {len(column) for column in found["columns"].values()} == {144}
    assert all(factor["meaning"] and factor["provenance"] for factor in found["factors"])
    assert (found["time_zone"], found["date_local"], found["datum"]) == ("Etc/UTC", "2026-06-01", "gauge zero")
    assert "wave_height" in found["unknown"]
    assert "height" not in found["unknown"]
    assert set(found["columns"]["wave_height"]) == {None}


def test_columns_are_those_of_the_core_rounded(coastal):
    client, coast = coastal
    found = timeline(coastal, factor=["height", "light", "flow_reliable", "hours_from_hw"]).json()
    context = client.app.state.house.context
    from service.security import LOCAL_CALLER
    from service.usecases.constituents import get_constituents

    model = get_constituents(context, LOCAL_CALLER, coast.station, None).model
    given = {k: v for k, v in example("create_mark").items() if k != "external_ref"}
    wanted = build_timeline(Mark.parse(given), model, np.datetime64("2026-06-01"), np.datetime64("2026-06-02"))
    assert np.max(np.abs(np.array(found["columns"]["height"]) - wanted.columns["height"])) <= 0.0005 + 1e-9
    hours = np.array(found["columns"]["hours_from_hw"]) - wanted.columns["hours_from_hw"]
    assert np.max(np.abs(hours)) <= 0.00005 + 1e-9
    assert found["columns"]["light"] == wanted.columns["light"].tolist()
    assert set(found["columns"]["flow_reliable"]) == {True}
    assert list(found["columns"]) == ["height", "light", "flow_reliable", "hours_from_hw"]


def test_instants_are_whole_multiples_of_the_step(coastal):
    found = timeline(coastal, start="2026-06-01T00:07:00Z", end="2026-06-01T00:31:00Z", factor="height").json()
    assert (found["start"], found["count"]) == ("2026-06-01T00:10:00Z", 3)
    empty = timeline(coastal, start="2026-06-01T00:01:00Z", end="2026-06-01T00:02:00Z", factor="height").json()
    assert (empty["count"], empty["columns"]) == (0, {"height": []})


def test_an_instant_has_the_same_value_in_every_timeline(coastal):
    wide = timeline(coastal, start="2026-05-25T00:00:00Z").json()
    near = timeline(coastal, start="2026-06-01T22:00:00Z").json()
    for name, column in near["columns"].items():
        assert column == wide["columns"][name][-12:], name


def test_the_date_is_that_of_the_clocks_at_the_mark(coastal):
    client, _ = coastal
    mark = post(client, time_zone="Pacific/Auckland").json()["id"]
    found = timeline(coastal, mark, start="2026-06-01T20:00:00Z", factor="height", tz="Pacific/Auckland").json()
    assert (found["time_zone"], found["date_local"]) == ("Pacific/Auckland", "2026-06-02")
    assert found["start"] == "2026-06-02T08:00:00+12:00"


def test_a_mark_without_a_tide_has_no_timeline(coastal):
    _, coast = coastal
    problem(timeline(coastal, coast.bare_mark), 409, "no-model")


@pytest.mark.parametrize(
    ("params", "slug", "field"),
    [
        ({"factor": ["height", "sea_monsters"]}, "invalid-input", "factor"),
        ({"factor": ""}, "invalid-input", "factor"),
        ({"end": "2028-06-01T00:00:00Z"}, "span-too-long", "end"),
        ({"end": "2027-06-01T00:00:00Z", "step": "1min"}, "too-many-points", "step"),
        ({"start": "2026-06-03T00:00:00Z"}, "invalid-span", "end"),
        ({"version": 7}, "not-found", None),
    ],
)
def test_a_bad_timeline_is_refused(coastal, params, slug, field):
    response = timeline(coastal, **params)
    problem(response, 404 if slug == "not-found" else 422, slug, *([] if field is None else [field]))


def test_a_time_without_sun_and_moon_is_refused(coastal):
    params = {"start": "2190-06-01T00:00:00Z", "end": "2190-06-02T00:00:00Z"}
    found = problem(timeline(coastal, **params), 422, "outside-ephemeris")
    assert "2053" in found["detail"]


def test_factors_are_listed_as_timelines_hold_them(coastal):
    client, _ = coastal
    listed = client.get("/v1/factors").json()["items"]
    words = {factor["name"]: factor.pop("words") for factor in listed}
    assert (words["hours_from_lw"], words["minutes_from_last_light"]) == ("time from low water", "time from last light")
    assert (words["named_phase"], words["wind_gust"]) == ("state of the tide", "wind gust")
    assert listed == timeline(coastal).json()["factors"]
    by_name = {factor["name"]: factor for factor in listed}
    assert by_name["light"]["values"][0] == "day"
    assert (by_name["height"]["unit"], by_name["height"]["given_by_caller"]) == ("m", False)
    assert by_name["wave_height"]["given_by_caller"] is True
