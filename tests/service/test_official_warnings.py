"""Official warnings over HTTP: alerts of the Common Alerting Protocol given, read, listed and deleted."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import pytest
from starlette.testclient import TestClient

from service.api.v1.schemas.official_warnings import CAP_EXAMPLE
from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem

CAP = {"content-type": "application/cap+xml"}
_numbers = count()


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """A coast that the tests of this module may change."""
    settings = settings_for(tmp_path_factory.mktemp("warnings"), max_condition_issues=3)
    with TestClient(create_app(settings), base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture
def coastal(shore):
    """That coast, with a mark of the test's own."""
    client, coast = shore
    made = client.post("/v1/marks", json={**example("create_mark"), "external_ref": None})
    return client, replace(coast, mark=made.json()["id"])


@pytest.fixture
def alert():
    """An alert with an identifier of the test's own."""
    return CAP_EXAMPLE.replace("invented-gale-1", f"invented-gale-{next(_numbers)}")


def give(client, alert, headers=None, **query):
    return client.post("/v1/warnings", content=alert.encode(), params=query, headers={**CAP, **(headers or {})})


def test_an_alert_is_given_read_listed_and_deleted(coastal, alert):
    client, coast = coastal
    made = give(client, alert, mark_id=coast.mark)
    assert made.status_code == 201, made.text
    (kept,) = made.json()["items"]
    place = made.headers["location"]
    read = client.get(place)
    shown = read.json()
    assert {name: shown[name] for name in kept} == kept
    assert (shown["event"], shown["severity"], shown["msg_type"], shown["block"]) == ("Gale", "severe", "alert", 0)
    assert (shown["sent_at"], shown["onset"]) == ("2026-06-01T04:00:00Z", "2026-06-01T12:00:00Z")
    assert (shown["in_force_from"], shown["in_force_until"]) == ("2026-06-01T12:00:00Z", "2026-06-02T06:00:00Z")
    assert shown["areas"][0]["circles"] == [{"latitude": 51.2, "longitude": -20.4, "radius_km": 40.0}]
    assert client.get("/v1/warnings", params={"mark_id": coast.mark}).json()["items"] == [kept]
    assert client.get(place, headers={"If-None-Match": read.headers["etag"]}).status_code == 304
    problem(client.delete(place), 428, "precondition-missing")
    assert client.delete(place, headers={"If-Match": read.headers["etag"]}).status_code == 204
    problem(client.get(place), 404, "not-found")


def test_the_same_alert_again_is_the_one_that_is_there(coastal, alert):
    client, coast = coastal
    first, again = give(client, alert, mark_id=coast.mark), give(client, alert, mark_id=coast.mark)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    other = alert.replace("Severe", "Minor")
    found = problem(give(client, other, mark_id=coast.mark), 409, "issue-taken")
    assert found["holder"] == first.json()["items"][0]["id"]


def test_a_request_sent_again_is_done_once(coastal, alert):
    client, coast = coastal
    headers = {"Idempotency-Key": "alert-once"}
    first, again = (give(client, alert, headers, mark_id=coast.mark) for _ in range(2))
    assert (again.status_code, again.content) == (201, first.content)


def test_every_block_of_an_alert_is_one(coastal, alert):
    client, coast = coastal
    begins, ends = alert.index("  <info>"), alert.index("</alert>")
    second = alert[begins:ends].replace("Gale", "Rain").replace("Severe", "Minor")
    made = give(client, alert[:ends] + second + alert[ends:], mark_id=coast.mark)
    assert made.status_code == 201, made.text
    found = [(one["block"], one["event"], one["severity"]) for one in made.json()["items"]]
    assert found == [(0, "Gale", "severe"), (1, "Rain", "minor")]
    assert "location" not in made.headers


def test_an_alert_that_draws_no_area_needs_a_place(coastal, alert):
    client, coast = coastal
    shapeless = alert.replace("      <circle>51.2,-20.4 40</circle>\n", "")
    found = problem(give(client, shapeless), 422, "invalid-input")
    assert [one["field"] for one in found["errors"]] == ["mark_id"]
    assert give(client, shapeless, area="Pellwick shore").status_code == 201
    problem(give(client, alert, area="Pellwick shore", mark_id=coast.mark), 422, "invalid-input")
    problem(give(client, alert, mark_id="mrk_00000000000000000000000000"), 404, "not-found")


@pytest.mark.parametrize(
    ("body", "media", "status", "slug"),
    [
        (b"<alert/>", "application/cap+xml", 422, "invalid-input"),
        (b"no xml", "application/cap+xml", 422, "record-unreadable"),
        (b"", "application/xml", 422, "invalid-input"),
        (b"\xff\xfe\x00", "application/xml", 422, "record-unreadable"),
        (b"{}", "application/json", 415, "media-not-supported"),
        (b"<a>" * 2_000_000, "application/xml", 413, "body-too-large"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><alert>&b;</alert>', "application/xml", 422, "record-unreadable"),
    ],
)
def test_what_is_no_alert_is_refused(coastal, body, media, status, slug):
    client, _ = coastal
    problem(client.post("/v1/warnings", content=body, headers={"content-type": media}), status, slug)


def test_the_oldest_of_a_place_are_deleted(coastal, alert):
    client, coast = coastal
    for hour in range(5):
        sent = alert.replace("2026-06-01T04:00", f"2026-06-01T0{hour}:00")
        assert give(client, sent, mark_id=coast.mark).status_code == 201
    kept = client.get("/v1/warnings", params={"mark_id": coast.mark}).json()["items"]
    assert [one["sent_at"] for one in kept] == [f"2026-06-01T0{hour}:00:00Z" for hour in (2, 3, 4)]


def test_the_warnings_of_a_mark_go_with_it(coastal, alert):
    client, coast = coastal
    place = give(client, alert, mark_id=coast.mark).headers["location"]
    after = client.get("/v1/changes", params={"limit": 500}).json()["next_after"]
    assert client.delete(f"/v1/marks/{coast.mark}", headers={"If-Match": "*"}).status_code == 204
    problem(client.get(place), 404, "not-found")
    changed = client.get("/v1/changes", params={"after": after}).json()["items"]
    assert [(one["kind"], one["change"]) for one in changed] == [("warning", "deleted"), ("mark", "deleted")]
