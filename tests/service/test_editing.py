"""Edits over HTTP: preconditions (RFC 9110), merge patches (RFC 7396), versions, references, deletion."""

from __future__ import annotations

import pytest

from service.api.editing import merge_patch, read_if_match
from service.errors import DocumentInvalid
from tests.service.coast import example, make_coast
from tests.service.problems import problem

#: Kind -> path, example of a new one, what a patch changes, and what the answer then says.
KINDS = {
    "stations": ("/v1/stations", "create_station", {"name": "Outer Roads"}, lambda made: made["name"]),
    "marks": ("/v1/marks", "create_mark", {"name": "Outer Beach"}, lambda told: told["name"]),
    "species-rules": (
        "/v1/species-rules",
        "create_species_rule",
        {"name": "Outer bass"},
        lambda told: told["rule"]["name"],
    ),
}


@pytest.fixture
def coast(client):
    return make_coast(client)


@pytest.fixture(params=sorted(KINDS))
def thing(request, client, coast):
    """Path, answer and kind of one thing that is there."""
    path, name, patch, told = KINDS[request.param]
    key = {"stations": coast.station, "marks": coast.mark, "species-rules": coast.rule}[request.param]
    return f"{path}/{key}", example(name), patch, told


def patch_of(client, path, body, **headers):
    return client.patch(path, json=body, headers={"Content-Type": "application/merge-patch+json", **headers})


def test_a_read_gives_the_tag_that_an_edit_needs_and_an_edit_gives_the_next(client, thing):
    path, _, patch, told = thing
    read = client.get(path)
    tag = read.headers["etag"]
    edited = patch_of(client, path, patch, **{"If-Match": tag})
    assert edited.status_code == 200, edited.text
    assert told(edited.json()) == next(iter(patch.values()))
    assert edited.headers["etag"] not in (tag, "")
    assert client.get(path).headers["etag"] == edited.headers["etag"]
    problem(patch_of(client, path, {"name": "Late"}, **{"If-Match": tag}), 412, "stale")
    assert told(client.get(path).json()) == next(iter(patch.values()))


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_an_edit_without_a_tag_is_refused_and_changes_nothing(client, thing, method):
    path, new, patch, _ = thing
    before = client.get(path)
    kind = "application/merge-patch+json" if method == "PATCH" else "application/json"
    body = (
        {"json": patch if method == "PATCH" else new, "headers": {"Content-Type": kind}} if method != "DELETE" else {}
    )
    problem(client.request(method, path, **body), 428, "precondition-missing")
    assert client.get(path).json() == before.json()


def test_the_same_again_makes_no_version(client, thing):
    path, new, _, _ = thing
    before = client.get(path)
    again = client.put(path, json=new, headers={"If-Match": before.headers["etag"]})
    assert again.status_code == 200, again.text
    assert again.headers["etag"] == before.headers["etag"]
    assert again.json() == before.json()


def test_a_deleted_thing_is_gone(client, thing):
    path, _, _, _ = thing
    if path.startswith("/v1/stations"):
        for item in client.get("/v1/marks").json()["items"]:
            assert client.delete(f"/v1/marks/{item['id']}", headers={"If-Match": "*"}).status_code == 204
    deleted = client.delete(path, headers={"If-Match": client.get(path).headers["etag"]})
    assert (deleted.status_code, deleted.content) == (204, b"")
    problem(client.get(path), 404, "not-found")
    problem(client.delete(path, headers={"If-Match": "*"}), 404, "not-found")


def test_a_station_that_marks_follow_stays_and_names_them(client, coast):
    refused = client.delete(f"/v1/stations/{coast.station}", headers={"If-Match": "*"})
    assert problem(refused, 409, "in-use")["users"] == [coast.mark]
    assert client.get(f"/v1/stations/{coast.station}").status_code == 200


def test_old_versions_of_a_document_stay_readable(client, coast):
    path = f"/v1/marks/{coast.mark}"
    first = client.get(path).json()
    patch_of(client, path, {"notes": "Weed.", "slack_lags": None}, **{"If-Match": "*"})
    patch_of(client, path, {"external_ref": "renamed"}, **{"If-Match": "*"})
    now = client.get(path).json()
    # Another reference is no other document.
    assert (now["version"], now["notes"], now["slack_lags"], now["external_ref"]) == (2, "Weed.", None, "renamed")
    old = client.get(path, params={"version": 1}).json()
    assert (old["version"], old["notes"], old["slack_lags"]) == (1, first["notes"], first["slack_lags"])
    versions = client.get(f"{path}/versions").json()["items"]
    assert [one["version"] for one in versions] == [1, 2]
    problem(client.get(path, params={"version": 3}), 404, "not-found")


def test_new_constituents_are_the_next_version_of_a_tide_and_the_tide_stays_without_them(client, coast):
    path, model = f"/v1/stations/{coast.station}", example("create_station")["model"]
    patch_of(client, path, {"name": "Renamed"}, **{"If-Match": "*"})
    assert client.get(path).json()["current_version"] == 1
    model["mean_level_m"] = 3.4
    edited = patch_of(client, path, {"model": model}, **{"If-Match": "*"}).json()
    assert (edited["current_version"], len(edited["versions"]), edited["name"]) == (2, 2, "Renamed")


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_thing_is_made_or_replaced_by_its_reference(client, coast, kind):
    path, name, patch, told = KINDS[kind]
    new = {**example(name), "external_ref": None}
    where = {"external_ref": "by the pier"}
    made = client.put(path, params=where, json=new)
    assert made.status_code == 201, made.text
    assert made.json()["external_ref"] == "by the pier"
    assert client.get(made.headers["location"]).json() == made.json()
    assert [one["id"] for one in client.get(path, params=where).json()["items"]] == [made.json()["id"]]
    other = {**new, **patch}
    problem(client.put(path, params=where, json=other), 428, "precondition-missing")
    problem(client.put(path, params=where, json=other, headers={"If-Match": '"other"'}), 412, "stale")
    replaced = client.put(path, params=where, json=other, headers={"If-Match": made.headers["etag"]})
    assert (replaced.status_code, told(replaced.json())) == (200, next(iter(patch.values())))
    assert replaced.json()["id"] == made.json()["id"]
    assert client.get(path, params={"external_ref": "nowhere"}).json()["items"] == []


def test_a_patch_that_makes_nonsense_says_where_and_changes_nothing(client, coast):
    path = f"/v1/marks/{coast.mark}"
    before = client.get(path).json()
    for patch, field in (({"latitude": 95}, "latitude"), ({"name": None}, "name"), ({"depth": 3}, "depth")):
        problem(patch_of(client, path, patch, **{"If-Match": "*"}), 422, "invalid-input", field)
    problem(patch_of(client, path, {"station": "nowhere"}, **{"If-Match": "*"}), 422, "invalid-input", "station")
    problem(client.patch(path, json={}, headers={"If-Match": "*"}), 415, "media-not-supported")
    problem(patch_of(client, path, [1], **{"If-Match": "*"}), 422, "invalid-request")
    assert client.get(path).json() == before


def test_a_reference_of_another_is_refused_in_an_edit(client, coast):
    taken = patch_of(client, f"/v1/marks/{coast.mark}", {"external_ref": "hollow-ledge"}, **{"If-Match": "*"})
    problem(taken, 409, "reference-taken")


@pytest.mark.parametrize(
    ("target", "patch", "result"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_merge_patches_are_those_of_the_standard(target, patch, result):
    # RFC 7396, appendix A.
    assert merge_patch(target, patch) == result


@pytest.mark.parametrize(
    ("header", "allowed", "refused"),
    [
        ("*", ['"x"', '""'], []),
        # RFC 9110, section 13.1.1.
        ('"xyzzy"', ['"xyzzy"'], ['"r2d2xxxx"']),
        ('"xyzzy", "r2d2xxxx", "c3piozzzz"', ['"r2d2xxxx"', '"c3piozzzz"'], ['"x"']),
        ('W/"xyzzy"', [], ['"xyzzy"']),
        ('"a,b" ,\t"c"', ['"a,b"', '"c"'], ['"a"', '"b"']),
    ],
)
def test_if_match_is_that_of_the_standard(header, allowed, refused):
    found = read_if_match(header)
    assert all(found.allows(tag) for tag in allowed)
    assert not any(found.allows(tag) for tag in refused)


@pytest.mark.parametrize("header", ["", "x", '"x', '"x" "y"', '"x",,y', "W/x", '*, "x"'])
def test_what_is_no_list_of_tags_is_refused(header):
    with pytest.raises(DocumentInvalid, match="If-Match"):
        read_if_match(header)
