"""A search of 14 days, one mark, one rule: in process, and over HTTP beside a route that does nothing.

Every new search has a span of its own, seven hours after the one before. Both sides keep what a process keeps: the
blocks of the ephemeris and the opened model; HTTP keeps the marks and rules that it has read, and nothing of the span.
"""

from __future__ import annotations

import http.client
import json
import multiprocessing
import socket
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from statistics import median
from typing import Any

import numpy as np
import uvicorn
from fastapi import Response

import tidecore
from service.app import create_app
from service.settings import Settings
from tests.benchmarks.measure import Report, seconds
from tidecore.safety import Care

_REPETITIONS = 161
STATION: dict[str, Any] = {
    "name": "Invented Roads",
    "latitude": 50.0,
    "model": {
        "convention": "utide",
        "datum": "invented datum",
        "mean_level_m": 3.0,
        "constituents": {
            "M2": {"amplitude_m": 2.0, "phase_deg": 140.0},
            "S2": {"amplitude_m": 0.7, "phase_deg": 190.0},
            "N2": {"amplitude_m": 0.4, "phase_deg": 120.0},
            "K1": {"amplitude_m": 0.1, "phase_deg": 20.0},
            "O1": {"amplitude_m": 0.1, "phase_deg": 350.0},
            "M4": {"amplitude_m": 0.2, "phase_deg": 10.0},
        },
    },
}
MARK = {
    "name": "Invented Strand",
    "latitude": 50.0,
    "longitude": -30.0,
    "time_zone": "Etc/UTC",
    "station": "",
    "kind": "open_beach",
}
RULE = {
    "name": "Invented rule",
    "species": {"scientific_name": "Piscis inventus", "local_name": "invented fish"},
    "require": [
        {
            "factor": "hours_from_lw",
            "shape": {"kind": "trapezoid", "from": -1.0, "full_from": 0.0, "full_to": 3.0, "to": 4.0},
        }
    ],
    "prefer": [
        {"factor": "sun_altitude", "shape": {"kind": "trapezoid", "full_to": 0.0, "to": 8.0}},
        {"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": 0.0, "full_from": 0.3}},
        {"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 1.5, "to": 2.0}},
    ],
    "provenance": "invented",
}


class Client:
    """One kept-alive connection to the service."""

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def call(self, method: str, path: str, body: dict[str, Any] | None = None) -> bytes:
        headers = {"content-type": "application/json"} if body is not None else {}
        self.connection.request(method, path, None if body is None else json.dumps(body), headers)
        answer = self.connection.getresponse()
        content = answer.read()
        assert answer.status < 400, content
        return content


def _in_process() -> Callable[[int], float]:
    """Return a call that searches without HTTP or store and says how long that took [s].

    As the service does it: out of danger, with the hazards of every window.
    """
    lines = STATION["model"]["constituents"]
    model = tidecore.TideModel.from_constituents(
        {name: (one["amplitude_m"], one["phase_deg"]) for name, one in lines.items()},
        latitude=50.0,
        convention="utide",
        mean_level=3.0,
    )
    mark, rule = tidecore.Mark.parse({**MARK, "station": "invented"}), tidecore.SpeciesRule.parse(RULE)
    care = Care()

    def search(repetition: int) -> None:
        timeline = tidecore.build_timeline(mark, model, *_span(repetition))
        for window in tidecore.find_windows(rule, timeline, care=care):
            care.stay(timeline, window.start, window.end)

    return lambda repetition: seconds(partial(search, repetition))


def _serve(folder: str, listener: socket.socket) -> None:
    """Serve a new store, a floor route, and the bare search, all in one process: the machine treats them alike."""
    stored = [b""]
    search = _in_process()
    app = create_app(Settings(auth="open", store=folder, log_level="error"))

    def inside(repetition: int) -> Response:
        return Response(repr(search(repetition)))

    def floor() -> Response:
        return Response(stored[0], media_type="application/json")

    def fill(size: int) -> Response:
        stored[0] = b"x" * size
        return Response()

    app.add_api_route("/v1/inside/{repetition}", inside, methods=["GET"])
    app.add_api_route("/v1/floor", floor, methods=["GET"])
    app.add_api_route("/v1/floor/{size}", fill, methods=["GET"])
    uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False)).run(sockets=[listener])


@contextmanager
def served(store: str | None = None) -> Iterator[Client]:
    """Serve on a free port of this machine from a process of its own, with the threads the service has.

    A new store unless the folder of one is given.
    """
    with tempfile.TemporaryDirectory() as empty, socket.create_server(("127.0.0.1", 0)) as listener:
        folder = empty if store is None else store
        process = multiprocessing.get_context("spawn").Process(target=_serve, args=(folder, listener))
        process.start()
        try:
            client = Client(listener.getsockname()[1])
            client.call("GET", "/v1/health/live")
            yield client
        finally:
            process.terminate()
            process.join()


def _span(repetition: int) -> tuple[np.datetime64, np.datetime64]:
    start = np.datetime64("2026-03-01T00:00") + np.timedelta64(7 * 60 + 3, "m") * repetition
    return start, start + np.timedelta64(14, "D")


def run(report: Report) -> None:
    """Print both medians, what HTTP adds in floors, and how fast the same search is answered again."""
    report.heading("Window search, 14 days, one mark, one rule")
    with served() as client:
        station = json.loads(client.call("POST", "/v1/stations", STATION))
        mark_id = json.loads(client.call("POST", "/v1/marks", {**MARK, "station": station["id"]}))["id"]
        rule_id = json.loads(client.call("POST", "/v1/species-rules", RULE))["id"]

        def search(repetition: int) -> bytes:
            start, end = _span(repetition)
            body = {"start": f"{start}:00Z", "end": f"{end}:00Z", "mark_ids": [mark_id], "rule_ids": [rule_id]}
            return client.call("POST", "/v1/windows/search", body)

        client.call("GET", f"/v1/floor/{len(search(0))}")
        client.call("GET", "/v1/inside/0")
        inside, over_http, floors = [], [], []
        for repetition in range(1, _REPETITIONS):
            inside.append(float(client.call("GET", f"/v1/inside/{repetition}")))
            over_http.append(seconds(partial(search, repetition)))
            floors.append(seconds(lambda: client.call("GET", "/v1/floor")))
        again, beside = [], []
        for _ in range(1, _REPETITIONS):
            again.append(seconds(partial(search, 0)))
            beside.append(seconds(lambda: client.call("GET", "/v1/floor")))
    one, whole, floor = median(inside), median(over_http), median(floors)
    report.add("search, 14 days: in process", one * 1e3, "ms")
    report.add("search, 14 days: over HTTP", whole * 1e3, "ms")
    report.add("search, 14 days: floor route", floor * 1e3, "ms")
    report.add("search, 14 days: over HTTP, in floors", whole / floor, "x")
    # Each difference is of the same span, minutes of drift of the machine apart from the others.
    added = median(http - own for http, own in zip(over_http, inside, strict=True)) / floor
    report.add("search, 14 days: HTTP minus in process, in floors", added, "x", "<= 3", added <= 3.0)
    rate = median(beside) / median(again)
    report.add("search, 14 days: the same again, rate in floors", rate, "x", ">= 0.7", rate >= 0.7)
