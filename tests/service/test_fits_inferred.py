"""Short records over HTTP, with lines inferred from another station or by ratios given."""

from __future__ import annotations

import time

import pytest

from tests.service.coast import gauge_csv
from tests.service.problems import problem

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}
CSV = {"content-type": "text/csv"}
MIXED = {
    "M2": [1.9, 20.0],
    "S2": [0.65, 30.0],
    "K2": [0.19, 28.0],
    "K1": [0.06, 90.0],
    "P1": [0.02, 88.0],
    "O1": [0.05, 5.0],
}


@pytest.fixture(scope="module")
def stations(coastal):
    """A station for the record, and two to infer from: one like it, one with a diurnal tide."""
    client, _ = coastal
    made = {"own": client.post("/v1/stations", json={"name": "Short Point", "latitude": 51.0}).json()["id"]}
    diurnal = MIXED | {"M2": [0.02, 1.0], "S2": [0.01, 2.0], "K1": [0.4, 90.0], "O1": [0.3, 5.0]}
    for name, lines in (("like", MIXED), ("diurnal", diurnal)):
        constituents = {one: {"amplitude_m": size, "phase_deg": lag} for one, (size, lag) in lines.items()}
        tide = {"convention": "utide", "datum": "gauge zero", "mean_level_m": 3.0, "constituents": constituents}
        document = {"name": f"{name.title()} Head", "latitude": 51.0, "model": tide}
        answer = client.post("/v1/stations", json=document)
        assert answer.status_code == 201, answer.text
        made[name] = answer.json()["id"]
    return made


def fitted(client, station: str, **query):
    """The fit of a month's record, when it has ended."""
    answer = client.post(f"/v1/stations/{station}/fits", params={**HINTS, **query}, content=gauge_csv(30), headers=CSV)
    assert answer.status_code == 202, answer.text
    ends = time.monotonic() + 60.0
    while (fit := client.get(answer.headers["location"]).json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.02)
    return fit


def test_a_fit_says_what_was_inferred_and_from_which_version(coastal, stations):
    client, _ = coastal
    fit = fitted(client, stations["own"], neighbour=stations["like"])
    assert (fit["state"], fit["problem"]) == ("done", None)
    inferred = fit["diagnostics"]["inferred"]
    assert {line["name"]: line["reference"] for line in inferred["lines"]} == {"K2": "S2", "P1": "K1"}
    ratio = next(line for line in inferred["lines"] if line["name"] == "K2")["amplitude_ratio"]
    assert ratio == pytest.approx(0.19 / 0.65)
    assert inferred["source"]["station"] == "Like Head"
    neighbour = fit["options"]["neighbour"]
    assert (neighbour["station_id"], neighbour["version"]) == (stations["like"], 1)
    assert neighbour["input_hash"] == inferred["source"]["input_hash"]
    plain = fitted(client, stations["own"])
    assert plain["diagnostics"]["inferred"] is None
    assert plain["id"] != fit["id"]


def test_given_ratios_are_taken_from_the_query(coastal, stations):
    client, _ = coastal
    fit = fitted(client, stations["own"], infer=["K2:S2:0.29:2.0", "P1:K1:0.33:2.0"])
    assert fit["state"] == "done"
    assert fit["diagnostics"]["inferred"]["source"] == {"kind": "given"}
    assert fit["options"]["fit"]["infer"]["K2"] == ["S2", 0.29, 2.0]


def test_a_neighbour_of_another_type_is_refused_with_both_tides(coastal, stations):
    client, _ = coastal
    fit = fitted(client, stations["own"], neighbour=stations["diurnal"])
    assert fit["state"] == "failed"
    assert fit["problem"]["type"] == "/problems/unfit-neighbour"
    assert "Diurnal Head" in fit["problem"]["detail"]
    assert "semidiurnal" in fit["problem"]["detail"]


@pytest.mark.parametrize(
    "infer", ["P1", "P1:K1:0.3", "P1:K1:large:0", "P1:K1:nan:0", ":K1:0.3:0", ["P1:K1:0.3:0", "P1:K1:0.4:0"]]
)
def test_ratios_that_cannot_be_read_are_refused_at_once(coastal, stations, infer):
    client, _ = coastal
    answer = client.post(
        f"/v1/stations/{stations['own']}/fits", params={**HINTS, "infer": infer}, content=gauge_csv(30), headers=CSV
    )
    problem(answer, 422, "invalid-input", "infer")


def test_neighbours_that_are_none(coastal, stations):
    client, coast = coastal
    path = f"/v1/stations/{stations['own']}/fits"
    asked = {**HINTS, "neighbour": coast.bare_station}
    problem(client.post(path, params=asked, content=gauge_csv(30), headers=CSV), 409, "no-model")
    asked["neighbour"] = "stn_00000000000000000000000000"
    problem(client.post(path, params=asked, content=gauge_csv(30), headers=CSV), 404, "not-found")
    asked |= {"neighbour": stations["like"], "infer": "P1:K1:0.3:0"}
    problem(client.post(path, params=asked, content=gauge_csv(30), headers=CSV), 422, "invalid-input", "infer")
