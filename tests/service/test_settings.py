"""Settings come from the environment and say what they are."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pydantic import ValidationError
from typer.testing import CliRunner

from service.cli import app
from service.errors import SettingsInvalid
from service.logs import configure_logs
from service.settings import Settings, read_settings, tell_slips


def test_settings_have_their_defaults():
    settings = Settings()
    assert (settings.port, settings.host, settings.store) == (8321, "127.0.0.1", "./.ebbmark")
    assert settings.max_upload_bytes == 64 * 1024 * 1024
    assert settings.database_url == f"sqlite+pysqlite:///{Path('.ebbmark').resolve() / 'ebbmark.sqlite3'}"
    assert settings.spool_folder == Path(".ebbmark/uploads").resolve()


def test_settings_come_from_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("EBBMARK_STORE", str(tmp_path))
    monkeypatch.setenv("EBBMARK_PORT", "9000")
    monkeypatch.setenv("EBBMARK_SPOOL", str(tmp_path / "elsewhere"))
    settings = Settings()
    assert settings.database_url == f"sqlite+pysqlite:///{tmp_path}/ebbmark.sqlite3"
    assert (settings.port, settings.spool_folder) == (9000, tmp_path / "elsewhere")


def test_a_store_may_be_a_database_by_url():
    settings = Settings(store="postgresql+psycopg://shore@localhost/ebbmark")
    assert settings.database_url == "postgresql+psycopg://shore@localhost/ebbmark"
    assert settings.spool_folder == Path(".ebbmark/uploads").resolve()


@pytest.mark.parametrize(
    ("name", "value"),
    [("PORT", "0"), ("PORT", "harbour"), ("AUTH", "none"), ("MAX_POINTS", "-1"), ("LOG_LEVEL", "loud")],
)
def test_a_bad_setting_is_refused(monkeypatch, name, value):
    monkeypatch.setenv(f"EBBMARK_{name}", value)
    with pytest.raises(ValidationError, match=name.lower()):
        Settings()
    with pytest.raises(SettingsInvalid) as refused:
        read_settings()
    (fault,) = refused.value.faults
    assert (fault.field, fault.problem) == (f"EBBMARK_{name}", f"is {value!r}")
    assert fault.expected


def test_every_bad_setting_is_named_at_once_and_nothing_else_is_said(monkeypatch):
    monkeypatch.setenv("EBBMARK_PORT", "harbour")
    monkeypatch.setenv("EBBMARK_AUTH", "none")
    for command, code in ((["db", "upgrade"], 1), (["plan"], 2), (["accounts", "list"], 1)):
        found = CliRunner().invoke(app, command)
        assert (found.exit_code, found.stdout) == (code, "")
        (line,) = found.stderr.splitlines()
        assert "EBBMARK_PORT: is 'harbour'; expected a valid integer" in line
        assert "EBBMARK_AUTH: is 'none'; expected 'keys' or 'open'" in line


@pytest.mark.parametrize("name", ["PORT", "STORE", "SPOOL", "AUTH", "DASK_SCHEDULER", "STORE_OWNER"])
def test_an_empty_variable_is_as_one_that_is_not_set(monkeypatch, name):
    """As a compose file passes on what nobody gave: the store must not come to lie where the process happens to be."""
    default = Settings()
    monkeypatch.setenv(f"EBBMARK_{name}", "")
    assert read_settings() == default


def test_a_variable_that_is_nearly_one_is_told(monkeypatch, capsys):
    configure_logs("json", "warning")
    monkeypatch.setenv("EBBMARK_RATELIMIT", "5")
    monkeypatch.setenv("EBBMARK_URL", "http://localhost:8321")
    tell_slips()
    (line,) = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    assert (line["event"], line["setting"], line["meant"]) == (
        "setting_unknown", "EBBMARK_RATELIMIT", "EBBMARK_RATE_LIMIT",
    )  # fmt: skip


def test_every_setting_says_what_it_is():
    assert [name for name, field in Settings.model_fields.items() if not field.description] == []


def test_settings_cannot_be_changed():
    with pytest.raises(ValidationError):
        Settings().port = 1
