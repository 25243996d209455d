"""A store made by an older version upgrades with its data."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from sqlalchemy import text

from service.bootstrap import House
from service.security import LOCAL_ACCOUNT
from service.storage.engine import make_folder, open_engine
from service.storage.migrating import NEWEST_REVISION, _changing, _config, revision_of, upgrade_store
from service.storage.records import ACTIVE, QUEUED
from tests.service.coast import gauge_csv
from tests.service.conftest import settings_for

pytestmark = pytest.mark.sqlite("its store is a file of the first revision; tests/postgres upgrades the other")

FIRST = "2026_11_25_first_tables"
OPTIONS = {"format": "csv", "latitude": 51.0, "hints": {"unit": "m", "datum": "gauge zero"}, "fit": {}}
REFUSED = {"error": "RecordTooShort", "detail": "the record is too short", "faults": []}
STOPPED = {"error": "FitInterrupted", "detail": "the service stopped", "faults": []}
MODEL, REPORT = {"amplitude": [1.5]}, {"record": {"rows": 960}, "diagnostics": None}
BEGAN, STARTED, ENDED = (f"2026-06-01 12:00:0{second}.000000" for second in range(3))

#: What is particular to each fit of the old store.
FITS: dict[str, dict[str, Any]] = {
    "fit_done": {"state": "done", "report": REPORT, "model": MODEL, "adopted_version": 1, "finished_at": ENDED},
    "fit_refused": {"state": "failed", "problem": REFUSED, "report": REPORT, "finished_at": ENDED},
    "fit_stopped": {"state": "failed", "problem": STOPPED, "finished_at": ENDED},
    "fit_running": {"state": "running"},
    "fit_gone": {"state": "running"},
    "fit_queued": {"state": "queued", "started_at": None},
    "fit_same": {"state": "queued", "started_at": None},
}


def fill(engine):
    """Put an account, a station and fits in every state into a store of the first revision."""
    with engine.begin() as connection:
        connection.execute(text("INSERT INTO accounts VALUES (:a, 'local', :t)"), {"a": LOCAL_ACCOUNT, "t": BEGAN})
        connection.execute(
            text("INSERT INTO stations VALUES ('stn_1', :a, 'gauge', 'Gauge Point', 51.0, NULL, 'Etc/UTC', 0, :t, :t)"),
            {"a": LOCAL_ACCOUNT, "t": BEGAN},
        )
        for key, given in FITS.items():
            row = {
                "fit_id": key, "account_id": LOCAL_ACCOUNT, "station_id": "stn_1", "runner_id": "run_old",
                "lease_until": BEGAN, "record_sha256": "0" * 64, "record_bytes": 9, "options": OPTIONS,
                "problem": None, "report": None, "model": None, "adopted_version": None, "created_at": BEGAN,
                "started_at": STARTED, "finished_at": None, **given,
            }  # fmt: skip
            plain = {name: json.dumps(value) if isinstance(value, dict) else value for name, value in row.items()}
            names = ", ".join(row)
            connection.execute(text(f"INSERT INTO fits ({names}) VALUES (:{names.replace(', ', ', :')})"), plain)


@pytest.fixture
def old(tmp_path):
    """Settings of a store of the first revision, with what it had."""
    settings = settings_for(tmp_path)
    engine = open_engine(settings.database_url)
    make_folder(engine)
    upgrade_store(engine, FIRST)
    fill(engine)
    engine.dispose()
    settings.spool_folder.mkdir()
    for key in ("fit_running", "fit_queued", "fit_same"):
        (settings.spool_folder / key).write_bytes(gauge_csv())
    return settings


@pytest.fixture
def upgraded(old):
    house = House(old)
    house.open(with_runner=False)
    yield house
    house.close()


def fits_of(house):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return {fit.fit_id: fit for fit in unit.fits.page("stn_1", None, 100)}


def test_fits_keep_everything_they_had(upgraded):
    assert revision_of(upgraded.store.engine) == NEWEST_REVISION
    fits = fits_of(upgraded)
    assert set(fits) == set(FITS)
    for key, given in FITS.items():
        fit = fits[key]
        assert fit.state == (QUEUED if given["state"] == "running" else given["state"])
        assert (fit.record_sha256, fit.record_bytes, fit.options) == ("0" * 64, 9, OPTIONS)
        assert (fit.report, fit.adopted_version) == (given.get("report"), given.get("adopted_version"))
        assert fit.created_at.isoformat() == "2026-06-01T12:00:00+00:00"
        ended = fit.state not in ACTIVE
        assert (None if fit.finished_at is None else fit.finished_at.second) == (2 if ended else None)
        assert (None if fit.started_at is None else fit.started_at.second) == (1 if ended else None)
    assert fits["fit_refused"].problem == REFUSED
    assert fits["fit_stopped"].problem == {**STOPPED, "error": "JobInterrupted"}
    with upgraded.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.fits.model("fit_done") == MODEL
        done = unit.jobs.get(fits["fit_done"].job_id)
        assert (done.kind, done.state, done.result, done.attempts) == ("fit", "done", {"fit_id": "fit_done"}, 1)
        assert unit.jobs.active_count() == 4
        assert unit.stations.get("stn_1").name == "Gauge Point"


def test_fits_that_waited_or_ran_are_done_after_all(upgraded):
    upgraded.runner.start()
    ends = time.monotonic() + 60.0
    while any(fit.state in ACTIVE for fit in fits_of(upgraded).values()):
        assert time.monotonic() < ends, "a fit is stuck"
        time.sleep(0.05)
    fits = fits_of(upgraded)
    assert {fits[key].state for key in ("fit_running", "fit_queued", "fit_same")} == {"done"}
    assert (fits["fit_gone"].state, fits["fit_gone"].problem["error"]) == ("failed", "RecordLost")
    assert list(upgraded.settings.spool_folder.iterdir()) == []


def test_an_upgrade_cut_in_two_leaves_the_old_store(old, monkeypatch):
    engine = open_engine(old.database_url)
    with monkeypatch.context() as broken:
        broken.setattr("alembic.operations.Operations.create_index", lambda *_args, **_more: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            upgrade_store(engine)
    assert revision_of(engine) == FIRST
    upgrade_store(engine)
    assert revision_of(engine) == NEWEST_REVISION
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM jobs")) == len(FITS)
    engine.dispose()


def test_the_way_back_keeps_the_fits(upgraded):
    from alembic import command

    engine = upgraded.store.engine
    with _changing(engine) as connection:
        command.downgrade(_config(connection), FIRST)
    with engine.connect() as connection:
        rows = {row.fit_id: row for row in connection.execute(text("SELECT * FROM fits"))}
    assert set(rows) == set(FITS)
    assert json.loads(rows["fit_stopped"].problem) == STOPPED
    assert (rows["fit_done"].state, json.loads(rows["fit_done"].model)) == ("done", MODEL)
    assert rows["fit_running"].state == "queued"
