"""An invented coast to ask about, and a gauge record made from its tide."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from starlette.testclient import TestClient

from tests.conftest import ROOT

EXAMPLES = ROOT / "openapi" / "examples"

#: Client peer and base URL of a request from this machine.
PEER = ("127.0.0.1", 50000)
URL = "http://localhost:8321"

SPAN = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-02T00:00:00Z"}


def example(name: str) -> dict[str, Any]:
    """Return a committed request example."""
    found: dict[str, Any] = json.loads(_example_text(name))
    return found


@cache
def _example_text(name: str) -> str:
    return (EXAMPLES / f"{name}.json").read_text()


@dataclass(frozen=True)
class Coast:
    """Ids of what stands in the store."""

    station: str
    bare_station: str
    mark: str
    bare_mark: str
    rule: str


def make_coast(client: TestClient) -> Coast:
    """Make two stations, one without a tide, a mark at each, and a rule."""
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    bare = client.post("/v1/stations", json={"name": "Hollow Point", "latitude": 51.0}).json()["id"]
    mark = client.post("/v1/marks", json=example("create_mark")).json()["id"]
    bare_mark = {**example("create_mark"), "station": bare, "external_ref": "hollow-ledge", "slack_lags": None}
    rule = client.post("/v1/species-rules", json=example("create_species_rule")).json()["id"]
    return Coast(station, bare, mark, client.post("/v1/marks", json=bare_mark).json()["id"], rule)


def gauge_csv(days: int = 40, level: float | None = None) -> bytes:
    """Return an hourly gauge record of an invented M2 and S2 with a little seeded noise, or of one ``level``."""
    times = np.datetime64("2025-01-01T00", "h") + np.arange(days * 24)
    hours = np.arange(times.size)
    tide = 3.0 + 2.0 * np.cos(2 * np.pi * hours / 12.4206012) + 0.7 * np.cos(2 * np.pi * hours / 12.0)
    noisy = tide + np.random.default_rng(20250101).normal(0.0, 0.02, times.size)
    levels = noisy if level is None else np.full(times.size, level)
    rows = (f"{time}:00Z,{value:.3f}\n" for time, value in zip(times.astype(str), levels, strict=True))
    return ("time,level\n" + "".join(rows)).encode()
