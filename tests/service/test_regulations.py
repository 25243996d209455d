"""Regulations over HTTP: the rules on file, what they say of plans, and what sessions say of them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from service.api.v1.schemas.regulations import AREA_EXAMPLE, EXAMPLE
from service.security import READ, WRITE
from tests.service.coast import example, make_coast
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem

MERGE = {"Content-Type": "application/merge-patch+json"}
NEW = {name: value for name, value in EXAMPLE.items() if name != "external_ref"}
BASS = {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS"}
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD"}
CLOCK = Clock()


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    with keyed_client(tmp_path_factory.mktemp("rules"), CLOCK) as client:
        client.headers.update(make_holder(context_of(client), READ, WRITE).headers)
        yield client, make_coast(client)


@pytest.fixture(autouse=True)
def noon():
    CLOCK.now = datetime(2026, 6, 20, 12, tzinfo=UTC)


def put(client, **changes):
    made = client.post("/v1/regulations", json={**NEW, **changes})
    assert made.status_code == 201, made.text
    return made.json()["id"]


def mark(client, *areas):
    body = {**example("create_mark"), "external_ref": None, "time_zone": "Etc/GMT-1", "regulation_areas": list(areas)}
    made = client.post("/v1/marks", json=body)
    assert made.status_code == 201, made.text
    assert made.json()["regulation_areas"] == list(areas)
    return made.json()["id"]


def check(client, mark_id, *, start="2026-06-03T18:00:00Z", end="2026-06-03T22:00:00Z", **more):
    found = client.post("/v1/regulations/check", json={"mark_id": mark_id, "start": start, "end": end, **more})
    assert found.status_code == 200, found.text
    return found.json()


def verdicts(found):
    return {(one["matter"], one["verdict"]) for one in found["findings"]}


def test_a_rule_is_put_on_file_edited_and_taken_off_in_versions(place):
    client, _ = place
    made = client.post("/v1/regulations", json={**EXAMPLE, "area": "Versions"}, headers={"Idempotency-Key": "once"})
    again = client.post("/v1/regulations", json={**EXAMPLE, "area": "Versions"}, headers={"Idempotency-Key": "once"})
    assert (made.status_code, made.json()) == (201, again.json())
    path, tag = made.headers["location"], made.headers["etag"]
    assert made.json()["regulation"]["sizes"] == [{"kind": "total", "min_cm": 42.0, "max_cm": None}]
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    edited = client.patch(path, json={"bag": 1}, headers={**MERGE, "If-Match": tag})
    assert (edited.json()["version"], edited.json()["regulation"]["bag"]) == (2, 1)
    problem(client.patch(path, json={"bag": 3}, headers={**MERGE, "If-Match": tag}), 412, "stale")
    problem(client.put(path, json=NEW), 428, "precondition-missing")
    assert client.get(path, params={"version": 1}).json()["regulation"]["bag"] == 2
    by_reference = {"external_ref": EXAMPLE["external_ref"]}
    same = client.put("/v1/regulations", params=by_reference, json={**NEW, "bag": 1, "area": "Versions"})
    assert (same.status_code, same.json()["version"]) == (200, 2)
    full = client.put(path, json={**EXAMPLE, "area": "Moved"}, headers={"If-Match": "*"})
    assert [one["version"] for one in client.get(f"{path}/versions").json()["items"]] == [1, 2, 3]
    before, after = (client.get("/v1/regulations", params={"area": area}).json() for area in ("Versions", "Moved"))
    assert (before["items"], [one["id"] for one in after["items"]]) == ([], [made.json()["id"]])
    assert client.delete(path, headers={"If-Match": full.headers["etag"]}).status_code == 204
    problem(client.get(path), 404, "not-found")


def test_pages_of_an_area_go_on_and_a_reference_finds_one(place):
    client, _ = place
    ids = [put(client, area="Paged", bag=bag, external_ref=f"paged-{bag}") for bag in (1, 2, 3)]
    put(client, area="Elsewhere")
    first = client.get("/v1/regulations", params={"area": "Paged", "limit": 2}).json()
    rest = client.get("/v1/regulations", params={"area": "Paged", "limit": 2, "cursor": first["next_cursor"]}).json()
    assert [one["id"] for one in first["items"] + rest["items"]] == ids
    assert rest["next_cursor"] is None
    found = client.get("/v1/regulations", params={"external_ref": "paged-2"}).json()["items"]
    assert [one["id"] for one in found] == [ids[1]]
    other = client.get("/v1/regulations", params={"external_ref": "paged-2", "area": "Elsewhere"}).json()
    assert other["items"] == []


def test_a_rule_goes_stale_on_the_day_of_the_service_and_its_etag_with_it(place):
    client, _ = place
    fresh, old = (put(client, area="Age", dated=day) for day in ("2025-06-20", "2025-06-19"))
    told = {key: client.get(f"/v1/regulations/{key}") for key in (fresh, old)}
    assert (told[fresh].json()["stale"], told[old].json()["stale"]) == (False, True)
    tag = told[fresh].headers["etag"]
    CLOCK.now = datetime(2026, 6, 21, tzinfo=UTC)
    later = client.get(f"/v1/regulations/{fresh}", headers={"If-None-Match": tag})
    assert (later.status_code, later.json()["stale"]) == (200, True)
    # Who read it the day before may edit it still.
    changed = {"dated": "2026-06-21"}
    patched = client.patch(f"/v1/regulations/{fresh}", json=changed, headers={**MERGE, "If-Match": tag})
    assert (patched.status_code, patched.json()["stale"]) == (200, False)


def test_every_fault_of_a_rule_comes_at_once(place):
    client, _ = place
    bad = {**AREA_EXAMPLE, "dated": "spring", "bag": 2, "most_rods": -1, "no_fishing": [{"zone": " "}], "fine": 1}
    document = problem(client.post("/v1/regulations", json=bad), 422, "invalid-request")
    assert {one["field"] for one in document["errors"]} == {"dated", "bag", "most_rods", "no_fishing.0.zone", "fine"}


def test_a_plan_is_held_against_the_rules_of_the_areas_that_the_mark_names(place):
    client, _ = place
    rule = put(client, area="Plan", release_only=[{"from": "06-01", "to": "06-30"}])
    area = client.post("/v1/regulations", json={**AREA_EXAMPLE, "area": "Plan"}).json()["id"]
    put(client, area="Not here", always_banned=True)
    here = mark(client, "Plan")
    found = check(client, here, species=[BASS, COD], rods=3, hooks=2, permits=["district ticket"])
    assert (found["verdict"], found["date_local"], found["areas"]) == ("breach", "2026-06-03", ["Plan"])
    assert verdicts(found) == {
        ("season", "release_only"), ("species", "no_rule_on_file"), ("hours", "breach"), ("hours", "in_order"),
        ("rods", "breach"), ("permit", "in_order"),
    }  # fmt: skip
    assert [one["verdict"] for one in found["findings"]][:2] == ["breach", "breach"]
    assert {one["id"] for one in found["rules"]} == {rule, area}
    by_matter = {one["matter"]: one for one in found["findings"]}
    assert (by_matter["season"]["regulation_id"], by_matter["rods"]["regulation_id"]) == (rule, area)
    assert by_matter["species"]["regulation_id"] is None
    assert all(one["text"].endswith("Check the authority.") for one in found["findings"])
    assert "no permission" in found["caution"]
    # 12:00 by the clocks there, which are an hour ahead: the bathing hours.
    noon = check(client, here, start="2026-06-03T11:00:00Z", end="2026-06-03T12:00:00Z", gathering=True)
    assert [one["verdict"] for one in noon["findings"] if one["matter"] == "hours"] == ["breach", "breach"]
    (gathering,) = (one for one in noon["findings"] if one["matter"] == "gathering")
    assert "No digging above the wall" in gathering["text"]
    assert {one["verdict"] for one in noon["findings"] if one["matter"] in ("rods", "permit")} == {"cannot_compare"}


def test_silence_of_the_file_allows_nothing(place):
    client, _ = place
    unnamed = check(client, mark(client), species=[BASS])
    assert (unnamed["verdict"], unnamed["areas"], unnamed["rules"]) == ("no_rule_on_file", [], [])
    assert {"area", "species", "hours"} == {one["matter"] for one in unnamed["findings"]}
    assert "don't assume" in unnamed["findings"][0]["text"]
    put(client, area="Old", dated="2024-01-01", release_only=[{"from": "01-01", "to": "01-31"}])
    found = check(client, mark(client, "Old", "Unknown area"), species=[BASS])
    assert ("area", "no_rule_on_file") in verdicts(found)
    assert any("Unknown area" in one["text"] for one in found["findings"])
    (season,) = (one for one in found["findings"] if one["matter"] == "season")
    assert (season["verdict"], season["stale"], found["rules"][0]["stale"]) == ("stale", True, True)


def test_a_plan_that_is_none_is_refused(place):
    client, coast = place
    body = {"mark_id": coast.mark, "start": "2026-06-03T18:00:00Z", "end": "2026-06-03T22:00:00Z"}
    for changes, slug in (({"end": body["start"]}, "invalid-span"), ({"end": "2026-06-09T00:00:00Z"}, "invalid-span")):
        problem(client.post("/v1/regulations/check", json={**body, **changes}), 422, slug)
    problem(client.post("/v1/regulations/check", json={**body, "mark_id": "mrk_none"}), 404, "not-found")
    two_days = {**body, "end": "2026-06-05T18:00:00Z"}
    assert client.post("/v1/regulations/check", json=two_days).status_code == 200
    longer = {**two_days, "end": "2026-06-05T18:01:00Z"}
    problem(client.post("/v1/regulations/check", json=longer), 422, "invalid-span", "end")
    bad = {**body, "rods": -1, "species": [{"scientific_name": "", "fao_code": "bass"}]}
    document = problem(client.post("/v1/regulations/check", json=bad), 422, "invalid-request")
    assert {one["field"] for one in document["errors"]} == {"rods", "species.0.scientific_name", "species.0.fao_code"}


def test_sessions_say_what_is_on_file_where_the_mark_names_areas(place):
    client, coast = place
    here = mark(client, "Sessions")
    rule = client.get(f"/v1/species-rules/{coast.rule}").json()["rule"]["species"]
    banned = put(client, area="Sessions", species=rule, sizes=[], bag=None, release_only=[], always_banned=True)
    # A mark of another area hears of the rules there alone.
    beyond = mark(client, "Beyond")
    open_all_year = put(client, area="Beyond", species=rule, release_only=[{"from": "01-01", "to": "01-31"}])
    question = {"mark_ids": [here, coast.mark, beyond], "start": "2026-06-01T00:00:00Z", "end": "2026-06-04T00:00:00Z"}
    found = client.post("/v1/sessions/search", json={**question, "limit": 20}).json()
    legs = [leg for one in found["sessions"] for leg in one["session"]["legs"]]
    assert {leg["mark_id"] for leg in legs} == {here, coast.mark, beyond}
    for leg in legs:
        if leg["mark_id"] == coast.mark:
            assert leg["regulations"] is None
            continue
        if leg["mark_id"] == beyond:
            ids = {one["regulation_id"] for one in leg["regulations"]["findings"]}
            assert open_all_year in ids
            assert banned not in ids
            continue
        assert leg["regulations"]["verdict"] == "breach"
        first = leg["regulations"]["findings"][0]
        assert (first["verdict"], first["regulation_id"], first["dated"]) == ("breach", banned, NEW["dated"])
        assert leg["regulations"]["left_out"] == 0
    # What is on file is part of what a page rests on.
    paged = client.post("/v1/sessions/search", json={**question, "limit": 1}).json()
    put(client, area="Sessions", species=rule)
    later = client.post("/v1/sessions/search", json={**question, "cursor": paged["next_cursor"]})
    problem(later, 410, "cursor-outdated")
    leg = next(leg for leg in legs if leg["mark_id"] == here)
    pair = {f"{name}_{field}": value for name in ("first", "second")
            for field, value in (("mark_id", here), ("start", leg["start"]), ("end", leg["end"]))}  # fmt: skip
    compared = client.post("/v1/sessions/compare", json=pair).json()
    assert compared["first"]["legs"][0]["regulations"]["verdict"] == "breach"
