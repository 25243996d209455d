"""What the two commands promise: the demo coast is shown and served, and only `make run` opens the door."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from tests.house.tree import ROOT, tracked

OPEN_DOOR = re.compile(r"EBBMARK_AUTH['\"]?\s*[:=]\s*['\"]?open")


def opens(names: list[str]) -> list[str]:
    """Files among ``names`` that set keys aside."""
    return [name for name in names if OPEN_DOOR.search((ROOT / name).read_text("utf-8"))]


def test_the_demo_coast_is_shown_before_it_is_served(demo_server):
    printed = demo_server.printed.read_text()
    assert "Traceback" not in printed
    shown = re.search(r"\bbest\b.*\bwindows\b", printed, re.I)
    assert shown is not None, printed
    assert shown.start() < printed.index(f"serving {demo_server.address}/v1")
    rows = [line for line in printed.splitlines() if re.search(r"\d\d:\d\d", line) and line.count("│") > 5]
    assert len(rows) >= 20
    assert "ot for navigation" in printed


def test_a_busy_port_is_named(demo_server, tmp_path):
    port = demo_server.address.rpartition(":")[2]
    second = subprocess.run(
        [sys.executable, "-c", "from service.cli import app; app()", "serve"],
        env={**os.environ, "EBBMARK_PORT": port, "EBBMARK_STORE": str(tmp_path / "store")},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert second.returncode == 1
    assert f"port {port}" in second.stderr
    assert "EBBMARK_PORT" in second.stderr


def test_only_make_run_drops_keys():
    run = [name for name in tracked() if name == "Makefile" or name.startswith(("docker/", ".ci/", "service/"))]
    assert opens([name for name in run if name != "Makefile" and not name.endswith(".py")]) == []
    assert len(OPEN_DOOR.findall((ROOT / "Makefile").read_text("utf-8"))) == 1


def test_an_open_door_is_seen():
    assert OPEN_DOOR.search("EBBMARK_AUTH: open")
    assert OPEN_DOOR.search('ENV EBBMARK_AUTH="open"')
    assert not OPEN_DOOR.search("EBBMARK_AUTH: keys")
