"""Bodies that nobody should send, to every operation that takes a document; and cursors of another account."""

from __future__ import annotations

import json
import re

import pytest

from tests.conftest import ROOT
from tests.service.coast import gauge_csv, make_coast
from tests.service.holders import context_of, keyed_client, make_holder
from tests.service.problems import problem
from tests.service.processes import HINTS
from tests.service.walk import body_schema, operations

CONTRACT = json.loads((ROOT / "openapi" / "v1.json").read_text())
#: Files of rows and gauge records may be JSON among others: bad ones are in the tests of imports and of readers.
READ_WHOLE = {"application/json", "application/merge-patch+json"}
DOCUMENTS = [
    (method, path)
    for method, path, one in operations(CONTRACT)
    if body_schema(CONTRACT, one) and READ_WHOLE >= set(one["requestBody"]["content"])
]
MEGABYTE = 1024 * 1024


def bodies():
    """Every bad body, and the problem it is."""
    yield "10 MB", b'{"name": "' + b"x" * (10 * MEGABYTE) + b'"}', 413, "body-too-large"
    yield "10 MB of blanks", b" " * (10 * MEGABYTE), 413, "body-too-large"
    yield "a number of 900 kB", b'{"a": ' + b"9" * 900_000 + b"}", 400, "body-unreadable"
    yield "deep lists", b"[" * 400_000 + b"]" * 400_000, 400, "body-unreadable"
    yield "deep objects", b'{"a":' * 150_000 + b"1" + b"}" * 150_000, 400, "body-unreadable"
    yield "deeper than is taken", b'{"a":' * 33 + b"1" + b"}" * 33, 400, "body-unreadable"
    yield "cut off", b'{"name": "x', 400, "body-unreadable"
    yield "NUL in a value", b'{"name": "a\\u0000b"}', 422, "invalid-input"
    yield "NUL in a name", b'{"a\\u0000b": 1}', 422, "invalid-input"
    yield "a bare NUL", b'{"name": "a\x00b"}', 400, "body-unreadable"
    yield "a lone high surrogate", b'{"name": "\\ud800"}', 400, "body-unreadable"
    yield "a lone low surrogate", b'{"name": "\\udfff x"}', 400, "body-unreadable"
    yield "a surrogate in UTF-8", b'{"name": "\xed\xa0\x80"}', 400, "body-unreadable"
    yield "NaN", b'{"latitude": NaN}', 400, "body-unreadable"
    yield "infinity", b'{"latitude": -Infinity}', 400, "body-unreadable"
    yield "1e999", b'{"latitude": 1e999}', 400, "body-unreadable"


def test_there_are_operations_that_take_documents():
    assert len(DOCUMENTS) >= 13


@pytest.mark.parametrize(("body", "status", "slug"), [pytest.param(*one, id=name) for name, *one in bodies()])
def test_a_bad_body_is_refused_by_every_operation(coastal, body, status, slug):
    client, _ = coastal
    for method, path in DOCUMENTS:
        asked = re.sub(r"\{\w+\}", "x_0123456789", path)
        if any(one["name"] == "external_ref" for one in CONTRACT["paths"][path][method].get("parameters", [])):
            asked += "?external_ref=x"
        kind = "application/merge-patch+json" if method == "patch" else "application/json"
        headers = {"Content-Type": kind, "If-Match": "*"}
        found = problem(client.request(method, asked, content=body, headers=headers), status, slug)
        assert len(found["detail"]) < 500


@pytest.mark.parametrize("number", ["NaN", "1e999", "-1e999", "inf", "9" * 400])
@pytest.mark.parametrize("name", ["after_hw_min", "after_lw_min"])
def test_a_number_of_a_query_is_finite(coastal, name, number):
    client, coast = coastal
    query = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-01T01:00:00Z", name: number}
    refused = client.get(f"/v1/stations/{coast.station}/flow", params=query)
    assert refused.status_code == 422, refused.text
    assert name in {fault["field"] for fault in refused.json()["errors"]}


def test_a_cursor_of_another_account_shows_nothing_of_it(tmp_path):
    with keyed_client(tmp_path, workers=0) as client:
        context = context_of(client)
        one, other = make_holder(context, "admin"), make_holder(context, "admin")
        for holder in (one, other):
            client.headers.update(holder.headers)
            station = make_coast(client).bare_station
            for days in (30, 31):
                sent = client.post(f"/v1/stations/{station}/fits", params=HINTS, content=gauge_csv(days))
                assert sent.status_code == 202, sent.text
        walked = 0
        for path in ("/v1/stations", "/v1/marks", "/v1/species-rules", "/v1/jobs"):
            mine = {item["id"] for item in client.get(path, headers=one.headers).json()["items"]}
            page = client.get(path, params={"limit": 1}, headers=one.headers).json()
            if page["next_cursor"] is None:
                continue
            walked += 1
            asked = {"cursor": page["next_cursor"], "limit": 500}
            theirs = client.get(path, params=asked, headers=other.headers)
            assert theirs.status_code == 200
            assert mine & {item["id"] for item in theirs.json()["items"]} == set()
        assert walked >= 3
        place = client.get("/v1/changes", headers=one.headers).json()["next_after"]
        problem(client.get("/v1/changes", params={"after": place}, headers=other.headers), 422, "cursor-invalid")
