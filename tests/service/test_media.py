"""Bodies: what is no document is refused, clearly and never with a 500."""

from __future__ import annotations

import asyncio
import math

import numpy as np
import pytest

from service.api.media import number, numbers, parse_document
from service.errors import BodyTooDeep, DocumentInvalid, RequestUnreadable
from tests.service.coast import example
from tests.service.problems import problem

JSON = {"content-type": "application/json"}
POSTS = ("/v1/stations", "/v1/marks", "/v1/species-rules", "/v1/windows/search")


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize(
    ("body", "status", "slug"),
    [
        (b"", 422, "invalid-request"),
        (b"{", 400, "body-unreadable"),
        (b"not json", 400, "body-unreadable"),
        (b"\xff\xfe{}", 400, "body-unreadable"),
        ('{"name": "\u00e9"}'.encode("latin-1"), 400, "body-unreadable"),
        (b'{"name": NaN}', 400, "body-unreadable"),
        (b'{"latitude": Infinity}', 400, "body-unreadable"),
        (b'{"latitude": 1e999}', 400, "body-unreadable"),
        (b'{"latitude": -1e999}', 400, "body-unreadable"),
        (b'{"name": "\\ud800"}', 400, "body-unreadable"),
        (b'{"name": "a\\u0000b"}', 422, "invalid-input"),
        (b'{"a\\u0000b": 1}', 422, "invalid-input"),
        (b"[" * 33 + b"]" * 33, 400, "body-unreadable"),
        (b"[" * 100_000 + b"]" * 100_000, 400, "body-unreadable"),
        (b'{"a":' * 200 + b"1" + b"}" * 200, 400, "body-unreadable"),
        (b"[]", 422, "invalid-request"),
        (b"null", 422, "invalid-request"),
        (b"7", 422, "invalid-request"),
        (b'"text"', 422, "invalid-request"),
        (b'{"name": ' + b"9" * 400 + b"}", 400, "body-unreadable"),
    ],
    ids=lambda value: repr(value[:24]) if isinstance(value, bytes) else None,
)
def test_a_bad_body_is_refused(coastal, path, body, status, slug):
    client, _ = coastal
    problem(client.post(path, content=body, headers=JSON), status, slug)


@pytest.mark.parametrize("path", POSTS)
def test_a_huge_body_is_refused(coastal, path):
    client, _ = coastal
    found = problem(client.post(path, content=b" " * (1024 * 1024 + 1), headers=JSON), 413, "body-too-large")
    assert found["limit"] == 1024 * 1024
    assert found["setting"] == "EBBMARK_MAX_BODY_BYTES"


def test_a_huge_body_without_a_length_is_refused(coastal):
    client, _ = coastal
    chunks = (b" " * 65536 for _ in range(20))
    problem(client.post("/v1/stations", content=chunks, headers=JSON), 413, "body-too-large")


@pytest.mark.parametrize("given", ["text/plain", "application/xml", "application/x-www-form-urlencoded", "json", ""])
def test_another_content_type_is_refused(coastal, given):
    client, _ = coastal
    found = problem(
        client.post("/v1/stations", content=b"{}", headers={"content-type": given}), 415, "media-not-supported"
    )
    assert found["accepted"] == ["application/json"]


def test_a_charset_is_taken(coastal):
    client, _ = coastal
    response = client.post("/v1/stations", content=b"{}", headers={"content-type": "application/json; charset=utf-8"})
    problem(response, 422, "invalid-request", "name", "latitude")


@pytest.mark.parametrize("path", POSTS)
def test_an_unknown_field_is_refused(coastal, path):
    client, _ = coastal
    names = {"stations": "create_station", "marks": "create_mark", "species-rules": "create_species_rule"}
    body = example(names.get(path.split("/")[2], "search_windows"))
    body.pop("external_ref", None)
    problem(client.post(path, json={**body, "colour": "green"}), 422, "invalid-request", "colour")


def test_a_document_is_read():
    assert parse_document(b'{"a": [1, 2.5, "\\u00e9\\ud83d\\udc1f"]}', 3) == {"a": [1, 2.5, "\u00e9\U0001f41f"]}


def test_depth_is_counted():
    assert parse_document(b"[[1]]", 2) == [[1]]
    with pytest.raises(BodyTooDeep):
        parse_document(b"[[[1]]]", 2)


def test_a_fault_names_its_place():
    with pytest.raises(DocumentInvalid) as caught:
        parse_document(b'{"a": [0, {"b": "\\u0000"}]}', 9)
    assert caught.value.faults[0].field == "body.a.1.b"


def test_what_is_cut_off_says_where():
    with pytest.raises(RequestUnreadable, match="byte"):
        parse_document(b'{"a": [1, ', 9)


def test_numbers_are_rounded_and_unknown_is_null():
    assert numbers(np.array([1.23456, -0.0001, np.nan]), 3) == [1.235, 0.0, None]
    assert [str(value) for value in numbers(np.array([-0.0, -1e-9]), 3)] == ["0.0", "0.0"]
    assert number(None, 3) is number(math.nan, 3) is None
    assert number(2.00049, 3) == 2.0
    assert str(number(-1e-9, 3)) == "0.0"


def test_an_infinity_is_never_published():
    with pytest.raises(ValueError, match="infinity"):
        numbers(np.array([1.0, np.inf]), 3)
    with pytest.raises(ValueError, match="infinity"):
        number(-math.inf, 3)


def test_a_broken_off_body_leaves_nothing_behind(serve, tmp_path):
    client = serve()
    station = client.post("/v1/stations", json={"name": "Hollow Point", "latitude": 51.0}).json()["id"]
    sent: list[int] = []

    async def receive():
        if sent:
            return {"type": "http.disconnect"}
        sent.append(1)
        return {"type": "http.request", "body": b"time,level\n", "more_body": True}

    async def send(_message):
        sent.append(2)

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "scheme": "http",
        "path": f"/v1/stations/{station}/fits", "raw_path": b"", "query_string": b"", "root_path": "",
        "headers": [(b"host", b"localhost"), (b"content-type", b"text/csv")], "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8321), "state": {},
    }  # fmt: skip
    asyncio.run(client.app(scope, receive, send))
    assert list((tmp_path / "store" / "uploads").iterdir()) == []
    assert client.get(f"/v1/stations/{station}/fits").json()["items"] == []


@pytest.mark.parametrize("value", [0.2325, -0.2325, 1.0005, 2.5, 0.0005, 1e-9, -0.0, 12345.6785])
@pytest.mark.parametrize("decimals", [0, 1, 3, 4])
def test_one_value_is_rounded_as_it_is_in_a_list(value, decimals):
    (listed,) = numbers([value], decimals)
    assert number(value, decimals) == listed
    assert str(number(value, decimals)) == str(listed)


@pytest.mark.parametrize("value", [1e300, -1e308, 2.0**60])
def test_a_number_too_large_for_decimals_is_told_as_it_is(value):
    assert number(value, 4) == value
