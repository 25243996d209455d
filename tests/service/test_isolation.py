"""Another account's ids are as good as ids that do not exist: every operation of the contract, walked through.

The walk is made from the contract, so that an operation added later is walked too.
"""

from __future__ import annotations

import json
from typing import Any, NamedTuple

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from service.storage.tables import Table
from tests.service.coast import example
from tests.service.holders import Holder, context_of, keyed_client, make_holder
from tests.service.walk import Things, absent_id, example_of, make_things, operations, parameters, probes, send

#: Ids of what goes with a mark.
OF_A_MARK = ("note_id", "condition_id", "warning_id", "trip_id", "diary_row_id")


class Shore(NamedTuple):
    """Two accounts with a coast each, and the contract."""

    client: TestClient
    contract: dict[str, Any]
    one: Holder
    ones: Things
    other: Holder
    others: Things


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    with keyed_client(tmp_path_factory.mktemp("shore")) as client:
        context = context_of(client)
        one, other = make_holder(context, "admin"), make_holder(context, "admin")
        contract = client.get("/openapi.json").json()
        yield Shore(client, contract, one, make_things(client, one), other, make_things(client, other))


def rows(client: TestClient) -> dict[str, list[str]]:
    """Everything in the store."""
    with context_of(client).store.engine.connect() as connection:
        return {
            table.name: sorted(str(tuple(row)) for row in connection.execute(select(table)))
            for table in Table.metadata.sorted_tables
        }


def told(response: Any, probed: str) -> tuple[int, dict[str, Any], dict[str, str]]:
    """What an answer tells: all of it but the id that was asked for, the request's own id, and the time."""
    document = json.loads(response.text.replace(probed, "(id)"))
    assert document.pop("request_id", None), f"{response.request.method} {response.request.url}: {response.text[:300]}"
    headers = {name: value for name, value in response.headers.items() if name not in ("x-request-id", "date")}
    return response.status_code, document, headers


def test_ids_of_another_account_are_answered_like_ids_that_do_not_exist(shore):
    before, walked = rows(shore.client), 0
    for probe in probes(shore.contract):
        for caller, own, foreign in (
            (shore.other, shore.others, shore.ones[probe.kind]),
            (shore.one, shore.ones, shore.others[probe.kind]),
        ):
            absent = absent_id(foreign)
            answers = [
                told(send(shore.client, shore.contract, probe, caller, own, probed), probed)
                for probed in (foreign, absent)
            ]
            assert answers[0] == answers[1], str(probe)
            status, document, _ = answers[0]
            assert status == 404 or (probe.where == "body" and status == 422), (str(probe), document)
            assert "(id)" in document["detail"], str(probe)
            walked += 1
    assert walked >= 2 * len({probe.operation["operationId"] for probe in probes(shore.contract)}) > 20
    assert rows(shore.client) == before


def test_lists_hold_nothing_of_another_account(shore):
    theirs, walked = set(shore.ones.values()), 0
    places = {(probe.method, probe.path) for probe in probes(shore.contract)}
    for method, path, operation in operations(shore.contract):
        if method != "get" or (method, path) in places or not operation["security"]:
            continue
        required = {one["name"]: example_of(one) for one in parameters(operation, "query") if one.get("required")}
        paged = any(one["name"] == "cursor" for one in parameters(operation, "query"))
        asked = [required]
        if paged:
            first = shore.client.get(path, params={"limit": 1}, headers=shore.one.headers)
            assert any(one in first.text for one in shore.ones.values()) or first.json()["items"], path
            cursor = first.json()["next_cursor"]
            asked += [{"cursor": cursor}] if cursor else []
        for query in asked:
            response = shore.client.get(path, params=query, headers=shore.other.headers)
            assert response.status_code == 200, (path, response.text)
            assert not [one for one in theirs if one in response.text], path
            walked += 1
    assert walked > 5


def test_external_references_are_an_accounts_own(shore):
    """Both accounts use the same ones, and each finds its own thing by them."""
    body = {"name": "Far ledge", "latitude": 51.2, "longitude": -20.3, "time_zone": "Etc/UTC", "kind": "rock_ledge",
            "station": "pellwick-roads"}  # fmt: skip
    for holder, things in ((shore.one, shore.ones), (shore.other, shore.others)):
        made = shore.client.post("/v1/marks", json=body, headers=holder.headers)
        assert made.json()["station_id"] == things["station"], made.text


def test_a_trip_is_not_logged_at_a_mark_of_another_account(shore):
    """The walk looks at fields of a body; this one stands deeper."""
    for path, body in (
        ("/v1/trips", {"trip": {**example("create_trip")["trip"], "mark": shore.others["mark"]}}),
        ("/v1/diary-rows", {**example("create_diary_row"), "mark": shore.others["mark"]}),
    ):
        sent = shore.client.post(path, json={**body, "external_ref": None}, headers=shore.one.headers)
        assert sent.status_code == 422, sent.text
        assert "there is no mark" in sent.json()["detail"]


def test_a_parameter_without_a_maker_is_seen(shore):
    sample = json.loads(json.dumps(shore.contract))
    operation = {"operationId": "get_log", "parameters": [{"name": "boat_id", "in": "path", "required": True}]}
    sample["paths"]["/v1/boats/{boat_id}"] = {"get": operation}
    with pytest.raises(LookupError, match="boat_id"):
        list(probes(sample))
    sample["paths"]["/v1/boats/{boat_id}"] = {"get": {"parameters": [{"name": "boat_id", "in": "query"}]}}
    with pytest.raises(LookupError, match="boat_id in the query"):
        list(probes(sample))


def test_what_is_another_accounts_can_be_reached_by_who_has_it(shore):
    """Without this the walk above might refuse what nobody could ask for. The last test: it changes and deletes."""

    # What goes with a mark is deleted before the mark, and what is part of a thing before that.
    def last(one):
        gone = one.method == "delete"
        return gone, one.name not in OF_A_MARK, -one.path.count("/") if gone else 0

    for probe in sorted(probes(shore.contract), key=last):
        response = send(shore.client, shore.contract, probe, shore.one, shore.ones, shore.ones[probe.kind])
        assert response.status_code not in (401, 403, 404), str(probe)
        assert response.status_code < 300 or response.status_code in (409, 412), (str(probe), response.text)
