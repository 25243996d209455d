"""Accounts and keys on the command line, as a person and as a script use them."""

from __future__ import annotations

import json
import os
import subprocess
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from service.cli import app
from service.cli.keys import read_expiry
from service.errors import DocumentInvalid
from service.usecases.keys import NO_KEY
from tests.conftest import ROOT
from tests.postgres.stores import store_variables
from tests.service.processes import COMMAND, free_port

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path, monkeypatch):
    for name, value in store_variables(tmp_path).items():
        monkeypatch.setenv(name, value)


def invoke(*arguments: str, code: int = 0):
    result = CliRunner().invoke(app, list(arguments))
    assert result.exit_code == code, result.output
    return result


@pytest.mark.usefixtures("store")
def test_what_a_script_wants_stands_alone_on_standard_output():
    account = invoke("accounts", "create", "Example Anglers")
    account_id = account.stdout.strip()
    assert account.stdout == f"{account_id}\n"
    assert account_id.startswith("acc_")
    assert f"ebbmark keys create --account {account_id}" in account.stderr
    key = invoke("keys", "create", "--account", account_id, "--scope", "read", "--scope", "write", "--expires", "30d")
    assert key.stdout.startswith("ebk_")
    assert len(key.stdout.splitlines()) == 1
    assert key.stdout.strip() not in key.stderr
    for said in ("never shown again", "Authorization: Bearer", "ebbmark keys revoke key_", "read, write", "expires"):
        assert said in key.stderr


@pytest.mark.usefixtures("store")
def test_keys_are_listed_without_their_secrets_and_revoked():
    local = invoke("keys", "create", "--account", "acc_local", "--scope", "admin", "--name", "boat").stdout.strip()
    other = invoke("accounts", "create", "Example Anglers of a long shore " * 5).stdout.strip()
    invoke("keys", "create", "--account", other, "--scope", "read", "--expires", "2999-01-01T00:00:00+01:00")
    listed = invoke("keys", "list").stdout
    assert all(len(line.split()[0]) == 30 and line.startswith("key_") for line in listed.splitlines()[1:])
    assert listed.count(other) == 1
    assert "good until 2998-12-31" in listed
    assert local[:15] in listed
    assert local[15:] not in listed
    mine = invoke("keys", "list", "--account", "acc_local").stdout
    assert "boat" in mine
    assert other not in mine
    key_id = next(word for word in mine.split() if word.startswith("key_"))
    assert "revoked since" in invoke("keys", "revoke", key_id).stderr
    assert "revoked 2" in invoke("keys", "list", "--account", "acc_local").stdout
    accounts = invoke("accounts", "list").stdout
    assert {"acc_local", other} <= {line.split()[0] for line in accounts.splitlines()}
    assert "Example Anglers" in accounts


@pytest.mark.usefixtures("store")
@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["accounts", "create", " "], "1 to 200 printable characters"),
        (["keys", "create", "--account", "acc_0", "--scope", "read"], "ebbmark accounts list"),
        (["keys", "create", "--account", "acc_local", "--scope", "sail"], "some of read, write, admin"),
        (["keys", "create", "--account", "acc_local", "--scope", "read", "--expires", "soon"], "or days from now"),
        (["keys", "create", "--account", "acc_local", "--scope", "read", "--expires", "2020-01-01T00:00Z"], "to come"),
        (["keys", "revoke", "key_0"], "ebbmark keys list"),
        (["keys", "list", "--account", "acc_0"], "ebbmark accounts list"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(arguments, says):
    failed = invoke(*arguments, code=1)
    assert says in failed.stderr
    assert len(failed.stderr.splitlines()) == 1
    assert failed.stdout == ""


def test_a_key_without_a_scope_is_not_made():
    assert "scope" in invoke("keys", "create", "--account", "acc_local", code=2).output


def test_expiry_is_read():
    assert read_expiry("90d", NOW) == NOW + timedelta(days=90)
    assert read_expiry("2027-01-31T00:00:00+01:00", NOW) == datetime(2027, 1, 30, 23, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "0d", "-1d", "90", "90 days", "2027-01-31", "2027-01-31T00:00:00", "99999999d"])
def test_an_expiry_that_is_none_is_refused(text):
    with pytest.raises(DocumentInvalid, match="expires"):
        read_expiry(text, NOW)


def test_a_service_with_keys_is_made_ready_from_the_command_line(tmp_path):
    """Started without a key it says what makes one; made beside it, the key opens it, until it is revoked."""
    port = free_port()
    environment = {**os.environ, **store_variables(tmp_path), "EBBMARK_PORT": str(port)}

    def run(*arguments: str) -> str:
        done = subprocess.run(
            [*COMMAND, *arguments], cwd=ROOT, env=environment, text=True, capture_output=True, check=True, timeout=60
        )
        return done.stdout.strip()

    def ask(path: str, key: str = "") -> int:
        request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers={"authorization": f"Bearer {key}"})
        ends = time.monotonic() + 60.0
        while True:
            try:
                with urllib.request.urlopen(request, timeout=10.0) as response:
                    assert json.load(response)
                    return int(response.status)
            except urllib.error.HTTPError as error:
                with error:
                    return error.code
            except (ConnectionError, TimeoutError, urllib.error.URLError):
                assert time.monotonic() < ends, "the service does not answer"
                time.sleep(0.05)

    service = subprocess.Popen(
        [*COMMAND, "serve"], cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    try:
        assert ask("/v1/health/ready") == 503
        key = run("keys", "create", "--account", "acc_local", "--scope", "read")
        assert ask("/v1/health/ready") == 200
        assert ask("/v1/stations", key) == 200
        assert ask("/v1/stations", key[:-1] + ("0" if key[-1] != "0" else "1")) == 401
        key_id = next(word for word in run("keys", "list").split() if word.startswith("key_"))
        run("keys", "revoke", key_id)
        assert ask("/v1/stations", key) == 401
    finally:
        service.terminate()
        _, said = service.communicate(timeout=60)
    assert "ebbmark: not ready" in said
    assert "ebbmark keys create --account acc_local" in said
    assert key not in said
    assert key[15:] not in said


@pytest.mark.usefixtures("store")
def test_the_command_that_is_named_where_there_is_no_key_makes_one():
    command = NO_KEY.split("`")[1].split()
    assert command[0] == "ebbmark"
    assert invoke(*command[1:]).stdout.startswith("ebk_")
