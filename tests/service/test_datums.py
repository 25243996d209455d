"""Tidal datums over HTTP, stated ones beside them, and heights told above another datum than the station's."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests.service.coast import SPAN, example, gauge_csv
from tests.service.problems import problem
from tidecore.datums import DATUMS
from tidecore.model import TideModel

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}
STATED = [
    {"datum": "chart datum", "level_m": 0.42, "source": "invented chart 7"},
    {"datum": "MSL", "level_m": 3.08, "source": "invented levelling"},
]


@pytest.fixture(scope="module")
def model() -> TideModel:
    given = example("create_station")
    lines = {name: (one["amplitude_m"], one["phase_deg"]) for name, one in given["model"]["constituents"].items()}
    return TideModel.from_constituents(
        lines, latitude=given["latitude"], convention="utide", mean_level=3.1, datum="gauge zero"
    )


@pytest.fixture(scope="module")
def stated(coastal) -> str:
    """A station that knows its chart datum and a mean sea level of its own."""
    return make(coastal, datum_levels=STATED)


def make(coastal, **changes) -> str:
    client, _ = coastal
    body = example("create_station") | {"external_ref": None}
    response = client.post("/v1/stations", json=body | {"model": {**body["model"], **changes}})
    assert response.status_code == 201, response.text
    return response.json()["id"]


def get(coastal, station: str, resource: str, **params):
    client, _ = coastal
    response = client.get(f"/v1/stations/{station}/{resource}", params=params)
    assert response.status_code == 200, response.text
    return response.json()


def test_datums_are_those_of_the_model(coastal, model):
    _, coast = coastal
    found = get(coastal, coast.station, "datums")
    expected = model.datums()
    assert (found["start"], found["end"]) == ("2001-01-01T00:00:00Z", "2019-08-13T00:00:00Z")
    assert (found["extremes_start"], found["extremes_end"]) == ("2001-01-01T00:00:00Z", "2020-01-02T00:00:00Z")
    assert [one["name"] for one in found["levels"]] == list(DATUMS)
    for one in found["levels"]:
        level = expected.levels[one["name"]]
        assert one["level_m"] == (None if level is None else pytest.approx(level, abs=5.1e-4)), one["name"]
    levels = {one["name"]: one for one in found["levels"]}
    assert levels["MHWS"]["approximation_m"] == pytest.approx(3.1 + 2.1 + 0.74)
    assert levels["TcHHW"]["level_m"] is None
    assert (found["datum"], found["range_cycle"], found["record_days"], found["flags"]) == (
        "gauge zero", "springs-neaps", None, [],
    )  # fmt: skip
    assert found["stated"] == []


def test_another_span_and_the_table_for_a_sheet(coastal):
    client, coast = coastal
    span = {"start": "1983-01-01T00:00:00Z", "end": "2002-01-01T00:00:00Z"}
    found = get(coastal, coast.station, "datums", **span)
    assert (found["start"], found["extremes_end"]) == ("1983-01-01T00:00:00Z", "2002-01-01T00:00:00Z")
    path = f"/v1/stations/{coast.station}/datums"
    table = client.get(path, params=span, headers={"Accept": "text/csv"}).text.splitlines()
    assert table[0] == "station_id,version,datum,name,level_m,approximation_m"
    assert len(table) == 1 + len(DATUMS)
    assert table[1].split(",")[3:] == ["HAT", f"{found['levels'][0]['level_m']:.3f}", ""]
    etag = client.get(path).headers["etag"]
    assert client.get(path, headers={"If-None-Match": etag}).status_code == 304
    assert client.get(path, params=span).headers["etag"] != etag


@pytest.mark.parametrize(
    ("params", "slug", "field"),
    [
        ({"start": "2001-01-01T00:00:00Z", "end": "2010-01-01T00:00:00Z"}, "invalid-span", "end"),
        ({"start": "2001-01-01T00:00:00Z"}, "invalid-span", "end"),
        ({"end": "2001-01-01T00:00:00Z"}, "invalid-span", "start"),
        ({"start": "2020-01-01T00:00:00Z", "end": "2001-01-01T00:00:00Z"}, "invalid-span", "end"),
        ({"start": "1900-01-01T00:00:00Z", "end": "2001-01-01T00:00:00Z"}, "span-too-long", "end"),
        ({"start": "2001-01-01", "end": "2020-01-01"}, "invalid-request", "start"),
    ],
)
def test_a_span_that_makes_no_datums_is_refused(coastal, params, slug, field):
    client, coast = coastal
    found = problem(client.get(f"/v1/stations/{coast.station}/datums", params=params), 422, slug)
    assert field in {fault["field"] for fault in found["errors"]}


def test_a_station_without_a_tide_has_no_datums(coastal):
    client, coast = coastal
    problem(client.get(f"/v1/stations/{coast.bare_station}/datums"), 409, "no-model")


def test_datums_of_a_short_record_are_refused_unless_asked_for(coastal):
    client, _ = coastal
    station = client.post("/v1/stations", json={"name": "Short Reach", "latitude": 51.0}).json()["id"]
    sent = client.post(
        f"/v1/stations/{station}/fits", params=HINTS, content=gauge_csv(), headers={"content-type": "text/csv"}
    )
    ends = time.monotonic() + 60.0
    while (fit := client.get(sent.headers["location"]).json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.02)
    assert client.post(f"/v1/fits/{fit['id']}/adopt").status_code == 200
    path = f"/v1/stations/{station}/datums"
    for _ in range(2):
        found = problem(client.get(path), 422, "datums-unreliable")
        assert "40 days" in found["detail"]
        flagged = client.get(path, params={"short_record": True}).json()
        assert (flagged["flags"], round(flagged["record_days"])) == (["short_record"], 40)
    problem(client.get(f"/v1/stations/{station}/heights", params={**SPAN, "datum": "LAT"}), 422, "datums-unreliable")


def test_stated_datums_are_shown_and_kept_with_the_model(coastal, stated):
    found = get(coastal, stated, "datums")
    assert found["stated"] == STATED
    assert {one["name"]: one["level_m"] for one in found["levels"]}["MSL"] == 3.1


@pytest.mark.parametrize(("datum", "above"), [("chart datum", 0.42), ("MSL", 3.08), ("LAT", None), ("gauge zero", 0.0)])
def test_heights_and_high_waters_are_told_above_a_datum_that_is_known(coastal, stated, model, datum, above):
    level = model.datums().levels["LAT"] if above is None else above
    own, other = (get(coastal, stated, "heights", **SPAN, step="1h", **asked) for asked in ({}, {"datum": datum}))
    assert other["stations"][0]["datum"] == datum
    rows = [np.array(one["stations"][0]["heights_m"]) for one in (own, other)]
    assert np.abs(rows[0] - level - rows[1]).max() <= 0.0011
    own, other = (get(coastal, stated, "extremes", **SPAN, **asked) for asked in ({}, {"datum": datum}))
    assert (own["datum"], other["datum"], own["times"]) == ("gauge zero", datum, other["times"])
    assert np.abs(np.array(own["heights_m"]) - level - np.array(other["heights_m"])).max() <= 0.0011


def test_heights_above_lowest_astronomical_tide_are_never_negative_in_other_forms_too(coastal, stated):
    client, _ = coastal
    for resource in ("heights", "extremes"):
        params = {**SPAN, "datum": "LAT"}
        text = client.get(f"/v1/stations/{stated}/{resource}", params=params, headers={"Accept": "text/csv"}).text
        rows = [line.split(",") for line in text.splitlines()[1:]]
        assert {row[2] for row in rows} == {"LAT"}
        assert min(float(row[4]) for row in rows) >= 0.0
    many = client.get("/v1/heights", params={**SPAN, "station_id": stated, "datum": "chart datum"}).json()
    assert many["stations"][0]["datum"] == "chart datum"


@pytest.mark.parametrize("datum", ["unknown", "chart datum", "Atlantis", "TcHHW"])
def test_a_datum_that_nobody_knows_is_refused(coastal, datum):
    client, coast = coastal
    for resource in ("heights", "extremes"):
        path = f"/v1/stations/{coast.station}/{resource}"
        found = problem(client.get(path, params={**SPAN, "datum": datum}), 422, "datum-unknown")
        assert "gauge zero" in found["known"]
        assert [(one["in"], one["field"]) for one in found["errors"]] == [("query", "datum")]
        # What is computed is among those that there are: each of these is answered.
        computed = [name for name in ("LAT", "MSL", "MHWS") if name in found["known"]]
        assert computed == ["LAT", "MSL", "MHWS"] or datum == "TcHHW"
        for name in computed:
            assert get(coastal, coast.station, resource, **SPAN, datum=name)


def test_a_station_whose_datum_is_unknown_is_told_above_no_other(coastal):
    client, _ = coastal
    station = make(coastal, datum="unknown")
    assert get(coastal, station, "datums")["datum"] == "unknown"
    for datum in ("LAT", "MSL"):
        found = problem(
            client.get(f"/v1/stations/{station}/heights", params={**SPAN, "datum": datum}), 422, "datum-unknown"
        )
        assert found["known"] == []
    assert get(coastal, station, "heights", **SPAN, datum="unknown")["stations"][0]["datum"] == "unknown"


@pytest.mark.parametrize(
    ("changes", "slug", "says"),
    [
        (
            {"datum_levels": [STATED[0], {**STATED[0], "level_m": 0.5, "source": "a plaque"}]},
            "datum-conflict",
            "plaque",
        ),
        ({"datum_levels": [{"datum": "gauge zero", "level_m": 0.1, "source": "x"}]}, "datum-conflict", "gauge zero"),
        ({"datum_levels": [{"datum": "unknown", "level_m": 0.1, "source": "x"}]}, "invalid-input", "unknown"),
        ({"datum": "unknown", "datum_levels": STATED}, "invalid-input", "unknown"),
        ({"datum_levels": [{"datum": "MSL", "level_m": 1e9, "source": "x"}]}, "invalid-request", "level_m"),
        ({"datum_levels": [{"datum": "MSL", "level_m": 1}]}, "invalid-request", "source"),
    ],
)
def test_stated_datums_that_cannot_be_are_refused(coastal, changes, slug, says):
    client, _ = coastal
    body = example("create_station") | {"external_ref": None}
    body["model"] = {**body["model"], **changes}
    found = problem(client.post("/v1/stations", json=body), 422, slug)
    assert says in found["detail"]


def test_another_level_of_a_stated_datum_is_another_version(coastal):
    client, _ = coastal
    station = make(coastal, datum_levels=STATED[:1])
    etag = client.get(f"/v1/stations/{station}").headers["etag"]
    body = example("create_station") | {"external_ref": None}
    body["model"]["datum_levels"] = [{**STATED[0], "level_m": 0.43}]
    answer = client.put(f"/v1/stations/{station}", json=body, headers={"If-Match": etag})
    assert answer.json()["current_version"] == 2
    assert get(coastal, station, "datums")["stated"][0]["level_m"] == 0.43


@pytest.mark.parametrize(
    ("convention", "names"), [("noaa", ("M2", "S2", "LAM2", "RHO")), ("ticon", ("M2", "S2", "LAMBDA2", "RHO1"))]
)
def test_constituents_of_other_conventions_are_served(coastal, convention, names):
    lines = {name: {"amplitude_m": 1.0 / (place + 1), "phase_deg": 40.0} for place, name in enumerate(names)}
    station = make(coastal, convention=convention, constituents=lines)
    assert get(coastal, station, "constituents")["convention"] == convention
    direct = TideModel.from_constituents(
        {name: (one["amplitude_m"], 40.0) for name, one in lines.items()},
        latitude=51.2, convention=convention, mean_level=3.1,
    )  # fmt: skip
    span = {"start": "2026-12-31T00:00:00Z", "end": "2027-01-02T00:00:00Z"}
    found = get(coastal, station, "heights", **span, step="1h")["stations"][0]["heights_m"]
    times = np.datetime64("2026-12-31T00", "us") + np.arange(48) * np.timedelta64(1, "h")
    assert np.abs(np.array(found) - direct.heights(times)).max() < 6e-4


def test_conventions_are_listed_with_names_and_arguments(coastal):
    client, _ = coastal
    items = client.get("/v1/conventions").json()["items"]
    lists = {one["name"]: {line["name"]: line for line in one["constituents"]} for one in items}
    assert set(lists) == {"utide", "noaa", "ticon"}
    assert len(lists["noaa"]) == 37
    # One line under its two names, and one name for two lines.
    assert {**lists["noaa"]["LAM2"], "name": ""} == {**lists["utide"]["LDA2"], "name": ""}
    assert lists["noaa"]["SA"]["multiples"] == lists["ticon"]["SA"]["multiples"] == [0, 0, 1, 0, 0, 0]
    assert lists["utide"]["SA"]["multiples"] == [0, 0, 1, 0, 0, -1]
    assert (lists["noaa"]["S1"]["constant_deg"], lists["utide"]["S1"]["constant_deg"]) == (180, 90)
    assert lists["noaa"]["M2"]["speed_deg_per_hour"] == pytest.approx(28.9841042, abs=1e-7)
