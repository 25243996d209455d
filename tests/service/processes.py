"""The command as a process of its own, and what it answers."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.conftest import ROOT
from tests.postgres.stores import store_variables
from tests.service.coast import gauge_csv

COMMAND = [sys.executable, "-W", "error", "-c", "from service.cli import app; app()"]
HINTS = {"time": "time", "level": "level", "unit": "m", "datum": "unknown"}


def start_command(
    folder: Path, arguments: Sequence[str], port: int, variables: Mapping[str, str]
) -> subprocess.Popen[str]:
    """Start the command with a store and a demo coast in ``folder``."""
    environment = {
        **os.environ, "EBBMARK_AUTH": "open", **store_variables(folder),
        "EBBMARK_PORT": str(port), "EBBMARK_DEMO_DIR": str(folder / "demo"),
        # A line a request would fill the pipe that nobody reads before the end.
        "EBBMARK_LOG_LEVEL": "warning", **variables,
    }  # fmt: skip
    return subprocess.Popen(
        [*COMMAND, *arguments], cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


def free_port() -> int:
    """Return a port that nobody listens at."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def fetch(port: int, path: str, limit_s: float = 60.0) -> Any:
    """Return what a service answers, waiting for it to come up."""
    ends = time.monotonic() + limit_s
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10.0) as response:
                return json.load(response)
        except (ConnectionError, TimeoutError, urllib.error.URLError):
            assert time.monotonic() < ends, "the service does not answer"
            time.sleep(0.05)


def send(port: int, path: str, content: bytes, media_type: str) -> Any:
    """Return what a service answers to a body."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", data=content, headers={"content-type": media_type}
    )
    with urllib.request.urlopen(request, timeout=30.0) as response:
        return json.load(response)


def make_station(port: int) -> str:
    """Make a station without a tide, and return its id."""
    body = json.dumps({"name": "Gauge Point", "latitude": 51.0}).encode()
    return str(send(port, "/v1/stations", body, "application/json")["id"])


def send_record(port: int, station: str, days: int) -> Any:
    """Send a record to be fitted, and return the fit."""
    return send(port, f"/v1/stations/{station}/fits?{urllib.parse.urlencode(HINTS)}", gauge_csv(days), "text/csv")


def await_fetched(port: int, path: str, reached: Any, limit_s: float = 90.0) -> Any:
    """Return what a service answers once it is as it should be."""
    ends = time.monotonic() + limit_s
    while not reached(found := fetch(port, path)):
        assert time.monotonic() < ends, f"it stays as it is: {found}"
        time.sleep(0.05)
    return found
