"""Heights, extremes, flow and constituents over HTTP are those of the model, rounded for publication."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from service.errors import TooManyPoints
from service.usecases.heights import check_points
from tests.postgres.stores import behind
from tests.service.coast import SPAN, example
from tests.service.problems import problem
from tidecore.errors import CoreError
from tidecore.flow import SlackLags
from tidecore.model import TideModel
from tidecore.timebase import TimeGrid, TimeSpan

START, END = np.datetime64("2026-06-01"), np.datetime64("2026-06-02")


@pytest.fixture(scope="module")
def model() -> TideModel:
    given = example("create_station")
    lines = {name: (one["amplitude_m"], one["phase_deg"]) for name, one in given["model"]["constituents"].items()}
    return TideModel.from_constituents(
        lines,
        latitude=given["latitude"],
        convention="utide",
        mean_level=given["model"]["mean_level_m"],
        datum="gauge zero",
    )


def get(coastal, resource, **params):
    client, coast = coastal
    response = client.get(f"/v1/stations/{coast.station}/{resource}", params={**SPAN, **params})
    assert response.status_code == 200, response.text
    return response.json()


def test_heights_are_those_of_the_model_to_a_millimetre(coastal, model):
    found = get(coastal, "heights", step="6min")
    grid = TimeGrid.spanning(START, END, "6min")
    assert (found["start"], found["step_s"], found["count"]) == ("2026-06-01T00:00:00Z", 360, 240)
    served = found["stations"][0]
    assert (served["datum"], served["version"]) == ("gauge zero", 1)
    assert np.max(np.abs(np.array(served["heights_m"]) - model.heights(grid))) <= 0.0005 + 1e-9
    assert all(value == round(value, 3) for value in served["heights_m"])


def test_a_span_is_half_open(coastal):
    found = get(coastal, "heights", step="1d")
    assert found["count"] == len(found["stations"][0]["heights_m"]) == 1
    assert get(coastal, "heights", end="2026-06-02T00:00:01Z", step="1d")["count"] == 2


def test_heights_of_many_stations_come_in_one_call(coastal):
    client, coast = coastal
    other = client.post("/v1/stations", json={**example("create_station"), "external_ref": None, "latitude": 40}).json()
    params = {**SPAN, "station_id": [other["id"], coast.station, other["id"]]}
    found = client.get("/v1/heights", params=params).json()
    assert [one["station_id"] for one in found["stations"]] == [other["id"], coast.station]
    alone = get(coastal, "heights")
    assert found["stations"][1]["heights_m"] == alone["stations"][0]["heights_m"]
    problem(client.get("/v1/heights", params={**SPAN, "station_id": [coast.station, "stn_0"]}), 404, "not-found")
    problem(client.get("/v1/heights", params=SPAN), 422, "invalid-request", "station_id")


def test_offsets_are_given_where_asked_for(coastal):
    found = get(coastal, "heights", tz="Asia/Kolkata")
    assert (found["start"], found["time_zone"]) == ("2026-06-01T05:30:00+05:30", "Asia/Kolkata")
    same = get(coastal, "heights", start="2026-06-01T05:30:00+05:30", end="2026-06-02T05:30:00+05:30")
    assert same["start"] == "2026-06-01T00:00:00Z"
    assert same["stations"] == found["stations"]
    extremes = get(coastal, "extremes", tz="Asia/Kolkata")
    assert all(time.endswith("+05:30") for time in extremes["times"])
    assert [datetime.fromisoformat(time) for time in extremes["times"]] == [
        datetime.fromisoformat(time) for time in get(coastal, "extremes")["times"]
    ]


@pytest.mark.parametrize("resource", ["heights", "flow"])
def test_too_many_points_say_the_step_that_fits(coastal, resource):
    client, coast = coastal
    params = {**SPAN, "end": "2027-06-01T00:00:00Z", "step": "1s"}
    path = f"/v1/stations/{coast.station}/{resource}"
    found = problem(client.get(path, params=params), 422, "too-many-points", "step")
    assert found["limit"] == 200_000
    fitting = client.get(path, params={**params, "step": f"{found['fitting_step_s']}s"})
    assert fitting.status_code == 200


@pytest.mark.parametrize(("days", "columns", "limit"), [(365, 1, 1000), (1, 7, 10), (40_000, 50, 60), (0.01, 1, 1)])
def test_the_step_that_fits_fits(days, columns, limit):
    span = TimeSpan(START, START + np.timedelta64(round(days * 86_400_000_000), "us"))
    with pytest.raises(TooManyPoints, match="a step of") as caught:
        check_points(span, 1_000_000, columns, limit)
    step = caught.value.fitting_step_s
    check_points(span, step * 1_000_000, columns, limit)


def test_a_century_of_extremes_is_refused(coastal):
    client, coast = coastal
    params = {"start": "1950-01-01T00:00:00Z", "end": "2050-01-01T00:00:00Z"}
    found = problem(client.get(f"/v1/stations/{coast.station}/extremes", params=params), 422, "span-too-long", "end")
    assert found["setting"] == "EBBMARK_MAX_SPAN_DAYS"


def test_extremes_are_those_of_the_model(coastal, model):
    found = get(coastal, "extremes")
    table = model.extremes(START, END)
    assert found["count"] == len(table) == len(found["times"])
    times = np.array([time.removesuffix("Z") for time in found["times"]], dtype="datetime64[us]")
    assert np.max(np.abs((times - table.time) / np.timedelta64(1, "s"))) <= 0.5
    assert np.max(np.abs(np.array(found["heights_m"]) - table.height)) <= 0.0005 + 1e-9
    assert found["kinds"] == table.kind.tolist()
    columns = [value for name, value in found.items() if isinstance(value, list) and name != "cautions"]
    assert {len(column) for column in columns} == {found["count"]}


def test_secondary_extremes_may_be_left_out(client):
    # An M4 so large, at a phase of its own, that every tide has two low waters.
    body = example("create_station")
    body["model"]["constituents"]["M4"] = {"amplitude_m": 0.9, "phase_deg": 102.0}
    station = client.post("/v1/stations", json=body).json()["id"]
    path = f"/v1/stations/{station}/extremes"
    with_them = client.get(path, params=SPAN).json()
    without = client.get(path, params={**SPAN, "secondary": "false"}).json()
    assert without["count"] == sum(with_them["primary"]) < with_them["count"]
    assert all(without["primary"])
    assert [rank is None for rank in with_them["ranks"]] == [not primary for primary in with_them["primary"]]


def test_flow_is_that_of_the_model_and_says_whether_to_rely_on_it(coastal, model):
    grid = TimeGrid.spanning(START, END, "10min")
    found = get(coastal, "flow")
    assert found["flow_reliable"] is False
    assert np.max(np.abs(np.array(found["flow_index"]) - model.flow_index(grid))) <= 0.0005 + 1e-9
    lagged = get(coastal, "flow", after_hw_min=60, after_lw_min=90)
    assert lagged["flow_reliable"] is True
    expected = model.flow_index(grid, SlackLags(60.0, 90.0))
    assert np.max(np.abs(np.array(lagged["flow_index"]) - expected)) <= 0.0005 + 1e-9


@pytest.mark.parametrize(
    ("params", "slug", "field"),
    [
        ({"after_hw_min": 10}, "invalid-input", "after_hw_min"),
        ({"after_hw_min": 241, "after_lw_min": 0}, "invalid-request", "after_hw_min"),
        ({"after_hw_min": "nan", "after_lw_min": 0}, "invalid-request", "after_hw_min"),
        ({"after_hw_min": "1e999", "after_lw_min": 0}, "invalid-request", "after_hw_min"),
    ],
)
def test_bad_lags_are_refused(coastal, params, slug, field):
    client, coast = coastal
    problem(client.get(f"/v1/stations/{coast.station}/flow", params={**SPAN, **params}), 422, slug, field)


def test_constituents_are_those_given_largest_first(coastal):
    client, coast = coastal
    found = client.get(f"/v1/stations/{coast.station}/constituents").json()
    given = example("create_station")["model"]["constituents"]
    assert found["names"] == sorted(given, key=lambda name: -given[name]["amplitude_m"])
    assert found["amplitudes_m"] == [given[name]["amplitude_m"] for name in found["names"]]
    assert found["phases_deg"] == [given[name]["phase_deg"] for name in found["names"]]
    # (K1 + O1) / (M2 + S2) by hand.
    assert found["form_number"] == round((0.08 + 0.06) / (2.1 + 0.74), 3)
    assert (found["convention"], found["mean_level_m"]) == ("utide", 3.1)


def test_a_tide_without_m2_and_s2_has_no_form_number(client):
    model = {"convention": "utide", "datum": "LAT", "constituents": {"K1": {"amplitude_m": 0.5, "phase_deg": 10}}}
    station = client.post("/v1/stations", json={"name": "Single Point", "latitude": 20, "model": model}).json()["id"]
    assert client.get(f"/v1/stations/{station}/constituents").json()["form_number"] is None


def test_a_damaged_model_is_a_problem_of_the_service(serve):
    client = serve()
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    house = client.app.state.house
    with behind(house.store.engine) as connection:
        connection.exec_driver_sql("UPDATE station_versions SET document = '{}'")
    house.context.decoded._kept.clear()
    problem(client.get(f"/v1/stations/{station}/constituents"), 500, "model-unreadable")


def test_a_model_is_decoded_once(coastal, monkeypatch):
    get(coastal, "heights")

    def broken(*_args):
        raise CoreError("decoded again")

    monkeypatch.setattr(TideModel, "from_document", broken)
    get(coastal, "heights")
