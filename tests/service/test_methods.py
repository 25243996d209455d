"""Methods over HTTP: documents with versions, their imports, and picks for a session."""

from __future__ import annotations

import json

import pytest

from service.api.v1.schemas import method_picks
from service.api.v1.schemas.methods import EXAMPLE
from tests.service.coast import example, make_coast
from tests.service.importing import ended, report
from tests.service.problems import problem
from tidecore import NUMERICS

MERGE = {"Content-Type": "application/merge-patch+json"}
SESSION = {"start": method_picks.EXAMPLE["start"], "end": method_picks.EXAMPLE["end"]}
NEW = {name: value for name, value in EXAMPLE.items() if name != "external_ref"}


@pytest.fixture
def made(client):
    return client.post("/v1/methods", json=EXAMPLE)


def test_a_method_is_made_read_edited_and_deleted_in_versions(client, made):
    assert made.status_code == 201, made.text
    path, tag = made.headers["location"], made.headers["etag"]
    assert path == f"/v1/methods/{made.json()['id']}"
    assert client.get(path).json() == made.json()
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    edited = client.patch(path, json={"name": "Rough, mine"}, headers={**MERGE, "If-Match": tag})
    assert (edited.status_code, edited.json()["version"], edited.json()["method"]["name"]) == (200, 2, "Rough, mine")
    problem(client.patch(path, json={"name": "Late"}, headers={**MERGE, "If-Match": tag}), 412, "stale")
    problem(client.put(path, json=NEW), 428, "precondition-missing")
    assert client.get(path, params={"version": 1}).json()["method"]["name"] == EXAMPLE["name"]
    again = client.put(path, json=EXAMPLE, headers={"If-Match": edited.headers["etag"]})
    assert (again.status_code, again.json()["version"]) == (200, 3)
    assert [one["version"] for one in client.get(f"{path}/versions").json()["items"]] == [1, 2, 3]
    assert client.delete(path, headers={"If-Match": again.headers["etag"]}).status_code == 204
    problem(client.get(path), 404, "not-found")
    changes = client.get("/v1/changes").json()["items"]
    assert [(one["kind"], one["change"]) for one in changes] == [("method", "deleted")]


def test_a_method_is_found_and_put_by_its_reference(client, made):
    found = client.get("/v1/methods", params={"external_ref": EXAMPLE["external_ref"]}).json()["items"]
    assert [one["id"] for one in found] == [made.json()["id"]]
    problem(client.post("/v1/methods", json=EXAMPLE), 409, "reference-taken")
    same = client.put("/v1/methods", params={"external_ref": EXAMPLE["external_ref"]}, json=NEW)
    assert (same.status_code, same.json()["version"]) == (200, 1)
    other = client.put("/v1/methods", params={"external_ref": "another"}, json=NEW)
    assert other.status_code == 201
    pages = client.get("/v1/methods", params={"limit": 1}).json()
    rest = client.get("/v1/methods", params={"limit": 1, "cursor": pages["next_cursor"]}).json()
    assert [one["id"] for one in pages["items"] + rest["items"]] == [made.json()["id"], other.json()["id"]]


def test_every_fault_is_named_and_a_weak_leader_is_a_remark(client):
    bad = {
        **NEW,
        "hooks": [{"pattern": "wide", "size": "big"}],
        "reach": {"band": "far", "from_m": 9, "to_m": 3},
        "suits": [{"any": [{"factor": "moon_mood", "shape": {"kind": "trapezoid", "to": 1.0, "full_to": 0.0}}]}],
    }
    document = problem(client.post("/v1/methods", json=bad), 422, "invalid-input")
    fields = {one["field"] for one in document["errors"]}
    assert fields == {"hooks.0.size", "reach.to_m", "suits.0.any.0.factor"}
    weak = client.post("/v1/methods", json={**NEW, "leader": {"strength_lb": 50, "rod_lengths": 2, "turns": 7}})
    assert weak.status_code == 201
    (remark,) = weak.json()["remarks"]
    assert (remark["path"], remark["kind"]) == ("leader.strength_lb", "leader_weak")
    # 180 g of lead and bait are 63.5 lb, so 70.
    assert "63 lb" in remark["problem"]
    assert "70 lb" in remark["better"]


def test_the_schema_of_a_method(client):
    found = client.get("/v1/methods/schema").json()
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert {"rig", "hooks", "baits", "reach", "suits"} <= set(found["properties"])


def test_methods_are_imported_from_every_format_that_has_room(client):
    row = {"client_ref": "one", **NEW}
    nested = {"species", "hooks", "snoods", "baits", "suits"}
    cells = {
        "client_ref": "two", "name": NEW["name"], "rig": NEW["rig"], "style": NEW["style"], "notes": NEW["notes"],
        "provenance": NEW["provenance"], "reach.band": "middle", "reach.from_m": "40", "reach.to_m": "90",
        "lead.grams": "150", "lead.type": "grip", "main_line.material": "mono", "main_line.diameter_mm": "0.4",
        "main_line.strength_lb": "20", "leader.strength_lb": "70", "leader.rod_lengths": "2", "leader.turns": "7",
        "rods": "1", **{name: json.dumps(NEW[name]) for name in nested},
    }  # fmt: skip
    quoted = ['"' + value.replace('"', '""') + '"' for value in cells.values()]
    files = {
        "application/x-ndjson": b"".join(
            json.dumps(one).encode() + b"\n" for one in (row, row, {**row, "name": "Other"}, {"client_ref": "three"})
        ),
        "text/csv": (",".join(cells) + "\n" + ",".join(quoted) + "\n").encode(),
    }
    statuses = {}
    for media_type, content in files.items():
        sent = client.post(
            "/v1/imports", params={"kind": "method"}, content=content, headers={"content-type": media_type}
        )
        assert sent.status_code == 202, sent.text
        ended(client, sent.headers["location"])
        statuses[media_type] = [line["status"] for line in report(client, sent.headers["location"])]
    assert statuses["application/x-ndjson"] == ["created", "unchanged", "conflict", "invalid"]
    assert statuses["text/csv"] == ["created"]
    one, two = client.get("/v1/methods").json()["items"]
    assert one["method"] == two["method"]


def pick(client, mark, **changes):
    return client.post("/v1/methods/picks", json={"mark_id": mark, **SESSION, **changes})


def test_picks_are_ranked_with_reasons_a_plan_and_a_bag(client):
    coast = make_coast(client)
    fine = {**NEW, "name": "Fine", "rods": 2, "reach": {"band": "near", "from_m": 20, "to_m": 60}, "suits": [
        {"factor": "light", "shape": {"kind": "set", "values": ["day", "civil_twilight"]}}]}  # fmt: skip
    far = {**fine, "name": "Far", "rig": "one hook", "reach": {"band": "far", "from_m": 80, "to_m": 120}}
    ids = [client.post("/v1/methods", json=one).json()["id"] for one in (NEW, fine, far)]
    response = pick(client, coast.mark, rule_ids=[coast.rule], sea_temperature_c=15, crab_ground=True)
    assert response.status_code == 200, response.text
    found = response.json()
    assert (found["numerics"], found["provenance"]) == (NUMERICS, "common practice")
    assert [one["method_id"] for one in found["picks"]][:2] == ids[1:]
    rough = found["picks"][2]
    # No night that evening, and of clarity nobody told anything.
    assert ([one["verdict"] for one in rough["reasons"]], rough["score"]) == (["unknown", "unknown"], None)
    assert rough["reasons"][0]["mean_membership"] is None
    assert "unknown" in rough["reasons"][0]["text"]
    plan = found["plan"]
    assert (plan["rods"], plan["rods_asked"], plan["reasons"]) == (2, 2, [])
    first, second = plan["steps"][:2]
    assert (first["start"], first["start_min"], first["change"]) == ("2026-06-01T18:00:00Z", 0.0, "start")
    assert [one["method_id"] for one in first["rods"]] == ids[1:]
    assert [one["reach_m"] for one in first["rods"]] == [20.0, 120.0]
    assert (second["start"], second["start_min"]) == ("2026-06-01T18:30:00Z", 30.0)
    assert plan["steps"][-1]["end"] == "2026-06-01T22:00:00Z"
    assert {one["bait"] for one in found["bag"]} == {"lugworm", "peeler crab", "squid strip"}
    assert sum(one["rod_minutes"] for one in found["bag"] if one["kind"]) == 480.0
    lug = next(one for one in found["bait_lives"] if one["bait"] == "lugworm")
    assert (lug["from_min"], lug["to_min"], lug["basis"]) == (5.0, 15.0, "warm_crab_ground")
    assert {one["kind"] for one in found["remarks"]} >= {"rods_unknown", "fast_bites", "bait_life"}
    assert found["mark"]["said"]


def test_one_rod_and_four_hours_at_the_life_that_is_told(client):
    coast = make_coast(client)
    worm = {**NEW, "baits": [{"name": "lugworm", "kind": "worm", "grams": 20}], "suits": []}
    client.post("/v1/methods", json=worm)
    found = pick(client, coast.mark, rods=1, sea_temperature_c=15, crab_ground=True).json()
    (item,) = found["bag"]
    assert (item["changes_from"], item["changes_to"]) == (16, 48)
    assert (item["amount_from"], item["amount_to"], item["counted"]) == (20, 90, "lugworm")
    assert (found["plan"]["rods"], found["plan"]["reasons"]) == (1, ["asked"])
    local = pick(client, coast.mark, tz="Europe/London").json()
    assert local["start"] == "2026-06-01T19:00:00+01:00"


def test_conditions_that_were_given_decide(client):
    coast = make_coast(client)
    given = {
        "kind": "forecast", "source": "Invented", "issued_at": "2026-06-01T00:00:00Z", "waves_at": "at_mark",
        "times": [f"2026-06-01T{hour:02d}:00:00Z" for hour in range(11, 24, 3)], "values": {"wave_height_m": [1.7] * 5},
    }  # fmt: skip
    sent = client.post("/v1/conditions", json={**given, "mark_id": coast.mark})
    assert sent.status_code == 201, sent.text
    client.post("/v1/methods", json={**NEW, "rods": 2})
    found = pick(client, coast.mark).json()
    assert found["picks"][0]["reasons"][0]["text"] == "height of the waves 1.7 m"
    assert found["plan"]["reasons"] == ["surf"]
    assert found["mark"]["condition_ids"]


def test_methods_for_others_are_left_out_and_named(client):
    coast = make_coast(client)
    made = client.post("/v1/methods", json=EXAMPLE).json()
    found = pick(client, coast.mark, species=["Gadus morhua"]).json()
    assert [(one["method_id"], one["reason"]) for one in found["left_out"]] == [(made["id"], "other_species")]
    assert (found["plan"], [one["kind"] for one in found["remarks"]]) == (None, ["no_method"])
    assert pick(client, coast.mark, species=["BSS"]).json()["picks"]


def test_what_cannot_be_picked_for_is_refused(client):
    coast = make_coast(client)
    problem(pick(client, "mrk_0"), 404, "not-found")
    problem(pick(client, coast.bare_mark), 409, "no-model")
    problem(pick(client, coast.mark, method_ids=["mth_0"]), 404, "not-found")
    problem(pick(client, coast.mark, rule_ids=["rul_0"]), 404, "not-found")
    problem(pick(client, coast.mark, end="2026-06-01T18:05:00Z"), 422, "invalid-span")
    problem(pick(client, coast.mark, end="2026-06-03T18:05:00Z"), 422, "invalid-span")
    document = problem(pick(client, coast.mark, rods=3, sea_temperature_c=99), 422, "invalid-request")
    assert {one["field"] for one in document["errors"]} == {"rods", "sea_temperature_c"}


def test_the_example_is_that_of_the_contract():
    assert example("create_method") == EXAMPLE
