"""What is logged says who and what, and never a secret, a position or a query."""

from __future__ import annotations

import json
from urllib.parse import urlencode

import pytest

from service.logs import configure_logs, get_log
from tests.postgres.stores import behind
from tests.service.coast import SPAN, example
from tests.service.holders import context_of, keyed_client, make_holder

#: What must not be found in any line: as values of requests, of what is stored, and inside errors.
LATITUDE, LONGITUDE, SECRET = 51.987654, -20.123456, "sesame-open-wide"
PRIVATE = ("51.98", "20.12", SECRET, "limit=7", "tz=", SPAN["start"], "Bearer")


def lines_of(capfd) -> list[dict]:
    return [json.loads(line) for line in capfd.readouterr().err.splitlines()]


@pytest.fixture
def logged(tmp_path):
    with keyed_client(tmp_path, log_level="debug") as client:
        yield client


def test_a_request_is_logged_with_who_made_it(logged, capfd):
    one = make_holder(context_of(logged), "read")
    logged.get("/v1/stations?limit=7", headers={**one.headers, "x-request-id": "tide-0002"})
    (line,) = lines_of(capfd)
    assert line["event"] == "request"
    assert (line["request_id"], line["account_id"], line["key_id"]) == ("tide-0002", one.account_id, one.key_id)
    assert (line["method"], line["status"]) == ("GET", 200)
    assert line["route"].endswith("/stations")
    assert line["ms"] > 0.0
    logged.get("/v1/stations", headers={"authorization": "Bearer sesame"})
    (line,) = lines_of(capfd)
    assert (line["status"], line["account_id"], line["key_id"]) == (401, None, None)


def test_nothing_private_is_logged_whatever_is_asked(logged, capfd, monkeypatch):
    context = context_of(logged)
    one, reader = make_holder(context, "read", "write"), make_holder(context, "read")
    station = {**example("create_station"), "latitude": LATITUDE, "longitude": LONGITUDE, "name": SECRET}
    made = logged.post("/v1/stations", json=station, headers=one.headers)
    assert made.status_code == 201
    mark = {**example("create_mark"), "latitude": LATITUDE, "longitude": LONGITUDE, "notes": SECRET}
    assert logged.post("/v1/marks", json=mark, headers=one.headers).status_code == 201
    place = made.headers["location"]
    query = urlencode({**SPAN, "tz": "Etc/UTC"})
    calls = [
        ("GET", f"{place}/heights?{query}", None, one.headers),
        ("GET", f"/v1/nowhere/{LATITUDE},{LONGITUDE}?key={one.key}", None, one.headers),
        ("GET", f"/v1/stations?near={LATITUDE},{LONGITUDE}&token={SECRET}", None, one.headers),
        ("POST", "/v1/marks", {**mark, "latitude": "x", "external_ref": SECRET, "station": SECRET}, one.headers),
        ("POST", "/v1/stations", {**station, "latitude": 1e6 + LATITUDE}, one.headers),
        ("POST", "/v1/marks", mark, reader.headers),
        ("GET", f"/v1/stations?limit=7&{query}", None, {"authorization": f"Bearer {SECRET}"}),
        (
            "GET",
            "/v1/stations",
            None,
            {"authorization": f"Bearer {one.key[:-1]}{'1' if one.key.endswith('0') else '0'}"},
        ),
        ("GET", "/v1/stations", None, {**one.headers, "x-request-id": one.key, "cookie": SECRET}),
    ]
    statuses = [logged.request(method, path, json=body, headers=head).status_code for method, path, body, head in calls]
    assert statuses == [200, 404, 422, 422, 422, 403, 401, 401, 200]

    def broken(*_arguments, **_options):
        try:
            raise KeyError(f"{LATITUDE} {one.key}")
        except KeyError as error:
            raise RuntimeError(f"position {LATITUDE}, {LONGITUDE}, {SECRET}") from error

    monkeypatch.setattr("service.usecases.heights.heights_at_stations", broken)
    assert logged.get(f"{place}/heights?{query}", headers=one.headers).status_code == 500
    written = capfd.readouterr().err
    lines = [json.loads(line) for line in written.splitlines()]
    assert sum(line["event"] == "request" for line in lines) == len(calls) + 3
    for private in (*PRIVATE, one.key, one.key[15:], reader.key[15:]):
        assert private not in written, private
    (unforeseen,) = [line for line in lines if line["event"] == "unforeseen"]
    assert unforeseen["error"] == "builtins.RuntimeError"
    assert unforeseen["causes"] == ["builtins.KeyError"]
    assert unforeseen["trace"][-1].endswith(" broken")
    assert (unforeseen["key_id"], unforeseen["account_id"]) == (one.key_id, one.account_id)


def test_a_stored_model_that_is_damaged_is_logged_without_what_is_in_it(logged, capfd):
    one = make_holder(context_of(logged), "read", "write")
    made = logged.post("/v1/stations", json=example("create_station"), headers=one.headers)
    context = context_of(logged)
    context.decoded._kept.clear()
    with behind(context.store.engine) as connection:
        damaged = json.dumps({"latitude": LATITUDE, "note": SECRET})
        connection.exec_driver_sql(f"UPDATE station_versions SET document = '{damaged}'")
    place = made.headers["location"]
    assert logged.get(f"{place}/heights", params=SPAN, headers=one.headers).status_code == 500
    written = capfd.readouterr().err
    assert "request_failed" in written
    assert "ModelUnreadable" in written
    for private in PRIVATE:
        assert private not in written


def test_an_answer_that_breaks_off_is_logged_once_and_says_nothing(tmp_path, capfd):
    import anyio

    from service.api.guard import Guard

    async def breaks_off(_scope, _receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise RuntimeError(SECRET)

    with keyed_client(tmp_path, log_level="info") as client:
        guard = Guard(breaks_off, context_of(client))
        scope = {"type": "http", "method": "GET", "path": "/docs", "headers": [], "query_string": b""}

        async def ask():
            async def nothing(*_message):
                return {"type": "http.disconnect"}

            await guard(scope, nothing, nothing)

        with pytest.raises(RuntimeError, match="broke off") as raised:
            anyio.run(ask)
    assert raised.value.__suppress_context__
    written = capfd.readouterr().err
    assert "answer_broke_off" in written
    assert SECRET not in written


@pytest.mark.parametrize("log_format", ["json", "console"])
def test_secrets_and_positions_are_hidden_in_any_line(capfd, log_format):
    configure_logs(log_format, "info")
    key = "ebk_" + "a" * 10 + "_" + "b" * 32
    get_log("tests").info("asked", latitude=51.98, password=SECRET, said=f"with {key}", rows=3)
    try:
        raise ValueError(f"{SECRET} at 51.98")
    except ValueError:
        get_log("tests").exception("broke")
    written = capfd.readouterr().err
    assert "ValueError" in written
    assert "rows" in written
    for private in (*PRIVATE, key, "b" * 32):
        assert private not in written
