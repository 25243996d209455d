"""Every series in every form over HTTP says what its JSON says; of many stations or marks, what each says alone."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest
import xarray

from tests.service.coast import SPAN, example
from tests.service.coverages import check_collection, decoded
from tests.service.problems import problem
from tidecore.timeline import factors

CSV, COVERAGEJSON, NETCDF = "text/csv", "application/prs.coverage+json", "application/netcdf"


@pytest.fixture(scope="module")
def second(coastal):
    """A second station with a tide and no longitude, and a mark at it without slack lags."""
    client, _ = coastal
    body = {**example("create_station"), "external_ref": None, "latitude": 40.0, "longitude": None, "name": "=Sum Bay"}
    station = client.post("/v1/stations", json=body).json()["id"]
    mark = {**example("create_mark"), "station": station, "external_ref": "second-ledge", "slack_lags": None}
    return station, client.post("/v1/marks", json=mark).json()["id"]


def ask(client, path, form=None, **params):
    headers = {} if form is None else {"accept": form}
    query = params if path.endswith("constituents") else {**SPAN, **params}
    response = client.get(path, params=query, headers=headers)
    assert response.status_code == 200, response.text
    if form is None:
        return response.json()
    assert response.headers["content-type"].split(";")[0] == form
    assert response.headers["content-disposition"].startswith("attachment; filename=")
    if form == CSV:
        assert response.headers["content-type"] == "text/csv; charset=utf-8; header=present"
        return list(csv.DictReader(io.StringIO(response.content.decode("utf-8"), newline="")))
    if form == COVERAGEJSON:
        return check_collection(response.json())
    with xarray.open_dataset(io.BytesIO(response.content), engine="scipy") as dataset:
        return dataset.load()


def known(texts):
    return [None if text == "" else float(text) for text in texts]


def nulls(values):
    return [None if np.isnan(value) else value for value in values]


def test_heights_say_the_same_in_every_form(coastal):
    client, coast = coastal
    path = f"/v1/stations/{coast.station}/heights"
    said = ask(client, path)
    heights = said["stations"][0]["heights_m"]
    rows = ask(client, path, CSV)
    assert list(rows[0]) == ["station_id", "version", "datum", "time", "height_m"]
    assert [float(row["height_m"]) for row in rows] == heights
    assert rows[0]["time"] == said["start"]
    assert (rows[5]["time"], len(rows)) == ("2026-06-01T00:50:00Z", said["count"])
    assert {(row["station_id"], row["version"], row["datum"]) for row in rows} == {(coast.station, "1", "gauge zero")}
    (coverage,) = ask(client, path, COVERAGEJSON)
    assert coverage["ranges"]["height_m"]["values"] == heights
    assert coverage["domain"]["axes"]["t"]["values"] == [row["time"] for row in rows]
    dataset = ask(client, path, NETCDF)
    assert dataset["height_m"].values[0].tolist() == heights
    assert dataset["datum"].values.tolist() == ["gauge zero"]


def test_flow_says_the_same_in_every_form(coastal):
    client, coast = coastal
    path, lags = f"/v1/stations/{coast.station}/flow", {"after_hw_min": "60", "after_lw_min": "90"}
    for params, reliable in (({}, False), (lags, True)):
        said = ask(client, path, **params)
        assert said["flow_reliable"] is reliable
        rows = ask(client, path, CSV, **params)
        assert [float(row["flow_index"]) for row in rows] == said["flow_index"]
        assert {row["flow_reliable"] for row in rows} == {"true" if reliable else "false"}
        (coverage,) = ask(client, path, COVERAGEJSON, **params)
        assert coverage["ranges"]["flow_index"]["values"] == said["flow_index"]
        assert coverage["about"]["flow_reliable"] is reliable
        dataset = ask(client, path, NETCDF, **params)
        assert dataset["flow_index"].values[0].tolist() == said["flow_index"]
        assert dataset["flow_reliable"].values.tolist() == [float(reliable)]


@pytest.mark.parametrize("place", ["station", "mark"])
def test_extremes_say_the_same_in_every_form(coastal, place):
    client, coast = coastal
    path = f"/v1/{place}s/{getattr(coast, place)}/extremes"
    said = ask(client, path, end="2026-06-04T00:00:00Z", tz="Asia/Kolkata")
    rows = ask(client, path, CSV, end="2026-06-04T00:00:00Z", tz="Asia/Kolkata")
    assert [row["time"] for row in rows] == said["times"]
    assert [float(row["height_m"]) for row in rows] == said["heights_m"]
    assert [row["kind"] for row in rows] == said["kinds"]
    assert [row["rank"] or None for row in rows] == said["ranks"]
    assert [row["primary"] == "true" for row in rows] == said["primary"]
    assert [int(row["tide_id"]) for row in rows] == said["tide_ids"]
    assert [row["stand_start"] or None for row in rows] == said["stand_starts"]
    (coverage,) = ask(client, path, COVERAGEJSON, end="2026-06-04T00:00:00Z", tz="Asia/Kolkata")
    assert coverage["domain"]["axes"]["t"]["values"] == said["times"]
    pairs = {
        "height_m": "heights_m", "kind": "kinds", "primary": "primary", "tide_id": "tide_ids", "double": "double",
        "rank": "ranks", "no_tide": "no_tide", "stand_start": "stand_starts", "stand_end": "stand_ends",
    }  # fmt: skip
    for one, many in (pairs | ({"height_held": "heights_held"} if place == "mark" else {})).items():
        assert decoded(coverage, one) == said[many], one
    assert coverage["about"][f"{place}_id"] == rows[0][f"{place}_id"] == getattr(coast, place)


def test_a_timeline_says_the_same_in_every_form(coastal):
    client, coast = coastal
    path = f"/v1/marks/{coast.mark}/timeline"
    said = ask(client, path)
    rows, (coverage,), dataset = (ask(client, path, form, hazards=False) for form in (CSV, COVERAGEJSON, NETCDF))
    kinds = {factor["name"]: factor for factor in said["factors"]}
    header = [name for name in rows[0] if name not in ("mark_id", "mark_version", "station_id", "station_version",
              "datum", "time_zone", "range_cycle", "time")]  # fmt: skip
    assert len(header) == len(kinds) == len(coverage["ranges"])
    for name, field in zip(kinds, header, strict=True):
        values = said["columns"][name]
        assert decoded(coverage, field) == values, name
        texts = [row[field] for row in rows]
        if kinds[name]["kind"] == "number":
            assert known(texts) == values, name
            assert nulls(dataset[field].values[0].tolist()) == values, name
            assert dataset[field].attrs["units"] == kinds[name]["unit"]
        else:
            truths = {"true": True, "false": False, "": None}
            read = [truths[text] if kinds[name]["kind"] == "boolean" else text or None for text in texts]
            assert read == values, name
            meanings = dataset[field].attrs["flag_meanings"].split()
            flags = [None if one is None else meanings[int(one)] for one in nulls(dataset[field].values[0].tolist())]
            assert [truths.get(one, one) if one else None for one in flags] == values, name
    assert said["unknown"]
    assert {row["mark_version"] for row in rows} == {"1"}


def test_a_timeline_says_whether_the_stream_is_known_whatever_is_asked(coastal, second):
    client, _ = coastal
    rows = ask(client, f"/v1/marks/{second[1]}/timeline", CSV, factor="flow_index")
    assert {row["flow_reliable"] for row in rows} == {"false"}
    rows = ask(client, f"/v1/marks/{second[1]}/timeline", CSV, factor=["flow_reliable"])
    assert {row["flow_reliable"] for row in rows} == {"false"}


def test_csv_of_a_timeline_tells_the_worst_hazard_of_each_step(coastal):
    client, coast = coastal
    path, named = f"/v1/marks/{coast.mark}/timeline", ("hazard_grade", "hazard_kinds", "hazards_not_assessed")
    rows = ask(client, path, CSV)
    assert {one["hazard_grade"] for one in rows} <= {"info", "caution", "not_assessed", "danger"}
    # Nobody said anything of sea and air.
    assert all({"official_warning", "thunder"} <= set(one["hazards_not_assessed"].split()) for one in rows)
    assert named[0] not in ask(client, path, CSV, factor="height")[0]
    few = ask(client, path, CSV, factor="height", hazards=True)
    assert [[one[name] for name in named] for one in few] == [[one[name] for name in named] for one in rows]
    assert named[0] not in ask(client, path, CSV, hazards=False)[0]
    assert named[0] not in ask(client, path, hazards=True)["columns"]


def test_a_timeline_between_two_steps_is_empty_in_every_form(coastal):
    client, coast = coastal
    span = {"start": "2026-06-01T00:01:00Z", "end": "2026-06-01T00:02:00Z", "factor": ["height", "light"]}
    path = f"/v1/marks/{coast.mark}/timeline"
    assert ask(client, path, **span)["count"] == 0
    assert ask(client, path, CSV, **span) == []
    assert ask(client, path, COVERAGEJSON, **span) == []
    assert dict(ask(client, path, NETCDF, **span)["height_m"].sizes) == {"time": 0, "series": 1}


def test_constituents_say_the_same_in_csv(coastal):
    client, coast = coastal
    path = f"/v1/stations/{coast.station}/constituents"
    said, rows = ask(client, path), ask(client, path, CSV)
    assert [row["name"] for row in rows] == said["names"]
    assert [float(row["amplitude_m"]) for row in rows] == said["amplitudes_m"]
    assert [float(row["phase_deg"]) for row in rows] == said["phases_deg"]
    assert {(row["version"], row["convention"]) for row in rows} == {("1", "utide")}


def test_windows_say_the_same_in_csv(coastal):
    client, coast = coastal
    body = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [coast.rule], "limit": 5}
    said = client.post("/v1/windows/search", json=body)
    response = client.post("/v1/windows/search", json=body, headers={"accept": CSV})
    assert said.headers["vary"] == response.headers["vary"] == "Accept, Authorization"
    windows, rows = said.json()["windows"], list(csv.DictReader(io.StringIO(response.text, newline="")))
    assert len(rows) == len(windows) > 1
    for row, window in zip(rows, windows, strict=True):
        for name in ("mark_id", "rule_id", "time_zone", "date_local", "start", "end", "peak_time"):
            assert row[name] == window[name]
        for name in ("duration_h", "mean_score", "peak_score", "score_hours"):
            assert float(row[name]) == window[name]
        assert row["limiting_factor"] == (window["limiting_factor"] or "")
        assert (row["best_hour_start"], row["best_hour_end"]) == (
            window["best_hour"]["start"],
            window["best_hour"]["end"],
        )
        truths = {True: "true", False: "false", None: ""}
        for name in ("starts_before", "ends_after", "flow_reliable", "ground_accepted"):
            assert row[name] == truths[window[name]]
        assert (row["mark_version"], row["rule_version"], row["station_version"]) == ("1", "1", "1")
        assert row["station_id"] == coast.station


def test_a_search_without_windows_is_a_header_in_csv(coastal):
    client, coast = coastal
    body: dict[str, object] = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-01T00:20:00Z"}
    body |= {"mark_ids": [coast.mark], "rule_ids": [coast.rule]}
    response = client.post("/v1/windows/search", json=body, headers={"accept": CSV})
    assert client.post("/v1/windows/search", json=body).json()["windows"] == []
    assert response.text.count("\r\n") == 1


@pytest.mark.parametrize("resource", ["heights", "flow", "extremes"])
def test_many_stations_say_what_each_says(coastal, second, resource):
    client, coast = coastal
    ids = [second[0], coast.station]
    many = ask(client, f"/v1/{resource}", station_id=[*ids, second[0]])
    assert [one["station_id"] for one in many["stations"]] == ids
    for found in many["stations"]:
        alone = ask(client, f"/v1/stations/{found['station_id']}/{resource}")
        alone = alone["stations"][0] if resource == "heights" else alone
        assert found == {name: alone[name] for name in found}
    rows = ask(client, f"/v1/{resource}", CSV, station_id=ids)
    assert list(dict.fromkeys(row["station_id"] for row in rows)) == ids
    coverages = ask(client, f"/v1/{resource}", COVERAGEJSON, station_id=ids)
    assert [coverage["id"] for coverage in coverages] == ids
    assert ["x" in coverage["domain"]["axes"] for coverage in coverages] == [False, True]
    if resource != "extremes":
        dataset = ask(client, f"/v1/{resource}", NETCDF, station_id=ids)
        assert dataset["station_id"].values.tolist() == ids


def test_many_marks_say_what_each_says(coastal, second):
    client, coast = coastal
    ids, factor = [coast.mark, second[1]], ["height", "flow_index", "light", "wind_speed"]
    many = ask(client, "/v1/timelines", mark_id=ids, factor=factor, step="1h")
    assert [one["mark_id"] for one in many["marks"]] == ids
    for found in many["marks"]:
        alone = ask(client, f"/v1/marks/{found['mark_id']}/timeline", factor=factor, step="1h")
        assert {name: alone[name] for name in found} == found
        assert {name: alone[name] for name in ("start", "step_s", "count", "factors")} == {
            name: many[name] for name in ("start", "step_s", "count", "factors")
        }
    dataset = ask(client, "/v1/timelines", NETCDF, mark_id=ids, factor=factor, step="1h")
    assert dataset["height_m"].values.tolist() == [one["columns"]["height"] for one in many["marks"]]
    rows = ask(client, "/v1/timelines", CSV, mark_id=ids, factor=factor, step="1h")
    assert [row["light"] for row in rows] == [light for one in many["marks"] for light in one["columns"]["light"]]


def test_too_much_of_many_says_what_fits(serve):
    client = serve(max_points=100, max_span_days=10.0)
    bodies = [{**example("create_station"), "external_ref": None} for _ in range(2)]
    ids = [client.post("/v1/stations", json=body).json()["id"] for body in bodies]
    for resource in ("heights", "flow"):
        query = {**SPAN, "station_id": ids, "step": "10min"}
        found = problem(client.get(f"/v1/{resource}", params=query), 422, "too-many-points", "step")
        fitting = {**query, "step": f"{found['fitting_step_s']}s"}
        assert client.get(f"/v1/{resource}", params=fitting).status_code == 200
    long = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-07T00:00:00Z"}
    assert client.get(f"/v1/stations/{ids[0]}/extremes", params=long).status_code == 200
    found = problem(client.get("/v1/extremes", params={**long, "station_id": ids}), 422, "span-too-long", "end")
    assert (found["limit"], found["setting"]) == (5.0, "EBBMARK_MAX_SPAN_DAYS")
    marks = [
        client.post("/v1/marks", json={**example("create_mark"), "external_ref": None, "station": one}).json()["id"]
        for one in ids
    ]
    query = {**SPAN, "mark_id": marks, "factor": ["height", "rate"], "step": "10min"}
    found = problem(client.get("/v1/timelines", params=query), 422, "too-many-points", "step")
    fitting = {**query, "step": f"{found['fitting_step_s']}s"}
    assert client.get("/v1/timelines", params=fitting).status_code == 200
    days = {**query, "end": "2026-06-07T00:00:00Z", "step": "1d"}
    problem(client.get("/v1/timelines", params=days), 422, "span-too-long", "end")


def test_one_missing_of_many_is_named(coastal):
    client, coast = coastal
    for resource in ("heights", "flow", "extremes"):
        query = {**SPAN, "station_id": [coast.station, "stn_0"]}
        assert "'stn_0'" in problem(client.get(f"/v1/{resource}", params=query), 404, "not-found")["detail"]
        query = {**SPAN, "station_id": [coast.station, coast.bare_station]}
        problem(client.get(f"/v1/{resource}", params=query), 409, "no-model")
    query = {**SPAN, "mark_id": [coast.mark, "mrk_0"]}
    assert "'mrk_0'" in problem(client.get("/v1/timelines", params=query), 404, "not-found")["detail"]
    problem(client.get("/v1/timelines", params=SPAN), 422, "invalid-request", "mark_id")


def test_a_month_of_a_timeline_passes_the_cf_checker(coastal, tmp_path):
    """Held to compliance-checker, one factor of each kind and unit: its time grows with the square of their number."""
    from compliance_checker.runner import CheckSuite, ComplianceChecker

    client, coast = coastal
    chosen = {(one.kind, one.unit, name in ("height", "sea_temperature")): name for name, one in factors().items()}
    query = {"start": "2026-06-01T00:00:00Z", "end": "2026-07-01T00:00:00Z", "factor": sorted(chosen.values())}
    found = client.get(f"/v1/marks/{coast.mark}/timeline", params=query, headers={"accept": NETCDF})
    assert found.status_code == 200, found.text
    written, report = tmp_path / "month.nc", tmp_path / "report.json"
    written.write_bytes(found.content)
    CheckSuite.load_all_available_checkers()
    passed, _ = ComplianceChecker.run_checker(
        [str(written)], ["cf:1.11"], 0, "strict", output_filename=str(report), output_format=["json"]
    )
    result = json.loads(report.read_text(encoding="utf-8"))["cf:1.11"]
    assert passed, [(one["name"], one["msgs"]) for one in result["all_priorities"] if one["msgs"]]
    assert result["possible_points"] > 100 + 10 * len(chosen)
