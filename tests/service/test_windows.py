"""Species rules and the search for windows over HTTP."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.service.coast import example
from tests.service.problems import problem
from tidecore import NUMERICS
from tidecore.rules import rule_schema

LEVEL = {"kind": "trapezoid", "from": 3.0, "full_from": 4.0}


def post(client, **changes):
    return client.post("/v1/species-rules", json={**example("create_species_rule"), "external_ref": None, **changes})


def search(coastal, **changes):
    client, coast = coastal
    body = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [coast.rule], **changes}
    return client.post("/v1/windows/search", json=body)


def test_a_rule_is_made_and_read(coastal):
    client, _ = coastal
    response = post(client, external_ref="another-rule")
    assert response.status_code == 201
    made = response.json()
    assert client.get(response.headers["location"]).json() == made
    assert made["version"] == 1
    assert made["rule"]["require"][0]["factor"] == "hours_from_lw"
    assert made["id"] in {item["id"] for item in client.get("/v1/species-rules").json()["items"]}
    problem(post(client, external_ref="another-rule"), 409, "reference-taken")
    problem(client.get("/v1/species-rules/rul_0"), 404, "not-found")


def test_the_schema_of_rules_is_published(coastal):
    client, _ = coastal
    found = client.get("/v1/species-rules/schema").json()
    assert found == rule_schema()
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"require": [], "prefer": []}, "invalid-input", "prefer"),
        ({"prefer": [{"factor": "sea_monsters", "shape": LEVEL}]}, "invalid-input", "prefer.0.factor"),
        ({"prefer": [{"factor": "height", "shape": {**LEVEL, "full_from": 2.0}}]}, "invalid-input", "prefer.0.shape"),
        (
            {"prefer": [{"factor": "height", "shape": {**LEVEL, "full_from": "x"}}]},
            "invalid-request",
            "prefer.0.shape.full_from",
        ),
        (
            {"prefer": [{"factor": "height", "shape": {**LEVEL, "colour": 1}}]},
            "invalid-request",
            "prefer.0.shape.colour",
        ),
        (
            {"prefer": [{"factor": "height", "shape": {**LEVEL, "full_to": 2.0, "to": 1.0}}]},
            "invalid-input",
            "prefer.0.shape",
        ),
        ({"prefer": [{"factor": "height", "shape": LEVEL, "weight": 1001}]}, "invalid-request", "prefer.0.weight"),
        ({"prefer": [{"factor": "height", "shape": LEVEL, "weight": -1}]}, "invalid-request", "prefer.0.weight"),
        ({"prefer": [{"factor": "height", "shape": LEVEL, "floor": 1.0}]}, "invalid-request", "prefer.0.floor"),
        ({"prefer": [{"factor": "height", "shape": {"kind": "blob"}}]}, "invalid-request", "prefer.0.shape.kind"),
        (
            {"prefer": [{"factor": "height", "shape": {"kind": "set", "values": ["night"]}}]},
            "invalid-input",
            "prefer.0.shape",
        ),
        (
            {"prefer": [{"factor": "light", "shape": {"kind": "set", "values": ["dusk"]}}]},
            "invalid-input",
            "prefer.0.shape",
        ),
        ({"threshold": 0}, "invalid-request", "threshold"),
        ({"minimum_duration_min": 0}, "invalid-request", "minimum_duration_min"),
        (
            {"species": {"scientific_name": "Dicentrarchus labrax", "fao_code": "bass"}},
            "invalid-request",
            "species.fao_code",
        ),
        ({"species": None}, "invalid-request", "species"),
    ],
)
def test_a_bad_rule_is_refused(coastal, changes, slug, field):
    client, _ = coastal
    found = problem(post(client, **changes), 422, slug)
    assert any(fault["field"].startswith(field) for fault in found["errors"]), found["errors"]


def test_what_only_follows_from_a_fault_is_not_said(coastal):
    client, _ = coastal
    prefer = [{"factor": "light", "shape": {"kind": "set", "values": [""]}}]
    found = problem(post(client, prefer=prefer), 422, "invalid-input")
    assert [fault["field"] for fault in found["errors"]] == ["prefer.0.shape.values.0"]


def test_all_faults_of_a_rule_come_at_once(coastal):
    client, _ = coastal
    prefer = [
        {"factor": "sea_monsters", "shape": LEVEL},
        {"factor": "height", "shape": LEVEL, "weight": -1},
        {"factor": "height", "shape": LEVEL, "flor": 0.5},
    ]
    problem(
        post(client, name="", prefer=prefer), 422, "invalid-request",
        "name", "prefer.0.factor", "prefer.1.weight", "prefer.2.flor",
    )  # fmt: skip


def test_windows_come_best_first_with_their_account(coastal):
    _, coast = coastal
    found = search(coastal).json()
    assert found["numerics"] == NUMERICS
    assert found["found"] >= len(found["windows"]) > 0
    assert [found["marks"][0][name] for name in ("id", "version", "station_id", "station_version", "datum")] == [
        coast.mark, 1, coast.station, 1, "gauge zero",
    ]  # fmt: skip
    assert (found["rules"][0]["id"], found["rules"][0]["version"]) == (coast.rule, 1)
    worth = [window["score_hours"] for window in found["windows"]]
    assert worth == sorted(worth, reverse=True)
    for window in found["windows"]:
        start, end = (datetime.fromisoformat(window[name]) for name in ("start", "end"))
        assert start < end
        assert window["duration_h"] == pytest.approx((end - start).total_seconds() / 3600.0, abs=0.001)
        assert window["time_zone"] == "Etc/UTC"
        assert window["date_local"] == window["start"][:10]
        assert 0.5 <= window["mean_score"] <= window["peak_score"] <= 1.0
        assert window["start"] <= window["best_hour"]["start"] < window["best_hour"]["end"] <= window["end"]
        assert [one["factor"] for one in window["contributions"]] == [
            "hours_from_lw", "light", "flow_strength", "wave_height",
        ]  # fmt: skip
        assert [one["factor"] for one in window["unknowns"]] == ["wave_height"]
        assert window["unknowns"][0]["policy"] == "ignore"
        assert all(window["start"] <= event["time"] <= window["end"] for event in window["key_times"])
    assert "Not for navigation" in found["caution"]


def test_ground_that_is_not_stated_is_unknown_and_other_ground_has_no_window(coastal):
    client, coast = coastal
    rule = post(client, beds=["mussel"]).json()["id"]
    found = search(coastal, rule_ids=[rule]).json()
    assert found["windows"] == []
    assert any("mussel" in reason for reason in found["without_window"][0]["reasons"])
    mark = {**example("create_mark"), "external_ref": None, "beds": []}
    unstated = client.post("/v1/marks", json=mark).json()["id"]
    there = search(coastal, mark_ids=[unstated], rule_ids=[rule]).json()["windows"]
    assert {window["ground_accepted"] for window in there} == {None}
    anywhere = search(coastal, mark_ids=[coast.mark]).json()["windows"]
    assert {window["ground_accepted"] for window in anywhere} == {True}


def test_what_holds_nowhere_says_why(coastal):
    client, coast = coastal
    never = [{"factor": "height", "shape": {"kind": "trapezoid", "from": 90.0, "full_from": 95.0}}]
    unknown = [{"factor": "wave_height", "shape": {"kind": "trapezoid", "from": 0.5, "full_from": 1.0}}]
    rules = [post(client, require=require, prefer=[]).json()["id"] for require in (never, unknown)]
    found = search(coastal, rule_ids=rules).json()
    assert (found["found"], found["windows"]) == (0, [])
    high, waves = found["without_window"]
    assert (high["mark_id"], high["best_score"], high["best_time"]) == (coast.mark, 0.0, None)
    assert any("The height of the tide never suits" in reason for reason in high["reasons"])
    assert (waves["excluded_by"], waves["excluded_share"]) == (["wave_height"], 1.0)
    assert any("height of the waves" in reason and "unknown" in reason for reason in waves["reasons"])


def test_all_marks_and_rules_unless_named(client):
    empty = client.post("/v1/windows/search", json=example("search_windows")).json()
    assert (empty["windows"], empty["marks"], empty["rules"]) == ([], [], [])
    client.post("/v1/stations", json=example("create_station"))
    marks = {client.post("/v1/marks", json=example("create_mark")).json()["id"]}
    marks.add(client.post("/v1/marks", json={**example("create_mark"), "external_ref": "second"}).json()["id"])
    client.post("/v1/species-rules", json=example("create_species_rule"))
    found = client.post("/v1/windows/search", json={**example("search_windows"), "limit": 3}).json()
    assert {mark["id"] for mark in found["marks"]} == marks
    assert len(found["windows"]) == 3
    assert found["found"] > 3


def test_a_mark_named_twice_is_searched_once(coastal):
    _, coast = coastal
    assert search(coastal, mark_ids=[coast.mark] * 3).json() == search(coastal).json()


def test_instants_carry_the_offset_asked_for(coastal):
    there, here = search(coastal, tz="Asia/Kolkata").json(), search(coastal).json()
    assert there["windows"][0]["start"].endswith("+05:30")
    for one, other in zip(there["windows"], here["windows"], strict=True):
        assert datetime.fromisoformat(one["start"]) == datetime.fromisoformat(other["start"])
        assert one["date_local"] == other["date_local"]


@pytest.mark.parametrize(
    ("changes", "status", "slug", "field"),
    [
        ({"start": "2026-06-01T00:00:00"}, 422, "invalid-request", "start"),
        ({"start": 1767225600}, 422, "invalid-request", "start"),
        ({"end": "2026-05-01T00:00:00Z"}, 422, "invalid-span", "end"),
        ({"end": "2126-06-01T00:00:00Z"}, 422, "span-too-long", "end"),
        ({"mark_ids": []}, 422, "invalid-request", "mark_ids"),
        ({"mark_ids": "mrk_0"}, 422, "invalid-request", "mark_ids"),
        ({"mark_ids": ["mrk_0"]}, 404, "not-found", None),
        ({"rule_ids": ["no such"]}, 404, "not-found", None),
        ({"limit": 0}, 422, "invalid-request", "limit"),
        ({"limit": 2.5}, 422, "invalid-request", "limit"),
        ({"tz": "Atlantis/Deep"}, 422, "invalid-input", "tz"),
        ({"start": "2100-06-01T00:00:00Z", "end": "2100-06-02T00:00:00Z"}, 422, "outside-ephemeris", None),
    ],
)
def test_a_bad_search_is_refused(coastal, changes, status, slug, field):
    problem(search(coastal, **changes), status, slug, *([] if field is None else [field]))


def test_a_search_at_a_mark_without_a_tide_is_refused(coastal):
    _, coast = coastal
    problem(search(coastal, mark_ids=[coast.bare_mark]), 409, "no-model")


def test_a_search_that_is_too_large_is_refused(serve):
    client = serve(max_search_cells=20)
    client.post("/v1/stations", json=example("create_station"))
    for ref in ("one", "two"):
        client.post("/v1/marks", json={**example("create_mark"), "external_ref": ref})
    client.post("/v1/species-rules", json=example("create_species_rule"))
    # Twice: the second time the marks and rules are remembered. Two marks, one rule and ten days are just enough.
    short = {**example("search_windows"), "start": "2026-06-01T00:00:00Z", "end": "2026-06-11T00:00:00Z"}
    for body in (example("search_windows"), {**short, "end": "2026-06-11T00:01:00Z"}) * 2:
        found = problem(client.post("/v1/windows/search", json=body), 422, "search-too-large", "end")
        assert (found["limit"], found["setting"]) == (20, "EBBMARK_MAX_SEARCH_CELLS")
        assert client.post("/v1/windows/search", json=short).status_code == 200


def test_a_limit_without_a_fraction_is_an_integer(coastal):
    """JSON Schema counts 20.0 as an integer, and the contract says integer."""
    client, coast = coastal
    body = {**example("search_windows"), "mark_ids": [coast.mark]}
    assert client.post("/v1/windows/search", json={**body, "limit": 20.0}).status_code == 200
    for wrong in (20.5, "20", True, None):
        response = client.post("/v1/windows/search", json={**body, "limit": wrong})
        problem(response, 422, "invalid-request", "limit")


def test_too_few_of_a_list_say_how_many_there_must_be(coastal):
    body = {"start": "2026-06-01T00:00Z", "end": "2026-06-02T00:00Z", "rule_ids": []}
    found = problem(coastal[0].post("/v1/windows/search", json=body), 422, "invalid-request")
    assert found["errors"][0]["expected"] == "at least 1 item"
