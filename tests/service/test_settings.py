"""Settings come from the environment and say what they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from service.settings import Settings


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


def test_every_setting_says_what_it_is():
    assert [name for name, field in Settings.model_fields.items() if not field.description] == []


def test_settings_cannot_be_changed():
    with pytest.raises(ValidationError):
        Settings().port = 1
