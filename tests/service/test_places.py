"""Problems say where in the request the fault is: query, path, header or body."""

from __future__ import annotations

import pytest

from tests.service.coast import example
from tests.service.problems import problem

HALF_DAY = {"start": "2026-06-01T00:00Z", "end": "2026-06-01T12:00Z"}


def placed(response, status, slug):
    """Return where the faults of a problem are, and their fields."""
    return [(fault["in"], fault["field"]) for fault in problem(response, status, slug)["errors"]]


@pytest.mark.parametrize(
    ("path", "params", "status", "slug", "where"),
    [
        ("/v1/stations/{station}/heights", {**HALF_DAY, "interval": 1.5}, 422, "invalid-input", "interval"),
        ("/v1/stations/{station}/heights", {**HALF_DAY, "steps": "1h"}, 422, "invalid-input", "steps"),
        ("/v1/stations/{station}/heights", {"start": HALF_DAY["end"], "end": HALF_DAY["start"]}, 422, "invalid-span",
         "end"),
        ("/v1/stations/{station}/extremes", {**HALF_DAY, "tz": "Nowhere/Land"}, 422, "invalid-input", "tz"),
        ("/v1/marks/{mark}/timeline", {**HALF_DAY, "factor": "hight"}, 422, "invalid-input", "factor"),
        ("/v1/trips", {"from": HALF_DAY["end"], "to": HALF_DAY["start"]}, 422, "invalid-input", "to"),
        ("/v1/trips", {"cursor": "none"}, 422, "cursor-invalid", "cursor"),
        ("/v1/changes", {"after": "none"}, 422, "cursor-invalid", "after"),
        ("/v1/trips", {"mark_id": "mrk_absent"}, 404, "not-found", "mark_id"),
        ("/v1/heights", {**HALF_DAY, "station_id": "stn_absent"}, 404, "not-found", "station_id"),
        ("/v1/insights/rates", {"by": "hours_from_hww"}, 422, "unknown-name", "by"),
        ("/v1/exports/trips", {"start": HALF_DAY["end"], "end": HALF_DAY["start"]}, 422, "invalid-input", "end"),
        ("/v1/exports/diary-rows", {"first_day": "2026-02-02", "last_day": "2026-02-01"}, 422, "invalid-input",
         "last_day"),
        ("/v1/insights/rates", {"by": "mark", "edges": 1.0}, 422, "invalid-input", "edges"),
    ],
)  # fmt: skip
def test_a_fault_of_the_query(coastal, path, params, status, slug, where):
    client, coast = coastal
    answer = client.get(path.format(station=coast.station, mark=coast.mark), params=params)
    assert placed(answer, status, slug) == [("query", where)]


def test_what_is_not_there_by_its_path(coastal):
    client, coast = coastal
    assert placed(client.get("/v1/marks/mrk_absent"), 404, "not-found") == [("path", "mark_id")]
    versions = client.get(f"/v1/marks/{coast.mark}", params={"version": 99})
    assert placed(versions, 404, "not-found") == [("query", "version")]


def test_a_fault_of_a_header(coastal):
    client, coast = coastal
    edit = client.delete(f"/v1/marks/{coast.mark}", headers={"if-match": "no tag"})
    assert placed(edit, 422, "invalid-input") == [("header", "If-Match")]


def test_a_fault_of_the_body(coastal):
    client, coast = coastal
    merge = {"if-match": "*", "content-type": "application/merge-patch+json"}
    edit = client.patch(f"/v1/marks/{coast.mark}", json={"latitude": 95.0}, headers=merge)
    assert placed(edit, 422, "invalid-input") == [("body", "latitude")]
    trip = {"mark": "nowhere", "start": "2026-03-14T18:10Z", "outcome": "not_fished", "why_not": "surf"}
    assert placed(client.post("/v1/trips", json={"trip": trip}), 422, "invalid-input") == [("body", "trip.mark")]
    record = client.post(f"/v1/stations/{coast.station}/fits", content=b"", headers={"content-type": "text/csv"})
    assert placed(record, 422, "invalid-input") == [("body", "body")]


def test_what_is_not_there_by_the_body(coastal):
    client, coast = coastal
    wanted = {**HALF_DAY, "mark_ids": [coast.mark, "mrk_absent"]}
    assert placed(client.post("/v1/windows/search", json=wanted), 404, "not-found") == [("body", "mark_ids.1")]
    species = [{"scientific_name": "Piscis inventus"}]
    check = {**HALF_DAY, "mark_id": "mrk_absent", "rods": 1, "species": species}
    assert placed(client.post("/v1/regulations/check", json=check), 404, "not-found") == [("body", "mark_id")]


def test_a_list_is_not_too_short_for_what_is_wrong_in_it(coastal):
    client, _ = coastal
    late = {"times": [{"clock_h": 0, "later_min": 4000}]}
    offsets = {"standard_zone": "+01:00", "high_water": late, "low_water": {"times": [{"clock_h": 0, "later_min": 0}]}}
    refused = client.post("/v1/marks", json={**example("create_mark"), "offsets": offsets})
    assert placed(refused, 422, "invalid-request") == [("body", "offsets.high_water.times.0.later_min")]


def test_a_parameter_that_is_nearly_one_names_it_first(coastal):
    client, coast = coastal
    found = problem(client.get(f"/v1/stations/{coast.station}/heights", params={"steps": "1h"}), 422, "invalid-input")
    assert found["errors"][0]["expected"].startswith("step, or another of: ")


def test_a_name_that_nobody_knows_is_where_the_caller_put_it(coastal):
    client, _ = coastal
    station = {**example("create_station"), "external_ref": None}
    station["model"]["constituents"]["XX"] = {"amplitude_m": 1.0, "phase_deg": 0.0}
    answer = client.post("/v1/stations", json=station)
    assert placed(answer, 422, "unknown-name") == [("body", "model.constituents.XX")]


def test_the_kind_of_a_table_is_no_step_of_a_path(coastal):
    client, coast = coastal
    heights = {"kind": "differences", "springs": {"station_height_m": 5, "higher_m": "x"}}
    low = {"times": [{"clock_h": 12, "later_min": 3}], "heights": {"kind": "ratio", "ratio": -1}}
    offsets = {
        "standard_zone": "+00:00",
        "high_water": {"times": [{"clock_h": 6, "later_min": 1}], "heights": heights},
        "low_water": low,
    }
    mark = {**example("create_mark"), "station": coast.station, "offsets": offsets}
    found = {field for _, field in placed(client.post("/v1/marks", json=mark), 422, "invalid-request")}
    assert {"offsets.high_water.heights.springs.higher_m", "offsets.low_water.heights.ratio"} <= found
