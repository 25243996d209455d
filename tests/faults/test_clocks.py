"""A clock that goes backwards or stands still: nothing rests on its going forward."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.security import LOCAL_ACCOUNT
from tests.service.coast import example, make_coast
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.workers import NOW

PATCH = {"Content-Type": "application/merge-patch+json", "If-Match": "*"}
LEASE = timedelta(seconds=20)
BACK = [timedelta(0), timedelta(hours=-1), timedelta(days=-400)]


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def client(tmp_path, clock):
    """An application whose clock the test moves, asked with a key."""
    with keyed_client(tmp_path, clock) as client:
        client.headers.update(make_holder(context_of(client), "admin").headers)
        yield client


@pytest.mark.parametrize("back", BACK, ids=str)
@pytest.mark.parametrize("kind", ["stations", "marks", "species-rules"])
def test_every_edit_changes_the_etag(client, clock, kind, back):
    coast = make_coast(client)
    path = f"/v1/{kind}/{ {'stations': coast.station, 'marks': coast.mark, 'species-rules': coast.rule}[kind] }"
    tags = [client.get(path).headers["etag"]]
    # A reference is no part of a version: its ETag rests on the time alone.
    for reference in ("first", "second", "first"):
        clock.now += back
        edited = client.patch(path, json={"external_ref": reference}, headers=PATCH)
        assert edited.status_code == 200, edited.text
        tags.append(edited.headers["etag"])
        assert client.get(path).headers["etag"] == tags[-1]
    assert len(set(tags)) == len(tags)
    stale = client.patch(path, json={"external_ref": "late"}, headers={**PATCH, "If-Match": tags[1]})
    assert stale.status_code == 412


@pytest.mark.parametrize("back", BACK, ids=str)
def test_what_was_done_once_stays_done(client, clock, back):
    body = {**example("create_species_rule"), "external_ref": None}
    headers = {"Idempotency-Key": "k"}
    first = client.post("/v1/species-rules", json=body, headers=headers)
    clock.now += back
    other = client.post("/v1/species-rules", json=body, headers={"Idempotency-Key": "other"})
    assert other.json()["id"] != first.json()["id"]
    assert client.post("/v1/species-rules", json=body, headers=headers).content == first.content
    assert len(client.get("/v1/species-rules").json()["items"]) == 2


@pytest.mark.parametrize("back", BACK, ids=str)
def test_changes_come_in_the_order_of_commits(client, clock, back):
    coast = make_coast(client)
    seen = client.get("/v1/changes").json()
    clock.now += back
    client.patch(f"/v1/marks/{coast.mark}", json={"notes": "Weed."}, headers=PATCH)
    clock.now += back
    client.delete(f"/v1/species-rules/{coast.rule}", headers={"If-Match": "*"})
    later = client.get("/v1/changes", params={"after": seen["next_after"]}).json()
    assert [(one["id"], one["change"]) for one in later["items"]] == [
        (coast.mark, "updated"),
        (coast.rule, "deleted"),
    ]


@pytest.mark.parametrize("back", BACK, ids=str)
def test_a_lease_is_held(house, back):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        unit.jobs.add("work", "hash", {}, NOW)
        unit.commit()
    with house.store.queue(writes=True) as queue:
        held = queue.claim(["work"], "run_1", NOW, NOW + LEASE)
    now = NOW + back
    with house.store.queue(writes=True) as queue:
        assert queue.claim(["work"], "run_2", now, now + LEASE) is None
        assert queue.renew([held.claim], now + LEASE) == {held.job_id: False}
    with house.store.queue(writes=True) as queue:
        assert queue.claim(["work"], "run_2", now, now + LEASE) is None
        taken = queue.claim(["work"], "run_2", now + 2 * LEASE, now + 3 * LEASE)
    assert (taken.job_id, taken.attempts) == (held.job_id, 2)
