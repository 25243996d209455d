"""Intervals and surge over HTTP: from a record sent and adopted to bounds in every form."""

from __future__ import annotations

import csv
import io
import time

import numpy as np
import pytest
import xarray

from tests.service.coast import SPAN, gauge_csv
from tests.service.problems import problem

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}


@pytest.fixture(scope="module")
def gauged(coastal):
    """A station whose tide is fitted to a record of forty days, with noise of 0.02 m."""
    client, _ = coastal
    station = client.post("/v1/stations", json={"name": "Sure Point", "latitude": 51.0}).json()["id"]
    sent = client.post(
        f"/v1/stations/{station}/fits", params=HINTS, content=gauge_csv(), headers={"content-type": "text/csv"}
    )
    ends = time.monotonic() + 60.0
    while client.get(sent.headers["location"]).json()["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.02)
    adopted = client.post(f"{sent.headers['location']}/adopt")
    assert adopted.status_code == 200, adopted.text
    return station


def ask(client, path, **params):
    response = client.get(path, params={**SPAN, **params})
    assert response.status_code == 200, response.text
    return response.json()


def test_bounds_hold_the_height_and_widen_with_the_level(coastal, gauged) -> None:
    client, _ = coastal
    widths = []
    for level in (0.5, 0.9):
        found = ask(client, f"/v1/stations/{gauged}/heights", interval=level)
        assert found["interval"] == level
        (one,) = found["stations"]
        heights, lower, upper = (np.array(one[name]) for name in ("heights_m", "lower_m", "upper_m"))
        assert np.all((lower < heights) & (heights < upper))
        assert one["surge_m"] is None
        assert one["cautions"][0].endswith("not for navigation.")
        widths.append(np.mean(upper - lower))
    # Noise of 0.02 m: 90% of it lie within 0.066 m, and a fit of thirty days adds to that.
    assert 0.06 < widths[1] < 0.2
    assert widths[0] < 0.7 * widths[1]


def test_nothing_asked_nothing_told(coastal, gauged) -> None:
    client, _ = coastal
    found = ask(client, f"/v1/stations/{gauged}/heights")
    assert found["interval"] is None
    assert {found["stations"][0][name] for name in ("lower_m", "upper_m", "surge_m")} == {None}
    assert found["stations"][0]["cautions"] == []
    extremes = ask(client, f"/v1/stations/{gauged}/extremes")
    assert {extremes[n] for n in ("interval", "lower_m", "upper_m", "earliest", "latest", "surge_m")} == {None}


def test_high_and_low_waters_have_intervals_of_time(coastal, gauged) -> None:
    client, _ = coastal
    found = ask(client, f"/v1/stations/{gauged}/extremes", interval=0.9)
    assert found["count"] == len(found["earliest"]) == len(found["lower_m"]) > 2
    for early, at, late in zip(found["earliest"], found["times"], found["latest"], strict=True):
        assert early < at < late
    primary = ask(client, f"/v1/stations/{gauged}/extremes", interval=0.9, secondary="false")
    assert primary["lower_m"] == [v for v, p in zip(found["lower_m"], found["primary"], strict=True) if p]


def test_a_model_without_a_record_says_so(coastal, gauged) -> None:
    client, coast = coastal
    found = ask(client, "/v1/heights", station_id=[gauged, coast.station], interval=0.9)
    fitted, given = found["stations"]
    assert fitted["lower_m"] is not None
    assert (given["lower_m"], given["upper_m"]) == (None, None)
    assert "no interval: the model has no record" in given["cautions"]
    extremes = ask(client, f"/v1/stations/{coast.station}/extremes", interval=0.9)
    assert extremes["earliest"] is extremes["lower_m"] is None
    assert "no interval: the model has no record" in extremes["cautions"]


def test_surge_is_apart_from_the_tide_and_in_the_bounds(coastal, gauged) -> None:
    client, _ = coastal
    path = f"/v1/stations/{gauged}/heights"
    calm, low = (ask(client, path, interval=0.9, **more)["stations"][0] for more in ({}, {"pressure_hpa": 983.25}))
    assert low["heights_m"] == calm["heights_m"]
    assert low["surge_m"] == 0.3
    assert np.allclose(np.array(low["upper_m"]) - np.array(calm["upper_m"]), 0.3, atol=0.0011)
    assert any("1013.25" in caution for caution in low["cautions"])
    assert any("as wide as without" in caution for caution in low["cautions"])
    given = ask(client, path, surge_m=0.5, pressure_hpa=983.25)["stations"][0]
    assert (given["surge_m"], given["lower_m"]) == (0.5, None)
    known = ask(client, path, interval=0.9, pressure_hpa=983.25, reference_pressure_hpa=1003.25, surge_sd_m=0.2)
    (known,) = known["stations"]
    assert known["surge_m"] == 0.2
    assert len(known["cautions"]) == 1
    assert np.mean(np.array(known["upper_m"]) - np.array(known["lower_m"])) > 2 * 1.64 * 0.2
    extremes = ask(client, f"/v1/stations/{gauged}/extremes", surge_m=-0.25, interval=0.9)
    plain = ask(client, f"/v1/stations/{gauged}/extremes", interval=0.9)
    assert (extremes["surge_m"], extremes["times"]) == (-0.25, plain["times"])
    assert np.allclose(np.array(extremes["lower_m"]) - np.array(plain["lower_m"]), -0.25, atol=0.0011)


def test_every_form_says_the_same(coastal, gauged) -> None:
    client, coast = coastal
    for path in (f"/v1/stations/{gauged}/heights", f"/v1/stations/{gauged}/extremes"):
        params = {**SPAN, "interval": "0.9", "surge_m": "0.25"}
        said = client.get(path, params=params).json()
        said = said["stations"][0] if "stations" in said else said
        text = client.get(path, params=params, headers={"accept": "text/csv"}).content.decode()
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
        covered = client.get(path, params=params, headers={"accept": "application/prs.coverage+json"}).json()
        for name in ("lower_m", "upper_m"):
            assert [float(row[name]) for row in rows] == said[name]
            assert covered["coverages"][0]["ranges"][name]["values"] == said[name]
        assert {row["surge_m"] for row in rows} == {"0.250"}
        if "earliest" in said:
            assert [row["earliest"] or None for row in rows] == said["earliest"]
            assert covered["coverages"][0]["ranges"]["latest"]["values"] == said["latest"]
        else:
            file = client.get(path, params=params, headers={"accept": "application/netcdf"}).content
            with xarray.open_dataset(io.BytesIO(file), engine="scipy") as dataset:
                assert dataset["lower_m"].values[0].tolist() == said["lower_m"]
                assert "90%" in dataset["upper_m"].attrs["long_name"]
    # Unknown beside known: a station without a record in the same file.
    both = client.get(
        "/v1/heights",
        params={**SPAN, "station_id": [gauged, coast.station], "interval": "0.9"},
        headers={"accept": "text/csv"},
    )
    rows = list(csv.DictReader(io.StringIO(both.content.decode(), newline="")))
    assert {row["lower_m"] == "" for row in rows if row["station_id"] == coast.station} == {True}
    assert {row["lower_m"] == "" for row in rows if row["station_id"] == gauged} == {False}


def test_another_question_has_another_etag(coastal, gauged) -> None:
    client, _ = coastal
    path = f"/v1/stations/{gauged}/heights"
    asked: tuple[dict[str, float], ...] = (
        {},
        {"interval": 0.9},
        {"interval": 0.8},
        {"interval": 0.9, "surge_m": 0.1},
        {"surge_m": 0.1},
    )
    tags = {client.get(path, params={**SPAN, **more}).headers["etag"] for more in asked}
    assert len(tags) == len(asked)


@pytest.mark.parametrize("resource", ["heights", "extremes"])
@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"interval": 0.0}, "interval"),
        ({"interval": 1.0}, "interval"),
        ({"interval": -3}, "interval"),
        ({"surge_m": 99}, "surge_m"),
        ({"pressure_hpa": 101325}, "pressure_hpa"),
        ({"reference_pressure_hpa": 1010}, "reference_pressure_hpa"),
        ({"surge_sd_m": 0.1}, "surge_sd_m"),
        ({"surge_m": 0.1, "surge_sd_m": -0.1}, "surge_sd_m"),
    ],
)
def test_what_cannot_be_is_a_clear_problem(coastal, gauged, resource, asked, field) -> None:
    client, _ = coastal
    found = problem(client.get(f"/v1/stations/{gauged}/{resource}", params={**SPAN, **asked}), 422, "invalid-input")
    assert found["errors"][0]["field"] == field


LEVELS = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-01T12:00:00Z", "step_s": 3600}
SURGE: dict[str, list] = {
    "times": ["2026-06-01T01:00:00Z", "2026-06-01T03:00:00Z", "2026-06-01T05:00:00Z"],
    "surge_m": [0.2, 0.6, None],
}
PRESSURE = {"times": ["2026-06-01T02:00:00Z", "2026-06-01T08:00:00Z"], "pressure_hpa": [1013.25, 1001.25]}


def levels(client, station, **body):
    answer = client.post(f"/v1/stations/{station}/water-levels", json={**LEVELS, **body})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_surge_over_time_is_followed_and_the_pressure_stands_in(coastal, gauged) -> None:
    client, _ = coastal
    found = levels(client, gauged, surge=SURGE, pressure=PRESSURE)
    # From 1 h to 3 h the surge given; after it 1 cm for each hPa fallen since 2 h; before and after, nobody knows.
    expected = [None, 0.2, 0.4, 0.6, 0.04, 0.06, 0.08, 0.1, 0.12, None, None, None]
    assert found["surge_m"] == expected
    plain = client.get(
        f"/v1/stations/{gauged}/heights", params={"start": LEVELS["start"], "end": LEVELS["end"], "step": "1h"}
    ).json()["stations"][0]["heights_m"]
    assert found["heights_m"] == plain
    both = [None if surge is None else height + surge for height, surge in zip(plain, expected, strict=True)]
    assert [None if one is None else pytest.approx(one, abs=0.0011) for one in both] == found["levels_m"]
    assert any("1013.25" in said for said in found["cautions"])
    assert any("4 of 12 instants" in said for said in found["cautions"])
    assert found["lower_m"] is None


def test_bounds_of_a_level_are_about_tide_and_surge(coastal, gauged) -> None:
    client, _ = coastal
    tide = levels(client, gauged, interval=0.9)
    vague = levels(client, gauged, interval=0.9, surge=SURGE)
    sure = levels(client, gauged, interval=0.9, surge={**SURGE, "surge_sd_m": 0.5})
    for place, surge in enumerate(vague["surge_m"]):
        for bound in ("lower_m", "upper_m"):
            assert vague[bound][place] == pytest.approx(tide[bound][place] + (surge or 0.0), abs=0.0011)
        width = sure["upper_m"][place] - sure["lower_m"][place]
        # 90% of a normal surge of 0.5 m lie within 1.645 of it on either side.
        least = 0.05 if surge is None else 2 * 1.645 * 0.5
        assert least < width < least + 0.3


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"surge": {**SURGE, "surge_m": [0.1]}}, "surge"),
        ({"surge": {**SURGE, "times": list(reversed(SURGE["times"]))}}, "surge.times.1"),
        ({"surge": {**SURGE, "surge_m": [0.1, 40.0, 0.1]}}, "surge_m"),
        ({"pressure": {**PRESSURE, "pressure_hpa": [1013.0, 101.3]}}, "pressure_hpa"),
        ({"interval": 1.0}, "interval"),
        ({"surge": {"times": ["2026-06-01T01:00:00"], "surge_m": [0.1]}}, "surge.times.0"),
    ],
)
def test_a_series_that_cannot_be(coastal, gauged, body, field) -> None:
    client, _ = coastal
    answer = client.post(f"/v1/stations/{gauged}/water-levels", json={**LEVELS, **body})
    slug = answer.json()["type"].removeprefix("/problems/")
    assert slug in ("invalid-request", "invalid-input")
    problem(answer, 422, slug, field)
