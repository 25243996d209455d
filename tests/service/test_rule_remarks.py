"""Remarks on species rules over HTTP, and what windows say of seasons and ground."""

from __future__ import annotations

from service.api.v1.schemas.rule_remarks import EXAMPLE
from tests.service.coast import SPAN, example
from tests.service.problems import problem

LOW = {"event": "low_water", "from_min": -120, "to_min": 60, "fade_min": 20}


def made(client, **changes):
    body = {**example("create_species_rule"), "external_ref": None, **changes}
    response = client.post("/v1/species-rules", json=body)
    assert response.status_code == 201, response.text
    return response.json()["id"]


def search(client, coast, rule):
    body = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [rule]}
    return client.post("/v1/windows/search", json=body).json()


def test_a_rule_is_looked_over_and_not_kept(coastal):
    client, _ = coastal
    before = client.get("/v1/species-rules").json()
    response = client.post("/v1/species-rules/lint", json=EXAMPLE)
    assert response.status_code == 200
    (remark,) = response.json()["remarks"]
    assert (remark["path"], remark["kind"]) == ("require.2", "contradiction")
    assert "require.1" in remark["problem"]
    assert remark["better"]
    assert client.get("/v1/species-rules").json() == before


def test_what_is_no_rule_is_refused_where_it_is_wrong(coastal):
    client, _ = coastal
    bad = {**EXAMPLE, "require": [{"any": [{"all": [{**LOW, "event": "moon_mood"}]}]}]}
    document = problem(client.post("/v1/species-rules/lint", json=bad), 422, "invalid-input")
    assert [one["field"] for one in document["errors"]] == ["require.0.any.0.all.0.event"]
    many = {**bad, "require": [{"any": [LOW] * 1000}]}
    document = problem(client.post("/v1/species-rules/lint", json=many), 422, "invalid-input")
    assert [(one["field"], one["problem"]) for one in document["errors"]] == [("require", "has 1000 terms")]


def test_remarks_at_a_mark(coastal):
    client, coast = coastal
    waves = {"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 1.0, "to": 2.0}}
    rule = made(client, require=[LOW, waves], prefer=[])
    found = client.get(f"/v1/species-rules/{rule}/remarks", params={"mark_id": coast.mark, **SPAN}).json()
    assert [(one["path"], one["kind"]) for one in found["remarks"]] == [("require.1", "never_known")]
    assert (found["rule_id"], found["mark_id"]) == (rule, coast.mark)
    assert found["suitability"] in ("declared", "accepted_bed", "any_bed", "other_bed", "unknown")
    problem(client.get(f"/v1/species-rules/{rule}/remarks", params={"mark_id": "mrk_0", **SPAN}), 404, "not-found")
    backwards = {"mark_id": coast.mark, "start": SPAN["end"], "end": SPAN["start"]}
    problem(client.get(f"/v1/species-rules/{rule}/remarks", params=backwards), 422, "invalid-span")
    years = {"mark_id": coast.mark, "start": "2026-01-01T00:00:00Z", "end": "2028-01-01T00:00:00Z"}
    problem(client.get(f"/v1/species-rules/{rule}/remarks", params=years), 422, "span-too-long")


def test_remarks_at_a_mark_know_its_conditions(coastal):
    client, coast = coastal
    waves = {"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 1.0, "to": 2.0}}
    rule = made(client, require=[waves], prefer=[])
    hours = [f"2026-06-{day:02d}T{hour:02d}:00:00Z" for day in range(1, 4) for hour in range(0, 24, 3)]
    issue = {
        "mark_id": coast.mark, "kind": "forecast", "source": "an invented office", "issued_at": hours[0],
        "waves_at": "at_mark", "times": hours, "values": {"wave_height_m": [0.5] * len(hours)},
    }  # fmt: skip
    told = client.post("/v1/conditions", json=issue)
    assert told.status_code == 201, told.text
    asked = {"mark_id": coast.mark, "start": hours[1], "end": hours[-2]}
    found = client.get(f"/v1/species-rules/{rule}/remarks", params=asked).json()
    client.delete(told.headers["location"], headers={"If-Match": "*"})
    assert [one["kind"] for one in found["remarks"]] == ["no_effect"]


def test_windows_say_what_groups_gave_and_that_fish_go_back(coastal):
    client, coast = coastal
    season = {"from": "01-01", "to": "12-31", "source": "invented byelaw"}
    rule = made(client, require=[{"any": [LOW, LOW]}], prefer=[], release_only_seasons=[season])
    found = search(client, coast, rule)
    assert found["windows"]
    for window in found["windows"]:
        assert window["release_only"] == [season]
        assert [one["path"] for one in window["groups"]] == ["require.0"]
        assert [one["path"] for one in window["contributions"]] == ["require.0.any.0", "require.0.any.1"]
        assert window["suitability"] == "unknown" or window["ground_accepted"]


def test_a_closed_season_gives_its_reason(coastal):
    client, coast = coastal
    season = {"from": "01-01", "to": "12-31", "source": "invented byelaw"}
    rule = made(client, require=[LOW], prefer=[], closed_seasons=[season])
    found = search(client, coast, rule)
    assert found["windows"] == []
    (nothing,) = found["without_window"]
    assert any("Closed season 01-01 to 12-31 by invented byelaw" in reason for reason in nothing["reasons"])


def test_a_mark_says_better_than_the_rule(coastal):
    client, coast = coastal
    mark = {**example("create_mark"), "station": coast.station, "external_ref": None}
    plain = {**mark, "species": [{"scientific_name": "Dicentrarchus labrax", "override": {"mood": 1}}]}
    bad = client.post("/v1/marks", json=plain)
    document = problem(bad, 422, "invalid-input")
    assert [one["field"] for one in document["errors"]] == ["species.0.override.mood"]
    plain["species"][0]["override"] = {"require": [{"event": "high_water", "from_min": -60, "to_min": 60}]}
    here = client.post("/v1/marks", json=plain).json()["id"]
    body = {**example("search_windows"), "mark_ids": [here], "rule_ids": [coast.rule]}
    windows = client.post("/v1/windows/search", json=body).json()["windows"]
    assert windows
    assert all(window["suitability"] == "declared" for window in windows)
    assert all("hours_from_hw" in {one["factor"] for one in window["contributions"]} for window in windows)
    assert not any("hours_from_lw" in {one["factor"] for one in window["contributions"]} for window in windows)
