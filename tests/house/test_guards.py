"""What a test run is kept from: the network, other people's settings, chance, warnings nobody reads."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import warnings

import hypothesis
import pytest
import pytest_socket

from tests.conftest import PASSED_ON
from tests.house.tree import ROOT

TEST_NET = ("192.0.2.1", 80)
PROBE = """
import os

def test_settings():
    assert {name for name in os.environ if name.startswith("EBBMARK_")} == {"EBBMARK_OPEN_DATA"}
"""


def test_the_network_is_out_of_reach():
    blocked = (pytest_socket.SocketConnectBlockedError, UserWarning)  # the guard warns as well, which is an error here
    with socket.socket() as caller, pytest.raises(blocked, match=r"allowed: .*127\.0\.0\.1"):
        caller.connect(TEST_NET)


def test_loopback_is_in_reach():
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()) as caller:
        assert caller.getpeername() == server.getsockname()


def test_settings_of_whoever_starts_the_run_are_forgotten(tmp_path):
    assert {name for name in os.environ if name.startswith("EBBMARK_")} <= PASSED_ON
    given = {"EBBMARK_PORT": "1", "EBBMARK_AUTH": "open", "EBBMARK_OPEN_DATA": "here"}
    (tmp_path / "conftest.py").write_text((ROOT / "tests" / "conftest.py").read_text("utf-8"), encoding="utf-8")
    (tmp_path / "test_probe.py").write_text(PROBE, encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", os.devnull, str(tmp_path)],
        cwd=tmp_path,
        env={**os.environ, **given, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "1 passed" in ran.stdout, ran.stdout


def test_chance_is_the_same_in_every_run():
    assert hypothesis.settings().derandomize
    assert hypothesis.settings().database is None


def test_a_warning_is_an_error():
    with pytest.raises(UserWarning, match="falling glass"):
        warnings.warn("falling glass", stacklevel=1)
