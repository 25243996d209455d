"""The compose files: what they set is a setting, what they run is a command, what they mount is there."""

from __future__ import annotations

import re

import pytest
import yaml

from service.settings import Settings
from tests.conftest import ROOT

FILES = sorted((ROOT / "docker").glob("compose*.yaml"))
SETTINGS = {f"EBBMARK_{name.upper()}" for name in Settings.model_fields}
#: Words that a server of the database is told by, none of the service's.
OF_THE_DATABASE = {"EBBMARK_ADMIN_PASSWORD", "EBBMARK_OWNER_PASSWORD", "EBBMARK_APP_PASSWORD"}


def test_there_is_one_for_each_store():
    assert [path.name for path in FILES] == ["compose.postgres.yaml", "compose.yaml"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_what_is_set_is_a_setting(path):
    named = set(re.findall(r"EBBMARK_[A-Z_]+", path.read_text()))
    assert named <= SETTINGS | OF_THE_DATABASE


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_services_are_shut_in_and_only_this_machine_reaches_them(path):
    services = yaml.safe_load(path.read_text())["services"]
    ours = {name: one for name, one in services.items() if one.get("image") == "ebbmark"}
    assert "api" in ours
    for name, one in ours.items():
        assert one["read_only"] is True, name
        assert one["cap_drop"] == ["ALL"], name
    for one in services.values():
        assert all(port.startswith("127.0.0.1:") for port in one.get("ports", []))
        for volume in one.get("volumes", []):
            if volume.startswith("."):
                assert (path.parent / volume.partition(":")[0]).is_file(), volume


def test_only_the_upgrade_owns_the_tables():
    services = yaml.safe_load((ROOT / "docker" / "compose.postgres.yaml").read_text())["services"]
    owners = [name for name, one in services.items() if "EBBMARK_STORE_OWNER" in one.get("environment", {})]
    assert owners == ["upgrade"]
    assert services["upgrade"]["command"] == ["ebbmark", "db", "upgrade"]
    assert services["worker"]["command"] == ["ebbmark", "worker"]
    assert services["api"]["environment"]["EBBMARK_WORKERS"] == "0"
