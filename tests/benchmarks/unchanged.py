"""Answers that say that nothing has changed, over HTTP, beside a route that returns stored bytes of the same size."""

from __future__ import annotations

import json
from functools import partial
from statistics import median

from tests.benchmarks.measure import Report, seconds
from tests.benchmarks.search import STATION, Client, served

_REPETITIONS = 400


def _read(client: Client, path: str, headers: dict[str, str]) -> tuple[int, str | None]:
    client.connection.request("GET", path, None, headers)
    answer = client.connection.getresponse()
    answer.read()
    return answer.status, answer.getheader("etag")


def run(report: Report) -> None:
    """Print the rates of 304 in those of the floor: remembered, and with the inputs read again."""
    report.heading("304 Not Modified, heights of a day")
    with served() as client:
        station = json.loads(client.call("POST", "/v1/stations", STATION))["id"]
        path = f"/v1/stations/{station}/heights?start=2026-06-01T00:00Z&end=2026-06-02T00:00Z"
        tag = {"if-none-match": _read(client, path, {})[1] or ""}
        client.call("GET", "/v1/floor/0")
        remembered, read_again, floors = [], [], []
        for repetition in range(_REPETITIONS):
            # Another spelling of the same wish is another question, whose inputs have to be read.
            spelt = {**tag, "accept": f"application/json, x/x{repetition}"}
            assert _read(client, path, tag)[0] == 304
            remembered.append(seconds(partial(_read, client, path, tag)))
            read_again.append(seconds(partial(_read, client, path, spelt)))
            floors.append(seconds(lambda: client.call("GET", "/v1/floor")))
    floor = median(floors)
    report.add("304: floor route", floor * 1e3, "ms")
    rate = floor / median(remembered)
    report.add("304: rate, in floors", rate, "x", ">= 0.9", rate >= 0.9)
    report.add("304: rate with the inputs read again, in floors", floor / median(read_again), "x")
