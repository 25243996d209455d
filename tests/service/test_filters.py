"""CQL2 filters over HTTP: on timelines, on the search for windows, and what they may name."""

from __future__ import annotations

import json

import pytest

from tests.service.coast import SPAN, example
from tests.service.problems import problem
from tests.service.test_series import COVERAGEJSON, CSV, NETCDF, ask, known
from tidecore.timeline import factors

TEXT = "flow_strength > 0.4 AND direction = 'ebb'"
DOCUMENT = {
    "op": "and",
    "args": [
        {"op": ">", "args": [{"property": "flow_strength"}, 0.4]},
        {"op": "=", "args": [{"property": "direction"}, "ebb"]},
    ],
}
FACTORS = ["height", "flow_strength", "direction", "wave_height"]


def timeline(coastal, **params):
    client, coast = coastal
    return ask(client, f"/v1/marks/{coast.mark}/timeline", **{"factor": FACTORS, **params})


def search(coastal, **changes):
    client, coast = coastal
    body = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [coast.rule], **changes}
    return client.post("/v1/windows/search", json=body)


def test_rows_where_the_filter_is_not_true_are_left_out(coastal):
    whole, said = timeline(coastal), timeline(coastal, filter=TEXT)
    assert (whole["times"], whole["filtered"]) == (None, None)
    index, direction = whole["columns"]["flow_strength"], whole["columns"]["direction"]
    rows = [k for k in range(whole["count"]) if index[k] > 0.4 and direction[k] == "ebb"]
    assert 0 < len(rows) < whole["count"] == said["count"]
    for name, values in whole["columns"].items():
        assert said["columns"][name] == [values[k] for k in rows]
    assert said["times"][0] == f"2026-06-01T{rows[0] // 6:02}:{rows[0] % 6}0:00Z"
    assert said["filtered"] == {
        "kept": len(rows), "false": whole["count"] - len(rows), "unknown": 0, "unknown_factors": [],
    }  # fmt: skip
    assert said["unknown"] == ["wave_height"]


def test_a_filter_may_read_what_is_not_shown(coastal):
    shown = timeline(coastal, filter=TEXT)
    assert timeline(coastal, filter=TEXT, factor="height")["times"] == shown["times"]


def test_both_languages_say_the_same(coastal):
    said = timeline(coastal, filter=TEXT)
    given = {"filter": json.dumps(DOCUMENT), "filter-lang": "cql2-json"}
    assert timeline(coastal, **given) == said
    assert timeline(coastal, **{"filter": TEXT, "filter-lang": "cql2-text"}) == said


def test_unknown_is_left_out_also_under_not_and_named(coastal):
    for text in ("wave_height < 1", "NOT (wave_height < 1)"):
        said = timeline(coastal, filter=text)
        assert said["times"] == said["columns"]["height"] == []
        assert said["filtered"]["unknown"] == said["count"]
        assert said["filtered"]["unknown_factors"] == ["wave_height"]
        assert said["unknown"] == ["wave_height"]
    assert len(timeline(coastal, filter="wave_height IS NULL")["times"]) == said["count"]


def test_every_form_leaves_out_the_same_rows(coastal):
    client, coast = coastal
    path, given = f"/v1/marks/{coast.mark}/timeline", {"factor": ["height"], "filter": TEXT}
    said = ask(client, path, tz="Asia/Kolkata", **given)
    rows = ask(client, path, CSV, tz="Asia/Kolkata", **given)
    assert [row["time"] for row in rows] == said["times"]
    assert known([row["height_m"] for row in rows]) == said["columns"]["height"]
    (coverage,) = ask(client, path, COVERAGEJSON, tz="Asia/Kolkata", **given)
    assert coverage["domain"]["axes"]["t"]["values"] == said["times"]
    dataset = ask(client, path, NETCDF, **given)
    assert dataset["height_m"].values[0].tolist() == said["columns"]["height"]
    assert dataset["time"].size == len(said["times"])


def test_a_filter_that_leaves_nothing_is_empty_in_every_form(coastal):
    client, coast = coastal
    path, given = f"/v1/marks/{coast.mark}/timeline", {"factor": ["height"], "filter": "FALSE"}
    assert ask(client, path, CSV, **given) == []
    assert ask(client, path, COVERAGEJSON, **given) == []
    assert ask(client, path, NETCDF, **given)["height_m"].size == 0


def test_each_of_many_marks_has_rows_of_its_own(coastal):
    client, coast = coastal
    lags = {"after_hw_min": 120, "after_lw_min": 130}
    later = {**example("create_mark"), "external_ref": "later", "slack_lags": lags}
    ids = [coast.mark, client.post("/v1/marks", json=later).json()["id"]]
    given = {"mark_id": ids, "factor": ["height"], "filter": TEXT}
    many = ask(client, "/v1/timelines", **given)
    alone = [ask(client, f"/v1/marks/{key}/timeline", factor="height", filter=TEXT) for key in ids]
    assert [one["times"] for one in many["marks"]] == [one["times"] for one in alone]
    assert alone[0]["times"] != alone[1]["times"]
    assert len(ask(client, "/v1/timelines", CSV, **given)) == sum(len(one["times"]) for one in alone)
    response = client.get("/v1/timelines", params={**SPAN, **given}, headers={"accept": NETCDF})
    problem(response, 422, "invalid-input", "filter")


def test_the_filter_is_part_of_the_etag(coastal):
    client, coast = coastal
    path = f"/v1/marks/{coast.mark}/timeline"

    def etag(**params):
        return client.get(path, params={**SPAN, "factor": ["height"], **params}).headers["etag"]

    one = etag(filter=TEXT)
    assert one == etag(filter=TEXT.replace("> 0.4", "  >0.40")) != etag()
    assert one != etag(filter=TEXT.replace("0.4", "0.5"))
    unchanged = client.get(path, params={**SPAN, "factor": ["height"], "filter": TEXT}, headers={"if-none-match": one})
    assert unchanged.status_code == 304


@pytest.mark.parametrize(
    ("given", "slug", "field", "position"),
    [
        ({"filter": "height > 1 AND sea > 1"}, "invalid-filter", "filter", 16),
        ({"filter": "height > 'x'"}, "invalid-filter", "filter", 1),
        ({"filter": "direction = 'down'"}, "invalid-filter", "filter", 1),
        ({"filter": "height >"}, "invalid-filter", "filter", 8),
        ({"filter": ""}, "invalid-filter", "filter", None),
        ({"filter": "(" * 1000 + "height > 1" + ")" * 900}, "invalid-filter", "filter", 25),
        ({"filter": "height > 1 " * 200}, "invalid-filter", "filter", None),
        ({"filter": "height\x00 > 1"}, "invalid-filter", "filter", 7),
        ({"filter": TEXT, "filter-lang": "cql2-json"}, "invalid-filter", "filter", 1),
        ({"filter": TEXT, "filter-lang": "sql"}, "invalid-request", "filter-lang", None),
    ],
)
def test_a_wrong_filter_is_a_problem_with_its_place(coastal, given, slug, field, position):
    client, coast = coastal
    for path in (f"/v1/marks/{coast.mark}/timeline", "/v1/timelines"):
        marks = {"mark_id": [coast.mark]} if path == "/v1/timelines" else {}
        found = problem(client.get(path, params={**SPAN, **marks, **given}), 422, slug, field)
        assert found.get("position") == position


def test_windows_lie_where_the_filter_is_true(coastal):
    whole = search(coastal).json()
    assert whole["filter"] is None
    within = {"filter": "T_DURING(time, INTERVAL('2026-06-01','2026-06-04')) AND height > 2.5"}
    said = search(coastal, **within).json()
    assert 0 < said["found"]
    assert said["filter"]["op"] == "and"
    for window in said["windows"]:
        assert any(one["start"] <= window["start"] < window["end"] <= one["end"] for one in whole["windows"])
        assert window["end"] <= "2026-06-05T00:00:00Z"
    assert {one["start"] for one in said["windows"]} - {one["start"] for one in whole["windows"]}
    assert search(coastal, filter=said["filter"]).json() == said
    assert search(coastal, filter=json.dumps(said["filter"]), filter_lang="cql2-json").json() == said


def test_a_filter_that_leaves_no_window_is_said(coastal):
    said = search(coastal, filter="wave_height < 1").json()
    assert said["windows"] == []
    assert "unknown for 100% of it (wave_height)" in said["without_window"][0]["reasons"][-1]


@pytest.mark.parametrize(
    ("given", "slug", "field"),
    [
        ({"filter": "sea > 1"}, "invalid-filter", "filter"),
        ({"filter": {"op": ">", "args": [{"property": "sea"}, 1]}}, "invalid-filter", "filter.args.0.property"),
        ({"filter": DOCUMENT, "filter_lang": "cql2-text"}, "invalid-filter", "filter"),
        ({"filter": TEXT, "filter_lang": "sql"}, "invalid-request", "filter_lang"),
        ({"filter": 7}, "invalid-request", "filter.str"),
    ],
)
def test_a_search_with_a_wrong_filter_is_a_problem(coastal, given, slug, field):
    problem(search(coastal, **given), 422, slug, field)


def test_what_filters_may_name_is_published(coastal):
    client, _ = coastal
    response = client.get("/v1/queryables")
    assert response.headers["content-type"] == "application/schema+json"
    said = response.json()
    assert said["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert list(said["properties"]) == ["time", *factors()]
    height, light = said["properties"]["height"], said["properties"]["light"]
    assert (height["type"], height["x-ogc-unit"], height["x-ebbmark-unit"]) == ("number", "m", "m")
    assert light["enum"] == list(factors()["light"].categories)
    assert said["properties"]["flow_reliable"]["type"] == "boolean"
    assert (said["properties"]["time"]["format"], said["additionalProperties"]) == ("date-time", False)
    for name, factor in factors().items():
        assert said["properties"][name]["description"] == factor.meaning
        assert said["properties"][name]["x-ebbmark-provenance"] == factor.provenance
