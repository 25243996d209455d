"""The demo coast, started as a user starts it: what it prints, and how it answers the calls of README.md."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

import pytest

from tests.house.examples import blocks, readme, run_shell


def test_the_demo_coast_is_shown_while_it_is_served(demo_server):
    printed = demo_server.printed.read_text()
    assert "Traceback" not in printed
    shown = re.search(r"\bbest\b.*\bwindows\b", printed, re.I)
    assert shown is not None, printed
    rows = [line for line in printed.splitlines() if re.search(r"\d\d:\d\d", line) and line.count("│") > 5]
    assert len(rows) >= 5
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


def test_the_calls_of_the_readme_are_answered(reader, demo_server):
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed; the calls in README.md are made with it")
    assert any(block.run and "curl" in block.code for block in blocks(readme()))
    ran = run_shell(readme(), reader, demo_server.address)
    assert ran.returncode == 0, ran.stdout + ran.stderr
