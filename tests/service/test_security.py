"""Open mode answers this machine alone."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from service.errors import NotLocal
from service.security import check_local, is_local_host, is_loopback
from tests.service.coast import PEER, URL
from tests.service.problems import problem

LOCAL = [(b"host", b"localhost:8321")]


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.9.1", "::1", "::ffff:127.0.0.1", "::1%lo"])
def test_loopback_addresses_are_known(address):
    assert is_loopback(address)


@pytest.mark.parametrize("address", ["10.0.0.1", "::ffff:10.0.0.1", "fe80::1", "testclient", "", "0.0.0.0", "::"])
def test_other_addresses_are_not(address):
    assert not is_loopback(address)


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8321", "127.0.0.1:1", "[::1]:8321", "[::1]", "localhost."])
def test_local_hosts_are_known(host):
    assert is_local_host(host)


@pytest.mark.parametrize(
    "host",
    ["", "shore.example", "localhost.shore.example", "me@localhost", "localhost/x", "localhost:x", "[::1", "10.0.0.1",
     "localhost?x", "localhost#x", "localhost:99999"],
)  # fmt: skip
def test_other_hosts_are_not(host):
    assert not is_local_host(host)


def test_a_local_request_passes():
    check_local("127.0.0.1", LOCAL)
    check_local("::1", [*LOCAL, (b"origin", b"http://localhost:3000"), (b"accept", b"*/*")])


@pytest.mark.parametrize("peer", [None, "192.0.2.7", "testclient"])
def test_another_machine_is_refused(peer):
    with pytest.raises(NotLocal, match="another machine"):
        check_local(peer, LOCAL)


@pytest.mark.parametrize(
    "headers",
    [
        [],
        [(b"host", b"shore.example")],
        [*LOCAL, (b"host", b"shore.example")],
        [*LOCAL, (b"host", b"localhost")],
        [*LOCAL, (b"origin", b"https://shore.example")],
        [*LOCAL, (b"origin", b"null")],
        [*LOCAL, (b"forwarded", b"for=127.0.0.1")],
        [*LOCAL, (b"x-forwarded-for", b"127.0.0.1")],
        [*LOCAL, (b"X-Forwarded-Anything", b"")],
        [*LOCAL, (b"x-real-ip", b"127.0.0.1")],
        [*LOCAL, (b"via", b"1.1 gate")],
    ],
)
def test_headers_of_other_places_are_refused(headers):
    with pytest.raises(NotLocal):
        check_local("127.0.0.1", headers)


@pytest.mark.parametrize("path", ["/v1/stations", "/v1/health/live", "/openapi.json", "/docs", "/nowhere"])
@pytest.mark.parametrize(
    "headers",
    [
        {"host": "shore.example"},
        {"x-forwarded-for": "127.0.0.1"},
        {"via": "1.1 gate"},
        {"origin": "http://shore.example"},
    ],
)
def test_the_whole_service_is_guarded(coastal, path, headers):
    client, _ = coastal
    found = problem(client.get(path, headers=headers), 403, "not-local")
    assert "EBBMARK_AUTH=open" in found["detail"]


def test_a_peer_from_elsewhere_gets_nothing(serve):
    app = serve().app
    stranger = TestClient(app, base_url=URL, client=("192.0.2.7", 1))
    problem(stranger.get("/v1/stations"), 403, "not-local")
    assert TestClient(app, base_url=URL, client=PEER).get("/v1/stations").status_code == 200


def test_keys_are_asked_for_unless_said_otherwise(monkeypatch):
    from service.settings import Settings

    assert Settings().auth == "keys"
    monkeypatch.setenv("EBBMARK_AUTH", "open")
    assert Settings().auth == "open"


def test_open_mode_asks_for_no_key_and_believes_none(coastal):
    client, _ = coastal
    for value in ("Bearer sesame", "Basic c2VzYW1l"):
        assert client.get("/v1/stations", headers={"authorization": value}).status_code == 200
