"""Trips over HTTP: one versioned document each, whose deployments, bites and catches can be edited one by one."""

from __future__ import annotations

import copy
import datetime
import re
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event

from service.security import LOCAL_ACCOUNT
from service.usecases.trips import trip_links
from tests.service.coast import example
from tests.service.problems import problem
from tidecore.catchlog import TripRecord

MERGE = {"Content-Type": "application/merge-patch+json"}
ANY = {"If-Match": "*"}
TRIP = {name: value for name, value in example("create_trip").items() if name != "external_ref"}


@pytest.fixture
def client(logbook):
    return logbook[0]


@pytest.fixture
def made(client):
    return client.post("/v1/trips", json=TRIP)


def trip(**changes):
    return {**copy.deepcopy(TRIP), **changes}


def faults(response) -> dict[str, str]:
    return {one["field"]: one["problem"] for one in problem(response, 422, "invalid-input")["errors"]}


def test_a_trip_is_logged_read_and_edited_in_versions(client, made):
    assert made.status_code == 201, made.text
    path, tag, answer = made.headers["location"], made.headers["etag"], made.json()
    assert client.get(path).json() == answer
    assert answer in client.get("/v1/trips", params={"mark_id": answer["mark_id"]}).json()["items"]
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    assert (answer["time_zone"], answer["date_local"], answer["end_date_local"]) == ("Etc/UTC", *["2026-05-02"] * 2)
    # 25 and 28 min of casts; 3 h 10 min and 3 h of rods, one of which has no casts on record.
    assert answer["effort"] == {"bait_on_h": 0.8833, "raw_rod_h": 6.1667, "bait_on_known": False}
    near, far = answer["deployments"]
    assert (near["effort"]["bait_on_known"], far["effort"]["bait_on_h"]) == (True, None)
    assert (near["reach"]["from_m"], near["reach"]["to_m"], near["reach"]["metres"]) == (46.2, 50.0, 60.0)
    # What was read can be sent back, and is the same.
    same = client.put(path, json=answer["record"], headers={"If-Match": tag})
    assert (same.status_code, same.json()["version"]) == (200, 1)
    patched = client.patch(path, json={"trip": {"notes": "Late bus."}}, headers={**MERGE, "If-Match": tag})
    assert (patched.json()["version"], patched.json()["record"]["trip"]["notes"]) == (2, "Late bus.")
    assert len(patched.json()["record"]["catches"]) == 1
    problem(client.patch(path, json={"trip": {"notes": "x"}}, headers={**MERGE, "If-Match": tag}), 412, "stale")
    problem(client.put(path, json=TRIP), 428, "precondition-missing")
    assert client.get(path, params={"version": 1}).json()["record"]["trip"]["notes"] == ""
    restored = client.post(f"{path}/restore", json={"version": 1}, headers={"If-Match": patched.headers["etag"]})
    assert (restored.json()["version"], restored.json()["record"]) == (3, answer["record"])
    problem(client.post(f"{path}/restore", json={"version": 9}, headers=ANY), 404, "not-found")
    assert [one["version"] for one in client.get(f"{path}/versions").json()["items"]] == [1, 2, 3]
    assert client.delete(path, headers={"If-Match": restored.headers["etag"]}).status_code == 204
    problem(client.get(path), 404, "not-found")
    last = client.get("/v1/changes").json()["items"][-1]
    assert (last["kind"], last["change"], last["id"]) == ("trip", "deleted", answer["id"])


def test_blanks_and_trips_not_fished_are_trips(client):
    blank = client.post("/v1/trips", json=trip(trip={**TRIP["trip"], "outcome": "blank"}, catches=[]))
    assert (blank.status_code, blank.json()["effort"]["raw_rod_h"]) == (201, 6.1667)
    walked = {"mark": TRIP["trip"]["mark"], "start": "2026-05-03T18:00:00Z", "outcome": "not_fished"}
    unfished = client.post("/v1/trips", json={"trip": {**walked, "why_not": "weed"}})
    assert unfished.json()["effort"] == {"bait_on_h": 0.0, "raw_rod_h": 0.0, "bait_on_known": True}
    # Who fished without a rod on record fished for nobody knows how long.
    rodless = client.post("/v1/trips", json={"trip": {**walked, "outcome": "blank"}}).json()
    assert rodless["effort"] == {"bait_on_h": None, "raw_rod_h": None, "bait_on_known": False}
    listed = client.get("/v1/trips").json()["items"]
    assert [one for one in listed if not one["deployments"]] == sorted(
        [unfished.json(), rodless], key=lambda one: one["id"]
    )
    assert set(faults(client.post("/v1/trips", json={"trip": walked}))) == {"trip.why_not"}


def test_deployments_bites_and_catches_are_edited_one_by_one(client, made):
    path, tag = made.headers["location"], made.headers["etag"]
    bite = {"at": "2026-05-02T19:00:00Z", "kind": "knock", "outcome": "hook_pulled"}
    sent = {"If-Match": tag, "Idempotency-Key": f"bite of {path}".replace(" ", "-")}
    added = client.post(f"{path}/bites", json=bite, headers=sent)
    assert added.status_code == 201, added.text
    assert (added.json()["ref"], added.json()["trip_version"], added.json()["date_local"]) == ("b2", 2, "2026-05-02")
    # The same again is answered as before, for all that the trip has gone on; another body is not.
    again = client.post(f"{path}/bites", json=bite, headers=sent)
    assert (again.status_code, again.content) == (201, added.content)
    other = client.post(f"{path}/bites", json={**bite, "kind": "rattle"}, headers=sent)
    problem(other, 422, "idempotency-key-reused")
    problem(client.post(f"{path}/bites", json=bite, headers={"If-Match": tag}), 412, "stale")
    problem(client.post(f"{path}/bites", json=bite), 428, "precondition-missing")
    place, tag = added.headers["location"], added.headers["etag"]
    assert client.get(place).json() == added.json()
    assert client.get(path).headers["etag"] == client.get(place).headers["etag"] == tag
    edited = client.patch(place, json={"outcome": "missed"}, headers={**MERGE, "If-Match": tag})
    assert (edited.json()["bite"]["outcome"], edited.json()["trip_version"]) == ("missed", 3)
    replaced = client.put(place, json={**bite, "kind": "rattle"}, headers=ANY)
    assert (replaced.json()["ref"], replaced.json()["bite"]["kind"]) == ("b2", "rattle")
    assert faults(client.put(place, json={**bite, "ref": "b9"}, headers=ANY)) == {"ref": "is 'b9'"}
    third = {
        "rod": "third rod",
        "ref": "under the wall",
        "start": "2026-05-02T18:00:00Z",
        "end": "2026-05-02T19:30:00Z",
    }
    rod = client.post(f"{path}/deployments", json=third, headers=ANY)
    assert rod.headers["location"].endswith("/deployments/under%20the%20wall")
    assert client.get(rod.headers["location"]).json()["effort"]["raw_rod_h"] == 1.5
    fish = {**TRIP["catches"][0], "deployment": "under the wall", "at": "2026-05-02T19:00:00Z"}
    caught = client.post(f"{path}/catches", json=fish, headers=ANY).json()
    in_use = problem(client.delete(rod.headers["location"], headers=ANY), 409, "in-use")
    assert caught["ref"] in in_use["detail"]
    assert client.delete(f"{path}/catches/{caught['ref']}", headers=ANY).status_code == 204
    assert client.delete(rod.headers["location"], headers=ANY).status_code == 204
    assert client.delete(place, headers=ANY).status_code == 204
    problem(client.delete(place, headers=ANY), 404, "not-found")
    lists = {name: client.get(f"{path}/{name}").json()["items"] for name in ("deployments", "bites", "catches")}
    assert [[one["ref"] for one in items] for items in lists.values()] == [["near", "far"], ["b1"], ["c1"]]


def test_what_does_not_fit_a_trip_is_named_in_the_words_of_what_was_sent(client, made):
    path, fish = made.headers["location"], TRIP["catches"][0]
    long = {**fish, "length": {"cm": 400, "kind": "total"}}
    assert "400" in faults(client.post(f"{path}/catches", json=long, headers=ANY))["length.cm"]
    late = {**fish, "at": "2026-05-02T20:56:00Z"}
    assert set(faults(client.post(f"{path}/catches", json=late, headers=ANY))) == {"at"}
    twice = {"rod": "first", "start": "2026-05-02T20:00:00Z", "end": "2026-05-02T21:00:00Z"}
    assert "first" in faults(client.post(f"{path}/deployments", json=twice, headers=ANY))["start"]
    found = faults(client.post("/v1/trips", json=trip(deployments=[*TRIP["deployments"], twice], catches=[long])))
    assert set(found) == {"deployments.2.start", "catches.0.length.cm"}
    assert client.get(path).json()["version"] == 1


def test_a_mark_that_is_not_there_and_times_to_come_are_refused(client):
    unknown = trip(trip={**TRIP["trip"], "mark": "nowhere"})
    assert set(faults(client.post("/v1/trips", json=unknown))) == {"trip.mark"}
    now = datetime.datetime.now(datetime.UTC)
    soon, late = now + datetime.timedelta(minutes=4), now + datetime.timedelta(minutes=9)
    start = {"mark": TRIP["trip"]["mark"], "start": (now - datetime.timedelta(hours=1)).isoformat(), "outcome": "blank"}
    rod = {"rod": "a", "start": start["start"], "end": soon.isoformat()}
    assert client.post("/v1/trips", json={"trip": start, "deployments": [rod]}).status_code == 201
    rod["end"] = late.isoformat()
    bite = {"at": late.isoformat(), "kind": "knock", "outcome": "missed"}
    found = faults(client.post("/v1/trips", json={"trip": start, "deployments": [rod], "bites": [bite]}))
    assert set(found) == {"deployments.0.end", "bites.0.at"}
    assert all("in the future" in one for one in found.values())


def test_a_trip_without_an_end_is_no_longer_than_the_longest(client):
    start = {"mark": TRIP["trip"]["mark"], "start": "2014-06-01T18:00:00Z", "outcome": "fished"}
    rod = {"rod": "a", "start": "2014-06-01T18:00:00Z", "end": "2014-06-12T18:00:00Z"}
    fish = {**TRIP["catches"][0], "deployment": None, "at": "2016-06-01T19:00:00Z"}
    found = faults(client.post("/v1/trips", json={"trip": start, "deployments": [rod], "catches": [fish]}))
    assert set(found) == {"deployments.0.end", "catches.0.at"}
    plain = client.post("/v1/trips", json={"trip": start})
    path = plain.headers["location"]
    assert set(faults(client.post(f"{path}/catches", json=fish, headers=ANY))) == {"at"}
    within = {**fish, "at": "2014-06-05T18:10:00Z"}
    assert client.post(f"{path}/catches", json=within, headers=ANY).status_code == 201


def test_a_trip_before_1900_is_refused(client):
    early = {"mark": TRIP["trip"]["mark"], "start": "1850-06-01T18:00:00Z", "outcome": "blank"}
    assert faults(client.post("/v1/trips", json={"trip": early})) == {
        "trip.start": "is 1850-06-01T18:00:00Z, before 1900"
    }


def test_a_trip_from_before_there_were_bounds_is_read_and_put_right(client, made):
    path, key = made.headers["location"], made.json()["id"]
    document = {**made.json()["record"], "trip": {**made.json()["record"]["trip"], "end": None}}
    document["catches"] = [{**document["catches"][0], "deployment": None, "at": "2026-09-02T18:42:00Z"}]
    house = client.app.state.house
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        record = unit.trips.many([key])[key]
        links = trip_links(TripRecord.parse(document), ZoneInfo("Etc/UTC"))
        unit.trips.replace(record, document, external_ref=None, now=house.context.clock(), links=links)
        unit.commit()
    answer = client.get(path)
    assert (answer.status_code, answer.json()["record"]["catches"]) == (200, document["catches"])
    assert answer.json() in client.get("/v1/trips").json()["items"]
    # What is written next must be right.
    patch = {"trip": {"notes": "The clock was wrong."}}
    assert set(faults(client.patch(path, json=patch, headers={**MERGE, **ANY}))) == {"catches.0.at"}
    assert client.patch(path, json={"catches": []}, headers={**MERGE, **ANY}).status_code == 200
    assert client.get(path, params={"version": 2}).json()["record"] == document


def test_corrections_keep_what_they_correct(client, made):
    path, tag = made.headers["location"], made.headers["etag"]
    one = {"path": "catches.0.length.cm", "was": 47, "now": 44, "why": "Misread by the light of the lamp."}
    corrected = client.post(f"{path}/corrections", json={"corrections": [one]}, headers={"If-Match": tag})
    assert corrected.status_code == 200, corrected.text
    record = corrected.json()["record"]
    assert (corrected.json()["version"], record["catches"][0]["length"]["cm"]) == (2, 44.0)
    kept = client.get(f"{path}/corrections").json()["items"]
    assert kept == record["corrections"]
    assert {name: kept[0][name] for name in one} == one
    assert client.get(path, params={"version": 1}).json()["record"]["catches"][0]["length"]["cm"] == 47.0
    # What stands there now is no longer 47; an edit takes no correction away and adds none.
    assert set(faults(client.post(f"{path}/corrections", json={"corrections": [one]}, headers=ANY))) == {
        "corrections.0.was"
    }
    bad = [{**one, "path": "catches.0.depth"}, {**one, "was": 44, "now": 400}]
    assert set(faults(client.post(f"{path}/corrections", json={"corrections": bad}, headers=ANY))) == {
        "corrections.0.path"
    }
    assert set(faults(client.post(f"{path}/corrections", json={"corrections": bad[1:]}, headers=ANY))) == {
        "catches.0.length.cm"
    }
    party = {"path": "trip.party", "was": True, "now": 2}
    assert faults(client.post(f"{path}/corrections", json={"corrections": [party]}, headers=ANY)) == {
        "corrections.0.was": "is True"
    }
    replaced = client.put(path, json=TRIP, headers=ANY).json()
    assert (replaced["version"], replaced["record"]["corrections"]) == (3, kept)
    forged = {**TRIP, "corrections": [{**kept[0], "why": "No reason."}]}
    assert set(faults(client.put(path, json=forged, headers=ANY))) == {"corrections"}


def test_a_trip_is_put_by_its_reference(client):
    query = {"external_ref": "outing-7"}
    made = client.put("/v1/trips", params=query, json=TRIP)
    assert (made.status_code, client.put("/v1/trips", params=query, json=TRIP).json()["version"]) == (201, 1)
    other = trip(bites=[])
    problem(client.put("/v1/trips", params=query, json=other), 428, "precondition-missing")
    problem(client.put("/v1/trips", params=query, json=other, headers={"If-Match": '"old"'}), 412, "stale")
    edited = client.put("/v1/trips", params=query, json=other, headers={"If-Match": made.headers["etag"]})
    assert (edited.status_code, edited.json()["version"]) == (200, 2)
    problem(client.post("/v1/trips", json={**TRIP, **query}), 409, "reference-taken")
    found = client.get("/v1/trips", params=query).json()["items"]
    assert [one["id"] for one in found] == [made.json()["id"]]


def test_trips_are_listed_by_their_start_through_an_index(client):
    mark = client.post("/v1/marks", json={**example("create_mark"), "external_ref": "listed"}).json()["id"]
    for day, outcome in ((5, "blank"), (3, "blank"), (3, "not_fished"), (9, "blank")):
        why = {"why_not": "surf"} if outcome == "not_fished" else {}
        sent = {"mark": "listed", "start": f"2026-03-0{day}T18:00:00Z", "outcome": outcome, **why}
        assert client.post("/v1/trips", json={"trip": sent}).status_code == 201

    def listed(**query):
        found: list[str] = []
        cursor: dict[str, str] = {}
        while True:
            page = client.get("/v1/trips", params={"mark_id": mark, "limit": 1, **query, **cursor}).json()
            found += [one["date_local"][-1] for one in page["items"]]
            assert page["items"] == [client.get(f"/v1/trips/{one['id']}").json() for one in page["items"]]
            if page["next_cursor"] is None:
                return "".join(found)
            cursor = {"cursor": page["next_cursor"]}

    plans: list[str] = []
    engine = client.app.state.house.store.engine

    def explain(connection, _cursor, statement, parameters, *_more):
        if "FROM trips" in statement and "EXPLAIN" not in statement and "ORDER BY" in statement:
            prefix = "EXPLAIN QUERY PLAN " if engine.dialect.name == "sqlite" else "EXPLAIN "
            plans.extend(str(row) for row in connection.exec_driver_sql(prefix + statement, parameters))

    assert listed() == "3359"
    event.listen(engine, "before_cursor_execute", explain)
    try:
        assert listed(**{"from": "2026-03-03T18:00:00Z", "to": "2026-03-09T18:00:00Z"}) == "335"
    finally:
        event.remove(engine, "before_cursor_execute", explain)
    if engine.dialect.name == "sqlite":
        # Of two that do, it takes the one that its statistics favour.
        index = re.compile(r"SEARCH trips USING INDEX ix_trips_account_id_(mark_id_)?started_at")
        assert [plan for plan in plans if "trips" in plan and not index.search(plan)] == []
    assert plans
    assert listed(outcome="not_fished") == "3"
    backwards = client.get("/v1/trips", params={"from": "2026-03-09T00:00:00Z", "to": "2026-03-08T00:00:00Z"})
    assert set(faults(backwards)) == {"to"}
    problem(client.get("/v1/trips", params={"mark_id": "mrk_" + "0" * 26}), 404, "not-found")
    problem(client.get("/v1/trips", params={"cursor": "dHJpcHMgeA"}), 422, "cursor-invalid")


def test_of_many_that_use_a_mark_some_are_named(client):
    mark = client.post("/v1/marks", json={**example("create_mark"), "external_ref": "crowded"}).json()["id"]
    sent = {"mark": "crowded", "outcome": "blank"}
    ids: list[str] = []
    for day in range(1, 22):
        detail = problem(client.delete(f"/v1/marks/{mark}", headers=ANY), 409, "in-use")["detail"] if ids else ""
        assert "and others" not in detail
        assert all(one in detail for one in ids)
        made = client.post("/v1/trips", json={"trip": {**sent, "start": f"2026-03-{day:02d}T18:00:00Z"}})
        ids.append(made.json()["id"])
    detail = problem(client.delete(f"/v1/marks/{mark}", headers=ANY), 409, "in-use")["detail"]
    assert sum(one in detail for one in ids) == 20
    assert " and others; " in detail


def test_marks_and_methods_in_use_stay(client):
    mark = client.post("/v1/marks", json={**example("create_mark"), "external_ref": "fished"}).json()["id"]
    method = client.post("/v1/methods", json={**example("create_method"), "external_ref": "used"}).json()["id"]
    rod = {**TRIP["deployments"][1], "method": method}
    logged = client.post("/v1/trips", json={"trip": {**TRIP["trip"], "mark": "fished"}, "deployments": [rod]}).json()
    for path in (f"/v1/marks/{mark}", f"/v1/methods/{method}"):
        assert logged["id"] in problem(client.delete(path, headers=ANY), 409, "in-use")["detail"]
    # A read with the mark in another version is another answer, and an edit of what was seen before is stale.
    place = f"/v1/trips/{logged['id']}"
    before = client.get(place).headers["etag"]
    zone = client.patch(f"/v1/marks/{mark}", json={"time_zone": "Etc/GMT-9"}, headers={**MERGE, **ANY})
    assert zone.status_code == 200
    assert (client.get(place).json()["date_local"], client.get(place).headers["etag"] == before) == (
        "2026-05-03",
        False,
    )
    problem(client.delete(place, headers={"If-Match": before}), 412, "stale")
    client.patch(place, json={"deployments": [], "trip": {"mark": "pellwick-long-beach"}}, headers={**MERGE, **ANY})
    for path in (f"/v1/marks/{mark}", f"/v1/methods/{method}"):
        assert client.delete(path, headers=ANY).status_code == 204
    # The version of the mark that is gone is still read, by the clocks of the mark there is.
    assert client.get(place, params={"version": 1}).json()["record"]["trip"]["mark"] == mark
    assert set(faults(client.post(f"{place}/restore", json={"version": 1}, headers=ANY))) == {"trip.mark"}
