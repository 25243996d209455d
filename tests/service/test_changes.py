"""The list of changes: commit order, each thing once, deletions, cursors."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from sqlalchemy import event

from service.api.paging import write_place
from service.security import LOCAL_ACCOUNT
from service.storage.records import CREATED, UPDATED, Change
from tests.service.coast import example, make_coast
from tests.service.problems import problem

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def changes(client, after=None, **params):
    answer = client.get("/v1/changes", params={**params, **({} if after is None else {"after": after})})
    assert answer.status_code == 200, answer.text
    return answer.json()


def told(found):
    return [(one["kind"], one["id"], one["change"], one["version"]) for one in found["items"]]


def test_what_is_made_edited_and_deleted_is_listed_once_each(client):
    assert told(changes(client)) == []
    coast = make_coast(client)
    first = changes(client)
    assert told(first) == [
        ("station", coast.station, "created", 1),
        ("station", coast.bare_station, "created", None),
        ("mark", coast.mark, "created", 1),
        ("species_rule", coast.rule, "created", 1),
        ("mark", coast.bare_mark, "created", 1),
    ]
    assert not first["more"]
    assert told(changes(client, first["next_after"])) == []
    headers = {"If-Match": "*", "Content-Type": "application/merge-patch+json"}
    client.patch(f"/v1/marks/{coast.mark}", json={"notes": "Weed."}, headers=headers)
    client.delete(f"/v1/species-rules/{coast.rule}", headers={"If-Match": "*"})
    client.patch(f"/v1/marks/{coast.mark}", json={"notes": "Clear."}, headers=headers)
    assert told(changes(client, first["next_after"])) == [
        ("species_rule", coast.rule, "deleted", None),
        ("mark", coast.mark, "updated", 3),
    ]
    # Whoever starts now sees each thing once, with its latest change.
    assert told(changes(client))[-2:] == told(changes(client, first["next_after"]))
    assert len(told(changes(client))) == 5


def test_pages_follow_each_other(client):
    make_coast(client)
    seen: list[tuple[str, str, str, int | None]] = []
    after, more = None, True
    while more:
        page = changes(client, after, limit=2)
        assert len(page["items"]) <= 2
        seen, after, more = seen + told(page), page["next_after"], page["more"]
    assert seen == told(changes(client))


def test_what_is_refused_or_unchanged_is_not_listed(client):
    make_coast(client)
    before = changes(client)
    assert client.post("/v1/marks", json=example("create_mark")).status_code == 409
    path = client.get("/v1/marks").json()["items"][0]["id"]
    same = client.put(f"/v1/marks/{path}", json=example("create_mark"), headers={"If-Match": "*"})
    assert same.status_code == 200
    assert changes(client) == before


def test_cursors_of_others_and_from_the_future_are_refused(client):
    make_coast(client)
    problem(client.get("/v1/changes", params={"after": write_place("acc_other", 1)}), 422, "cursor-invalid")
    problem(client.get("/v1/changes", params={"after": "nonsense"}), 422, "cursor-invalid")
    problem(client.get("/v1/changes", params={"after": write_place(LOCAL_ACCOUNT, 10**6)}), 410, "cursor-gone")


def test_writers_at_once_leave_no_gap_and_no_double(house):
    def write(number):
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            unit.note(Change("mark", f"mrk_{number:03d}", CREATED, 1, NOW))
            unit.note(Change("mark", f"mrk_{number:03d}", UPDATED, 2, NOW))
            unit.commit()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(40)))
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        found = unit.changes.page(0, 100)
        assert [one.number for one in found] == list(range(1, 41))
        assert {one.change.thing_id for one in found} == {f"mrk_{number:03d}" for number in range(40)}
        # Made and edited in one unit of work, a thing is new to everybody else.
        assert {(one.change.change, one.change.version) for one in found} == {(CREATED, 2)}


@pytest.mark.sqlite("other databases show no plan of a statement within it")
def test_changes_that_are_replaced_are_looked_up_alone(house):
    plans: list[str] = []

    def explain(connection, _cursor, statement, parameters, *_):
        if statement.startswith("DELETE FROM changes"):
            plans.extend(row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters))

    event.listen(house.store.engine, "before_cursor_execute", explain)
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        for kind, number in (("mark", 1), ("mark", 2), ("trip", 3)):
            unit.note(Change(kind, f"one_{number}", UPDATED, 2, NOW))
        unit.commit()
    event.remove(house.store.engine, "before_cursor_execute", explain)
    assert len(plans) == 2
    assert all("(account_id=? AND kind=? AND thing_id=?)" in plan for plan in plans), plans
