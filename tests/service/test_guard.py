"""What every answer carries: an id, safe headers, HEAD, the right Allow."""

from __future__ import annotations

import re

import pytest

from tests.service.coast import SPAN
from tests.service.problems import problem


def test_an_id_is_made_or_taken_over(coastal):
    client, _ = coastal
    made = client.get("/v1/health/live").headers["x-request-id"]
    assert len(made) == 16
    assert client.get("/v1/health/live").headers["x-request-id"] != made
    given = client.get("/v1/health/live", headers={"x-request-id": "tide-0001"})
    assert given.headers["x-request-id"] == "tide-0001"
    strange = client.get("/v1/health/live", headers={"x-request-id": "a b\tc"})
    assert strange.headers["x-request-id"] != "a b\tc"


def test_answers_carry_safe_headers(coastal):
    client, _ = coastal
    headers = client.get("/v1/stations").headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "private, no-cache"
    assert "server" not in headers


@pytest.mark.parametrize("path", ["/v1/stations", "/v1/factors", "/v1/health/live", "/openapi.json", "/docs"])
def test_head_is_get_without_the_body(coastal, path):
    client, _ = coastal
    got, head = client.get(path), client.head(path)
    assert head.status_code == got.status_code == 200
    assert head.content == b""
    assert head.headers["content-length"] == str(len(got.content))
    assert head.headers["content-type"] == got.headers["content-type"]


def test_head_of_what_is_not_there_is_404_without_a_body(coastal):
    client, _ = coastal
    response = client.head("/v1/stations/stn_0")
    assert response.status_code == 404
    assert response.content == b""


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("PATCH", "/v1/stations", "GET, HEAD, POST, PUT"),
        ("DELETE", "/v1/stations", "GET, HEAD, POST, PUT"),
        ("POST", "/v1/stations/stn_0", "DELETE, GET, HEAD, PATCH, PUT"),
        ("POST", "/v1/factors", "GET, HEAD"),
        ("GET", "/v1/windows/search", "POST"),
        ("HEAD", "/v1/windows/search", "POST"),
        ("OPTIONS", "/v1/fits/fit_0/adopt", "POST"),
        ("TRACE", "/v1/health/live", "GET, HEAD"),
        ("POST", "/docs", "GET, HEAD"),
    ],
)
def test_allow_lists_every_method_of_the_path(coastal, method, path, allowed):
    client, _ = coastal
    response = client.request(method, path)
    assert response.status_code == 405
    assert response.headers["allow"] == allowed
    if method != "HEAD":
        problem(response, 405, "method-not-allowed")


@pytest.mark.parametrize("path", ["/shore", "/v1", "/v1/", "/v2/stations", "/v1/stations/", "/v1/nowhere", "/v1/%00"])
def test_an_unknown_path_is_a_problem(coastal, path):
    client, _ = coastal
    problem(client.get(path), 404, "not-found")


@pytest.mark.parametrize("path", ["/v1/stations", "/v1/factors", "/v1/health/ready", "/v1/stations/stn_0"])
def test_an_unknown_query_parameter_is_refused(coastal, path):
    client, _ = coastal
    found = problem(client.get(path, params={"stpe": "5min"}), 422, "invalid-input", "stpe")
    assert "no query parameter" in found["detail"]


def test_an_unforeseen_error_is_a_problem_that_gives_nothing_away(coastal, monkeypatch):
    client, coast = coastal
    secret = "the inside of it"

    def broken(*_args, **_kwargs):
        raise RuntimeError(secret)

    monkeypatch.setattr("service.usecases.heights.heights_at_stations", broken)
    response = client.get(f"/v1/stations/{coast.station}/heights", params=SPAN)
    problem(response, 500, "internal")
    assert secret not in response.text


def test_log_lines_hold_an_id_and_no_positions(serve, capfd):
    client = serve(log_level="info")
    client.get("/v1/stations?limit=7", headers={"x-request-id": "tide-0002", "authorization": "Bearer abc"})
    from service.logs import get_log

    get_log("tests").info("asked", latitude=51.5, password="sesame", rows=3)
    written = capfd.readouterr().err
    assert '"request_id": "tide-0002"' in written
    assert '"status": 200' in written
    assert '"rows": 3' in written
    for hidden in ("limit=7", "Bearer", "51.5", "sesame"):
        assert hidden not in written


def test_the_page_of_sessions_is_served_whole_and_runs_nothing_but_its_own(coastal):
    client, _ = coastal
    page = client.get("/")
    assert (page.status_code, page.headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert "script-src 'self'" in page.headers["content-security-policy"]
    assert "unsafe" not in page.headers["content-security-policy"]
    found = re.findall(r'(?:src|href)="(/shore/[^"]+)"', page.text)
    assert len(found) == 3
    for path in [*found, "/shore/curve.js"]:
        assert client.get(path).status_code == 200, path
    assert re.search(r"https?://", page.text) is None
    assert "Not for navigation" in page.text
