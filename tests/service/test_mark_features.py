"""Marks in full over HTTP: every field of the ground, access and way back, and marks as GeoJSON."""

from __future__ import annotations

import csv
import io
import json

import pytest

from tests.service.coast import SPAN, example
from tests.service.importing import CSV, GEOJSON, NDJSON, ndjson, statuses, take
from tests.service.problems import problem
from tests.service.test_bulk_imports import STATION
from tidecore.place import Mark

FULL = example("create_mark_in_full")
ACCEPT = {"accept": GEOJSON}
#: What an answer says of a mark beside what was sent.
BESIDE = {"id", "version", "external_ref", "station_id", "flow_reliable", "created_at", "updated_at"}


@pytest.fixture
def shore(serve):
    """An application that runs no jobs itself, with one station."""
    client = serve(workers=0)
    client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
    return client


def said(answer):
    """What an answer says of a mark, as a document of the core that follows no station."""
    return Mark.parse({**{name: value for name, value in answer.items() if name not in BESIDE}, "station": "any"})


def sent(**changes):
    document = {**FULL, **changes}
    document.pop("external_ref")
    return Mark.parse({**document, "station": "any"})


def without(*names):
    return {name: value for name, value in FULL.items() if name not in names}


def make(client, **changes):
    response = client.post("/v1/marks", json={**FULL, **changes})
    assert response.status_code == 201, response.text
    return response.json()


def test_a_mark_in_full_comes_back_as_it_was_sent(shore):
    made = make(shore)
    assert said(made) == sent()
    assert said(shore.get(f"/v1/marks/{made['id']}").json()) == sent()
    # Sent again it is word for word what is there, and makes no version.
    again = shore.put("/v1/marks", params={"external_ref": FULL["external_ref"]}, json=FULL)
    assert (again.status_code, again.json()["version"]) == (200, 1)


def test_a_patch_changes_one_field_of_the_ground_and_null_takes_it_away(shore):
    made = make(shore)
    place = f"/v1/marks/{made['id']}"

    def patch(document):
        headers = {"content-type": "application/merge-patch+json", "if-match": "*"}
        return shore.patch(place, content=json.dumps(document), headers=headers)

    changed = patch({"facing_degree": 200, "ground_datum": {"above_datum_m": 0.4}, "phone_signal": None}).json()
    ground = {**FULL["ground_datum"], "above_datum_m": 0.4}
    assert said(changed) == sent(facing_degree=200, ground_datum=ground, phone_signal=None)
    assert changed["version"] == 2
    assert said(shore.get(place, params={"version": 1}).json()) == sent()
    bad = patch({"profile": [{"distance_m": 5, "level_m": 1}, {"distance_m": 4, "level_m": 0}], "beach_slope": 0.1})
    problem(bad, 422, "invalid-input", "profile.1.distance_m")
    problem(patch({"profile": None}), 422, "invalid-input", "peg")
    bare = patch({"profile": None, "peg": None, "beach_slope": 0.1}).json()
    assert (bare["profile"], bare["peg"], bare["beach_slope"]) == ([], None, 0.1)


def test_every_fault_of_the_new_fields_comes_at_once(shore):
    response = shore.post(
        "/v1/marks",
        json={
            **FULL,
            "facing_degree": 400,
            "profile": [{"distance_m": 5, "level_m": 1}, {"distance_m": 4, "level_m": 0}],
            "access": [{"kind": "gate", "state": "closed"}],
            "way_back": [{"name": "gully", "lowest_sill_m": 1, "bed": "mud", "length_m": -4}],
        },
    )
    found = problem(response, 422, "invalid-request", "facing_degree")
    assert {one["field"] for one in found["errors"]} == {
        "facing_degree",
        "profile.1.distance_m",
        "access",
        "way_back.0.length_m",
    }
    assert all(one["problem"] and one["expected"] for one in found["errors"])


def test_a_timeline_knows_whether_the_mark_is_open(shore):
    mark = make(shore, access=[{"kind": "gate", "state": "open", "hours": {"from": "05:00", "to": "23:00"}}])["id"]
    found = shore.get(f"/v1/marks/{mark}/timeline", params={**SPAN, "step": "1h", "factor": "access_open"}).json()
    assert found["columns"]["access_open"] == [5 <= hour < 23 for hour in range(24)]


def test_a_mark_is_a_feature(shore):
    made = make(shore)
    response = shore.get(f"/v1/marks/{made['id']}", headers=ACCEPT)
    assert (response.status_code, response.headers["content-type"]) == (200, GEOJSON)
    assert response.headers["vary"] == "Accept, Authorization"
    found = response.json()
    # RFC 7946: a Feature has these members; coordinates are longitude, latitude.
    assert (found["type"], found["id"]) == ("Feature", made["id"])
    assert found["geometry"] == {"type": "Point", "coordinates": [FULL["longitude"], FULL["latitude"]]}
    assert not {"longitude", "latitude"} & set(found["properties"])
    assert (found["version"], found["external_ref"]) == (1, FULL["external_ref"])
    # Its ETag is its own, and both forms answer 304 to theirs alone.
    tags = {form: shore.get(f"/v1/marks/{made['id']}", headers={"accept": form}).headers["etag"] for form in (
        "application/json", GEOJSON)}  # fmt: skip
    assert len(set(tags.values())) == 2
    for form in tags:
        seen = {
            other: shore.get(f"/v1/marks/{made['id']}", headers={"accept": form, "if-none-match": tag}).status_code
            for other, tag in tags.items()
        }
        assert seen == {other: 304 if other == form else 200 for other in tags}


def test_an_old_version_is_a_feature_too(shore):
    made = make(shore)
    shore.put(f"/v1/marks/{made['id']}", json={**FULL, "name": "Other"}, headers={"if-match": "*"})
    found = shore.get(f"/v1/marks/{made['id']}", params={"version": 1}, headers=ACCEPT).json()
    assert (found["version"], found["properties"]["name"]) == (1, FULL["name"])


def test_pages_of_features_go_on_where_the_link_says(shore):
    refs = [f"spot-{number}" for number in range(5)]
    for ref in refs:
        make(shore, external_ref=ref)
    found, place = [], "/v1/marks?limit=2"
    while place:
        response = shore.get(place, headers=ACCEPT)
        assert response.headers["content-type"] == GEOJSON
        page = response.json()
        assert page["type"] == "FeatureCollection"
        found += [one["properties"]["client_ref"] for one in page["features"]]
        link = response.links.get("next")
        assert (link is None) is (page["next_cursor"] is None)
        assert link is None or (link["type"] == GEOJSON and page["next_cursor"] in link["url"])
        place = link and link["url"]
    assert found == refs
    assert shore.get("/v1/marks?limit=2").links["next"]["type"] == "application/json"
    assert shore.get("/v1/marks?limit=2").json()["next_cursor"] is not None
    one = shore.get("/v1/marks", params={"external_ref": "spot-3"}, headers=ACCEPT).json()
    assert [feature["properties"]["client_ref"] for feature in one["features"]] == ["spot-3"]
    problem(shore.get("/v1/marks", headers={"accept": "text/html"}), 406, "not-acceptable")


def test_features_read_back_are_what_is_there(shore):
    make(shore)
    make(shore, **{name: None if name == "peg" else value for name, value in example("create_mark").items()}, peg=None)
    content = shore.get("/v1/marks", headers=ACCEPT).content
    _, lines = take(shore, content, GEOJSON)
    assert statuses(lines) == ["unchanged", "unchanged"]
    # Under other names they make marks that say the same.
    renamed = content.replace(b'"client_ref":"', b'"client_ref":"copy-of-')
    _, lines = take(shore, renamed, GEOJSON)
    assert statuses(lines) == ["created", "created"]
    before = shore.get("/v1/marks").json()["items"]
    by_reference = {one["external_ref"]: said(one) for one in before}
    for ref in (FULL["external_ref"], example("create_mark")["external_ref"]):
        assert by_reference[f"copy-of-{ref}"] == by_reference[ref]


def test_a_mark_without_a_name_of_its_own_goes_by_its_id(shore):
    made = make(shore, external_ref=None)
    found = shore.get(f"/v1/marks/{made['id']}", headers=ACCEPT).json()
    assert (found["properties"]["client_ref"], found["external_ref"]) == (made["id"], None)


def as_csv(document):
    """A row of CSV: what lies inside under dotted names, lists of names with semicolons, the rest as JSON."""
    cells = {"client_ref": "csv"}
    for name, value in document.items():
        if name in ("exposure", "ground_datum", "peg"):
            cells |= {f"{name}.{inner}": item for inner, item in value.items()}
        elif name in ("beds", "cliff", "facilities", "regulation_areas"):
            cells[name] = ";".join(value)
        else:
            cells[name] = json.dumps(value) if isinstance(value, list) else value
    text = io.StringIO()
    writer = csv.DictWriter(text, cells)
    writer.writeheader()
    writer.writerow(cells)
    return text.getvalue().encode()


def test_all_formats_of_an_import_take_a_mark_in_full(shore):
    document = without("external_ref")
    place = {"longitude": document["longitude"], "latitude": document["latitude"]}
    feature = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": list(place.values())},
        "properties": {"client_ref": "geojson", **{name: one for name, one in document.items() if name not in place}},
    }
    files = {
        NDJSON: ndjson({"client_ref": "ndjson", **document}),
        CSV: as_csv(document),
        GEOJSON: json.dumps({"type": "FeatureCollection", "features": [feature]}).encode(),
    }
    for media_type, content in files.items():
        _, lines = take(shore, content, media_type)
        assert statuses(lines) == ["created"], lines
    told = shore.get("/v1/marks").json()["items"]
    assert sorted(one["external_ref"] for one in told) == ["csv", "geojson", "ndjson"]
    assert [said(one) for one in told] == [sent()] * 3


@pytest.mark.parametrize(
    ("cell", "field"),
    [("[{", "profile"), ("NaN", "profile"), ('{"a": 1}', "profile"), ('[{"distance_m": 1}]', "profile.0.level_m"),
     ("[" * 50_000, "profile")],
)  # fmt: skip
def test_a_cell_that_is_no_profile_is_a_fault_of_its_row(shore, cell, field):
    head = "client_ref,name,latitude,longitude,time_zone,station,kind,profile\n"
    row = f'a,Long Beach,51.2,-20.3,Etc/UTC,{STATION},open_beach,"{cell.replace(chr(34), 2 * chr(34))}"\n'
    _, lines = take(shore, (head + row).encode(), CSV)
    assert statuses(lines) == ["invalid"]
    assert [one["field"] for one in lines[0]["faults"]] == [field]


def test_an_override_that_is_no_rule_is_refused_however_it_is_sent(shore):
    override = {"require": [{"factor": "moon_mood", "shape": {"kind": "set", "values": ["good"]}}]}
    species = [FULL["species"][0], {"scientific_name": "Piscis inventus", "override": override}]
    field = "species.1.override.require.0.factor"
    problem(shore.post("/v1/marks", json={**FULL, "species": species}), 422, "invalid-input", field)
    _, lines = take(shore, ndjson({"client_ref": "a", **without("external_ref"), "species": species}))
    assert [one["field"] for one in lines[0]["faults"]] == [field]
