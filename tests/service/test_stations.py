"""Stations over HTTP."""

from __future__ import annotations

import pytest

from tests.service.coast import SPAN, example
from tests.service.problems import problem


def without_ref(**changes):
    return {**{k: v for k, v in example("create_station").items() if k != "external_ref"}, **changes}


def test_a_station_from_constituents_has_a_model_at_once(client):
    response = client.post("/v1/stations", json=example("create_station"))
    assert response.status_code == 201
    made = response.json()
    assert response.headers["location"] == f"/v1/stations/{made['id']}"
    assert (made["current_version"], made["model"]["source"], made["model"]["datum"]) == (
        1,
        "constituents",
        "gauge zero",
    )
    assert client.get(response.headers["location"]).json() == made
    assert made["versions"] == [made["model"]]
    assert client.get(response.headers["location"], params={"version": 1}).json() == made


def test_a_station_without_a_tide_says_so(coastal):
    client, coast = coastal
    bare = client.get(f"/v1/stations/{coast.bare_station}").json()
    assert (bare["current_version"], bare["model"], bare["versions"]) == (None, None, [])
    for resource in ("heights", "extremes", "flow"):
        found = problem(client.get(f"/v1/stations/{coast.bare_station}/{resource}", params=SPAN), 409, "no-model")
        assert "adopt a fit" in found["detail"]
    problem(client.get(f"/v1/stations/{coast.bare_station}/constituents"), 409, "no-model")
    problem(client.get(f"/v1/stations/{coast.bare_station}", params={"version": 1}), 404, "not-found")


def test_old_models_and_missing_versions(coastal):
    client, coast = coastal
    assert client.get(f"/v1/stations/{coast.station}", params={"version": 1}).status_code == 200
    for path in ("", "/constituents"):
        problem(client.get(f"/v1/stations/{coast.station}{path}", params={"version": 2}), 404, "not-found")
    problem(client.get(f"/v1/stations/{coast.station}/heights", params={**SPAN, "version": 9}), 404, "not-found")


@pytest.mark.parametrize("key", ["stn_0", "nonsense", "mrk_01m89c", "%20", "stn_0%00", "x" * 64])
def test_an_unknown_station_is_not_found(coastal, key):
    client, _ = coastal
    for path in ("", "/fits", "/constituents"):
        problem(client.get(f"/v1/stations/{key}{path}"), 404, "not-found")


def test_a_reference_is_taken_once(client):
    assert client.post("/v1/stations", json=example("create_station")).status_code == 201
    found = problem(client.post("/v1/stations", json=example("create_station")), 409, "reference-taken")
    assert "pellwick-roads" in found["detail"]
    assert len(client.get("/v1/stations").json()["items"]) == 1


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"latitude": 95}, "invalid-request", "latitude"),
        ({"latitude": -90.001}, "invalid-request", "latitude"),
        ({"latitude": "51"}, "invalid-request", "latitude"),
        ({"latitude": None}, "invalid-request", "latitude"),
        ({"latitude": True}, "invalid-request", "latitude"),
        ({"longitude": 181}, "invalid-request", "longitude"),
        ({"name": ""}, "invalid-request", "name"),
        ({"name": "   "}, "invalid-input", "name"),
        ({"name": "two\nlines"}, "invalid-input", "name"),
        ({"name": "x" * 121}, "invalid-request", "name"),
        ({"name": 7}, "invalid-request", "name"),
        ({"time_zone": "Atlantis/Deep"}, "invalid-input", "time_zone"),
        ({"time_zone": "../UTC"}, "invalid-input", "time_zone"),
        ({"external_ref": " padded"}, "invalid-input", "external_ref"),
    ],
)
def test_a_bad_station_is_refused(coastal, changes, slug, field):
    client, _ = coastal
    problem(client.post("/v1/stations", json=without_ref(**changes)), 422, slug, field)


@pytest.mark.parametrize(
    ("changes", "slug", "says"),
    [
        ({"convention": None}, "invalid-request", "convention"),
        ({"convention": "noaa", "constituents": {"LDA2": {"amplitude_m": 0, "phase_deg": 0}}}, "unknown-name", "LAM2"),
        ({"convention": "ticon", "constituents": {"LAM2": {"amplitude_m": 1, "phase_deg": 0}}}, "unknown-name", "LAM2"),
        ({"convention": "guess"}, "unknown-name", "utide"),
        ({"datum": ""}, "invalid-request", "datum"),
        ({"constituents": {}}, "invalid-request", "constituents"),
        ({"constituents": {"M2": {"amplitude_m": -1, "phase_deg": 0}}}, "invalid-request", "amplitude_m"),
        ({"constituents": {"M2": {"amplitude_m": 1}}}, "invalid-request", "phase_deg"),
        ({"constituents": {"M2": {"amplitude_m": 1, "phase_deg": 720}}}, "invalid-request", "phase_deg"),
        ({"constituents": {"M2": 1.0}}, "invalid-request", "M2"),
        ({"constituents": {"QQ9": {"amplitude_m": 1, "phase_deg": 0}}}, "unknown-name", "QQ9"),
        ({"mean_level_m": 1e9}, "invalid-request", "mean_level_m"),
    ],
)
def test_bad_constituents_are_refused(coastal, changes, slug, says):
    client, _ = coastal
    model = {**example("create_station")["model"], **changes}
    found = problem(client.post("/v1/stations", json=without_ref(model=model)), 422, slug)
    assert says in found["detail"]


def test_no_convention_is_refused(coastal):
    client, _ = coastal
    model = example("create_station")["model"]
    del model["convention"]
    problem(client.post("/v1/stations", json=without_ref(model=model)), 422, "invalid-request", "model.convention")


def test_all_faults_of_a_station_come_at_once(coastal):
    client, _ = coastal
    body = {"name": "", "latitude": 95, "longitude": 200, "colour": 1, "model": {"datum": "", "constituents": {}}}
    found = problem(
        client.post("/v1/stations", json=body), 422, "invalid-request",
        "name", "latitude", "longitude", "colour", "model.convention", "model.datum", "model.constituents",
    )  # fmt: skip
    assert {fault["in"] for fault in found["errors"]} == {"body"}


def test_lists_come_in_pages(client):
    made = [client.post("/v1/stations", json={"name": f"Point {n}", "latitude": 51}).json()["id"] for n in range(5)]
    seen, cursor = [], None
    while True:
        params = {"limit": 2} if cursor is None else {"limit": 2, "cursor": cursor}
        page = client.get("/v1/stations", params=params).json()
        assert len(page["items"]) <= 2
        seen += [item["id"] for item in page["items"]]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert sorted(seen) == seen
    assert set(seen) == set(made)


@pytest.mark.parametrize("cursor", ["", "x", "AAAA", "\u00e9", "c3RhdGlvbnMgeA", "===="])
@pytest.mark.parametrize("path", ["/v1/stations", "/v1/marks", "/v1/species-rules"])
def test_a_strange_cursor_is_refused(coastal, path, cursor):
    client, _ = coastal
    problem(client.get(path, params={"cursor": cursor}), 422, "cursor-invalid")


def test_a_cursor_of_another_list_is_refused(coastal):
    client, _ = coastal
    cursor = client.get("/v1/marks", params={"limit": 1}).json()["next_cursor"]
    assert client.get("/v1/marks", params={"cursor": cursor}).status_code == 200
    for path in ("/v1/stations", "/v1/species-rules"):
        problem(client.get(path, params={"cursor": cursor}), 422, "cursor-invalid")


@pytest.mark.parametrize("limit", ["0", "-1", "501", "many"])
def test_a_strange_limit_is_refused(coastal, limit):
    client, _ = coastal
    problem(client.get("/v1/stations", params={"limit": limit}), 422, "invalid-request", "limit")


def test_the_limit_of_a_page_is_a_setting(serve):
    found = problem(serve(max_page=3).get("/v1/stations", params={"limit": 4}), 422, "invalid-input", "limit")
    assert "at most 3" in found["detail"]
