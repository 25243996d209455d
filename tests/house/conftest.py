"""A server of the demo coast, started as a user starts it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.house.tree import ROOT

#: Longest the demo coast may take to be loaded, searched and served on a busy machine [s].
PATIENCE_S = 300.0


class DemoServer(NamedTuple):
    """A running server: where it answers, and the file with what it has printed."""

    address: str
    printed: Path


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port: int = listener.getsockname()[1]
        return port


def ready(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/v1/health/ready", timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, TimeoutError, ConnectionError):
        return False


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory):
    """``ebbmark serve --demo`` in open mode with a new store, as `make run` starts it."""
    folder = tmp_path_factory.mktemp("demo")
    port = free_port()
    environment = {
        **os.environ,
        "EBBMARK_AUTH": "open",
        "EBBMARK_STORE": str(folder / "store"),
        "EBBMARK_PORT": str(port),
        "COLUMNS": "200",
        "PYTHONUNBUFFERED": "1",
    }
    command = shutil.which("ebbmark", path=str(Path(sys.executable).parent))
    assert command is not None, "the command ebbmark is not installed beside this Python"
    printed = folder / "printed.txt"
    with printed.open("w") as output:
        server = subprocess.Popen(
            [command, "serve", "--demo"], env=environment, cwd=folder, stdout=output, stderr=output
        )
    try:
        address = f"http://127.0.0.1:{port}"
        patience = time.monotonic() + PATIENCE_S
        while not (ready(address) and f"serving {address}" in printed.read_text()):
            assert server.poll() is None, printed.read_text()
            assert time.monotonic() < patience, printed.read_text()
            time.sleep(0.1)
        yield DemoServer(address, printed)
    finally:
        server.terminate()
        server.wait(30)


@pytest.fixture
def reader(tmp_path):
    """A folder that looks like a fresh checkout and may be written to."""
    for name in ("demo_stations", "openapi"):
        (tmp_path / name).symlink_to(ROOT / name)
    return tmp_path
