"""Calendars of a series of plans, followed by token and without a key."""

from __future__ import annotations

import json
from datetime import datetime
from email.utils import parsedate_to_datetime
from typing import Any

import icalendar
import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from service.errors import NotFound
from service.storage.engine import open_engine
from service.storage.tables import Table
from service.storage.unit import Store
from service.usecases.feeds import open_feed
from tests.service.coast import make_coast
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem
from tests.service.rfc5545 import read_calendar
from tests.service.test_plans import items, made

#: Where a token might be kept.
TABLES = [Table.metadata.tables[name] for name in ("feeds", "answers", "changes")]
ASKED = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-08T00:00:00Z", "series": "followed"}


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """An application that asks for keys and limits requests, its clock, and a coast with a plan; the key is sent."""
    clock = Clock()
    limits = {"rate_limit": 0, "plan_workers": 1, "log_level": "info"}
    with keyed_client(tmp_path_factory.mktemp("feeds"), clock, **limits) as client:
        client.headers.update(make_holder(context_of(client), "read", "write").headers)
        coast = make_coast(client)
        asked = {**ASKED, "mark_ids": [coast.mark]}
        want(client, coast.rule, 0.4)
        made(client, asked)
        yield client, clock, coast, asked


def feed(client: TestClient, **asked: Any) -> dict[str, Any]:
    sent = client.post("/v1/feeds", json={"name": "Followed", "series": "followed", **asked})
    assert sent.status_code == 201, sent.text
    found: dict[str, Any] = sent.json()
    return found


def want(client: TestClient, rule: str, threshold: float) -> None:
    """Have windows of a rule begin where its score is so high."""
    headers = {"if-match": "*", "content-type": "application/merge-patch+json"}
    edited = client.patch(f"/v1/species-rules/{rule}", json={"threshold": threshold}, headers=headers)
    assert edited.status_code == 200, edited.text


def fetch(client: TestClient, path: str, status: int = 200, **headers: str) -> Any:
    """Ask as programs of calendars do: without a key."""
    told = client.get(path, headers={"authorization": "", **headers})
    assert told.status_code == status, told.text
    return told


def events(raw: bytes) -> dict[str, Any]:
    """Events by their UID as the package reads them; a reader that knows the standard alone finds the same."""
    found = {str(event["UID"]): event for event in icalendar.Calendar.from_ical(raw).walk("VEVENT")}
    lines = [one for name, one in read_calendar(raw) if name == "VEVENT"]
    assert [(one["UID"], int(one["SEQUENCE"]), one["STATUS"]) for one in lines] == [
        (uid, int(str(event["SEQUENCE"])), str(event["STATUS"])) for uid, event in found.items()
    ]
    return found


def test_a_feed_is_followed_through_a_change_of_a_rule(shore):
    client, _, coast, asked = shore
    path = feed(client)["path"]
    before = fetch(client, path)
    assert before.headers["content-type"] == "text/calendar; charset=utf-8; method=PUBLISH"
    assert before.headers["cache-control"] == "private, no-cache"
    again = fetch(client, path, 304, **{"if-none-match": before.headers["etag"]})
    assert (again.content, again.headers["last-modified"]) == (b"", before.headers["last-modified"])
    want(client, coast.rule, 0.6)
    # Until the next plan the sessions are those of the last one.
    assert events(fetch(client, path).content) == events(before.content)
    plan = made(client, asked)
    told = fetch(client, path, **{"if-none-match": before.headers["etag"]})
    assert parsedate_to_datetime(told.headers["last-modified"]) == datetime.fromisoformat(plan["finished_at"])
    changes = {one["key"]: one["kinds"] for one in items(client, f"/v1/plans/{plan['id']}/changes")}
    sessions = {one["key"]: one for one in items(client, f"/v1/plans/{plan['id']}/sessions")}
    old, new = events(before.content), events(told.content)
    confirmed = {uid: event for uid, event in new.items() if event["STATUS"] == "CONFIRMED"}
    assert {event["DTSTART"].dt for event in confirmed.values()} == {
        datetime.fromisoformat(one["arrive"]) for one in sessions.values()
    }
    kept = confirmed.keys() & old.keys()
    rose = {uid for uid in kept if int(new[uid]["SEQUENCE"]) == int(old[uid]["SEQUENCE"]) + 1}
    assert rose, "no session changed and stayed"
    assert len(rose) == sum("new" not in kinds and "gone" not in kinds for kinds in changes.values())
    for uid in kept - rose:
        assert new[uid]["SEQUENCE"] == old[uid]["SEQUENCE"]
        assert [new[uid][name].dt for name in ("DTSTART", "DTEND")] == [
            old[uid][name].dt for name in ("DTSTART", "DTEND")
        ]
    gone = new.keys() - confirmed.keys()
    assert gone, "no session is gone"
    assert gone == old.keys() - kept
    assert all(new[uid]["STATUS"] == "CANCELLED" and int(new[uid]["SEQUENCE"]) >= 1 for uid in gone)
    # The plan after says no more of them.
    made(client, asked)
    assert events(fetch(client, path).content).keys() == confirmed.keys()


def test_a_feed_has_what_was_chosen_and_goes_on_where_that_is_planned_no_more(shore):
    client, _, coast, asked = shore
    chosen = feed(client, mark_ids=[coast.mark, coast.mark], rule_ids=[coast.rule], most=2)
    assert (chosen["mark_ids"], chosen["most"], chosen["safe"]) == ([coast.mark], 2, None)
    found = events(fetch(client, chosen["path"]).content)
    assert [str(event["STATUS"]) for event in found.values()].count("CONFIRMED") == 2
    verdicts = {(one["verdicts"]["safe"], one["verdicts"]["fishable"]) for one in planned(client)}
    for safe, fishable in {(safe, fishable) for safe in ("caution", "danger") for fishable in ("yes", "no", "unknown")}:
        found = events(fetch(client, feed(client, safe=[safe], fishable=[fishable])["path"]).content)
        assert bool(found) is ((safe, fishable) in verdicts)
    elsewhere = feed(client, mark_ids=[coast.bare_mark])
    short = made(client, {**asked, "series": "short"})
    follows = feed(client, series="short")
    assert events(fetch(client, follows["path"]).content)
    assert client.delete(f"/v1/plans/{short['id']}", headers={"if-match": "*"}).status_code == 204
    for empty in (elsewhere, follows):
        # A calendar has one component at least (RFC 5545, section 3.6).
        told = read_calendar(fetch(client, empty["path"]).content)
        assert [name for name, _ in told] == ["VCALENDAR", "VTIMEZONE", "STANDARD"]
    problem(client.post("/v1/feeds", json={"name": "x", "series": "never"}), 422, "invalid-input", "series")
    assert asked["mark_ids"] == [coast.mark]


def planned(client: TestClient) -> list[dict[str, Any]]:
    newest = client.get("/v1/plans", params={"series": "followed"}).json()["items"][-1]["id"]
    return items(client, f"/v1/plans/{newest}/sessions")


def test_a_calendar_changes_with_the_name_of_its_mark(shore):
    client, _, coast, _ = shore
    path = feed(client)["path"]
    before = fetch(client, path)
    headers = {"if-match": "*", "content-type": "application/merge-patch+json"}
    assert client.patch(f"/v1/marks/{coast.mark}", json={"name": "Renamed"}, headers=headers).status_code == 200
    told = fetch(client, path, **{"if-none-match": before.headers["etag"]})
    assert {str(event["LOCATION"]) for event in events(told.content).values()} == {"Renamed"}


def test_a_token_is_shown_once_and_kept_as_a_hash(shore):
    client, *_ = shore
    body, once = {"name": "Once", "series": "followed"}, {"idempotency-key": "feed-once"}
    first, again = (client.post("/v1/feeds", json=body, headers=once) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    token = first.json()["token"]
    assert again.json() == {**first.json(), "token": None, "path": None}
    secret = token.rpartition("_")[2]
    store = context_of(client).store
    with store.across_accounts() as across:
        accounts = [one.account_id for one in across.accounts.all()]
    kept = []
    for account in accounts:
        with store.unit(account) as unit:
            kept += [str(tuple(row)) for table in TABLES for row in unit._session.execute(select(table))]
    assert any(first.json()["id"] in row for row in kept)
    assert any("feed-once" in row for row in kept)
    assert not [row for row in kept if secret in row]
    shown = client.get(first.headers["location"])
    assert secret not in shown.text
    assert secret not in client.get("/v1/feeds").text


def test_unknown_and_revoked_tokens_are_told_alike_and_none_is_logged(shore, capfd):
    client, *_ = shore
    mine = feed(client)
    token, path = mine["token"], mine["path"]
    fetch(client, path)
    assert client.delete(f"/v1/feeds/{mine['id']}").status_code == 428
    assert client.delete(f"/v1/feeds/{mine['id']}", headers={"if-match": "*"}).status_code == 204
    told = []
    other = f"{token[:-1]}{'1' if token.endswith('0') else '0'}"
    for one in (path, f"/v1/feeds/{other}.ics", f"/v1/feeds/ebf_{'0' * 10}_{'0' * 32}.ics"):
        refused = fetch(client, one, 404)
        told.append({**refused.json(), "request_id": None})
    assert told[0] == told[1] == told[2]
    problem(fetch(client, "/v1/feeds/ebf.ics", 404), 404, "not-found")
    # The token is good for the calendar alone, and a key is not good for one.
    problem(client.request("DELETE", path, headers={"authorization": ""}), 401, "key-needed")
    refused = client.get("/v1/plans", headers={"authorization": f"Bearer {token}"})
    problem(refused, 401, "key-malformed")
    assert token.rpartition("_")[2] not in capfd.readouterr().err
    assert all(token not in json.dumps(one) for one in told)


def test_a_token_that_another_process_revokes_is_good_for_nothing_at_once(shore):
    client, *_ = shore
    mine = feed(client)
    path, context = mine["path"], context_of(client)
    for _ in range(2):
        fetch(client, path)
    # Nor does it help another secret that the right one was met just now.
    other = path.removesuffix(".ics")[:-1] + ("1" if path[-5] == "0" else "0") + ".ics"
    fetch(client, other, 404)
    account = open_feed(context, mine["token"]).account_id
    store = Store(open_engine(context.settings.database_url))
    with store.unit(account, writes=True) as unit:
        unit.feeds.remove(mine["id"])
        unit.commit()
    store.close()
    # At the door, and behind it.
    with pytest.raises(NotFound):
        open_feed(context, mine["token"])
    fetch(client, path, 404)


def test_the_last_use_is_kept_to_the_hour_and_a_feed_has_a_pace_of_its_own(tmp_path):
    clock = Clock()
    with keyed_client(tmp_path, clock, rate_limit=60, rate_burst=30, plan_workers=1) as client:
        client.headers.update(make_holder(context_of(client), "read", "write").headers)
        coast = make_coast(client)
        told = client.post("/v1/plans", json={**ASKED, "mark_ids": [coast.mark]})
        assert told.status_code == 202
        mine = feed(client)
        clock.pass_by(60.0)
        place = f"/v1/feeds/{mine['id']}"
        assert client.get(place).json()["last_used_at"] is None
        taken = [client.get(mine["path"], headers={"authorization": ""}) for _ in range(31)]
        assert [one.status_code for one in taken] == [200] * 30 + [429]
        assert int(taken[-1].headers["retry-after"]) >= 1
        first = client.get(place).json()["last_used_at"]
        assert first == "2026-06-01T12:01:00Z"
        for seconds, expected in ((3000.0, first), (601.0, "2026-06-01T13:01:01Z")):
            clock.pass_by(seconds)
            fetch(client, mine["path"])
            assert client.get(place).json()["last_used_at"] == expected
