"""What is remembered of a log says what the store says, whatever was written in between; ETags with it."""

from __future__ import annotations

import datetime as dt
import random
import time
from dataclasses import asdict, replace
from datetime import UTC
from typing import Any

import pytest
from alembic import command
from sqlalchemy import text
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT, Caller
from service.storage.engine import open_engine
from service.storage.migrating import _changing, _config
from service.storage.pulse import Remembered
from service.storage.repositories.joins import TripFilter
from service.usecases.insights import tell_totals
from service.usecases.log_reading import LogBasis
from service.usecases.rates import RateAsk, tell_rates
from service.usecases.seasons import tell_season
from tests.service.coast import PEER, URL
from tests.service.conftest import settings_for
from tests.service.importing import ndjson, take
from tests.service.log_book import BASS, FLAT, active_joins, do_joins, near_and_far, trip_document

CALLER = Caller(LOCAL_ACCOUNT, frozenset())
DAY = dt.timedelta(days=1)
#: Around a new year, so that an edit moves a trip from one year to another.
DAYS = [dt.datetime(2025, 12, 30, 14, tzinfo=UTC) + k * DAY for k in range(4)]
MERGE = "application/merge-patch+json"
EVERYTHING, SOME = TripFilter(), TripFilter(None, dt.date(2025, 12, 31), None, "match")


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    app = create_app(settings_for(tmp_path_factory.mktemp("log"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        marks = near_and_far(client)
        yield client, marks


def told(context):
    """What the log says of some questions, each with its basis."""
    asks: dict[str, Any] = {
        "totals": lambda knows: tell_totals(context, CALLER, EVERYTHING, None, knows),
        "match": lambda knows: tell_totals(context, CALLER, SOME, "ZZZ", knows),
        "season": lambda knows: tell_season(context, CALLER, 2026, None, None, knows),
    }
    for by in ("light", "month", "mark"):
        ask = RateAsk(by, (), None, "raw", 0.95, EVERYTHING)
        asks[by] = lambda knows, ask=ask: tell_rates(context, CALLER, ask, knows)
    found = {}
    for name, tell in asks.items():
        bases: list[LogBasis] = []
        view: Any = tell(lambda basis, bases=bases: bool(bases.append(basis)))
        found[name] = (bases[0], repr(asdict(view)))
        assert tell(lambda _: True) is None
    return found


class Writer:
    """Does to a log what can be done to it, at random."""

    def __init__(self, client, marks, seed):
        self.client, self.marks, self.rng = client, marks, random.Random(seed)
        self.trips, self.rows = [], []

    def document(self):
        rng = self.rng
        caught = [(40.0 + 10 * k, rng.choice([BASS, FLAT])) for k in range(rng.randrange(4))]
        purpose = rng.choice(["pleasure", "match"])
        return trip_document(rng.choice(self.marks), rng.choice(DAYS), caught=caught, purpose=purpose)

    def row(self):
        rng = self.rng
        caught = [{"species": BASS, "count": rng.randrange(1, 5)}]
        day = str(rng.choice(DAYS).date())
        return {"date": day, "mark": rng.choice(self.marks), "outcome": "fished", "caught": caught}

    def deeds(self):
        """Every deed once, in any order, things to do it to being there."""
        own = [self.log, self.note, self.join, self.take_in, self.edit, self.correct, self.restore, self.delete]
        own += [self.edit_row, self.delete_row, self.set_clocks]
        return [self.log, self.log, self.note, self.note, *self.rng.sample(own, len(own))]

    def log(self):
        self.trips.append(self.call("POST", "/v1/trips", json=self.document()).json()["id"])

    def note(self):
        self.rows.append(self.call("POST", "/v1/diary-rows", json=self.row()).json()["id"])

    def edit(self):
        self.at(f"/v1/trips/{self.rng.choice(self.trips)}", "PUT", json=self.document())

    def correct(self):
        path = f"/v1/trips/{self.rng.choice(self.trips)}"
        was = self.client.get(path).json()["record"]["trip"]["purpose"]
        now = "match" if was == "pleasure" else "pleasure"
        said = [{"path": "trip.purpose", "was": was, "now": now, "why": "Mixed up."}]
        self.at(path, "POST", "/corrections", json={"corrections": said})

    def restore(self):
        self.at(f"/v1/trips/{self.rng.choice(self.trips)}", "POST", "/restore", json={"version": 1})

    def delete(self):
        self.at(f"/v1/trips/{self.trips.pop(self.rng.randrange(len(self.trips)))}", "DELETE")

    def edit_row(self):
        self.at(f"/v1/diary-rows/{self.rng.choice(self.rows)}", "PUT", json=self.row())

    def delete_row(self):
        self.at(f"/v1/diary-rows/{self.rows.pop(self.rng.randrange(len(self.rows)))}", "DELETE")

    def set_clocks(self):
        """Put the trips at a mark on the days of another zone, and some in another year."""
        path = f"/v1/marks/{self.rng.choice(self.marks)}"
        zone = self.client.get(path).json()["time_zone"]
        other = self.rng.choice([one for one in ("Etc/UTC", "Etc/GMT-11", "Etc/GMT+11") if one != zone])
        self.call("PATCH", path, headers={"if-match": "*", "content-type": MERGE}, content=f'{{"time_zone":"{other}"}}')

    def join(self):
        house = self.client.app.state.house
        if active_joins(house, LOCAL_ACCOUNT):
            do_joins(house, LOCAL_ACCOUNT)

    def take_in(self):
        """Import trips, then catches of one of them, which make its next version."""
        rows = [{**self.document(), "client_ref": f"row {self.rng.random()}"} for _ in range(3)]
        lines = take(self.client, ndjson(*rows), kind="trip")[1]
        self.trips += [one["id"] for one in lines]
        if rows[0]["trip"]["outcome"] == "fished":
            at = rows[0]["deployments"][0]["start"]
            fish = {"client_ref": "fish", "trip": rows[0]["client_ref"], "at": at, "species": FLAT, "fate": "kept"}
            assert [one["status"] for one in take(self.client, ndjson(fish), kind="catch")[1]] == ["created"]

    def at(self, path, method, beyond="", **body):
        etag = self.client.get(path).headers["etag"]
        return self.call(method, path + beyond, headers={"if-match": etag}, **body)

    def call(self, method, path, **said):
        found = self.client.request(method, path, **said)
        assert found.status_code < 300, found.text
        return found


def test_what_is_remembered_is_what_a_scan_says(shore):
    """After every write the answers of a long-lived process are those of one that has just begun to read."""
    client, marks = shore
    house = client.app.state.house
    writer = Writer(client, marks, 1)
    known: dict[LogBasis, str] = {}
    for deed in writer.deeds() + writer.deeds():
        deed()
        remembered = told(house.context)
        scanned = told(replace(house.context, logs=Remembered(1)))
        assert remembered == scanned
        for basis, view in remembered.values():
            assert known.setdefault(basis, view) == view, "another answer has the same ETag"
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        parts = {part for part, _ in unit.log_months.versions()}
        assert parts == {"trips", "diary_rows", "trip_facts", "trip_joins"}


def test_a_log_of_before_is_given_its_months(shore):
    """The migration that makes the table finds what was written before there was one."""
    house = shore[0].app.state.house
    before = {name: view for name, (_, view) in told(house.context).items()}
    owning = open_engine(house.settings.store_owner or house.settings.database_url)
    with _changing(owning) as connection:
        command.downgrade(_config(connection), "2026_11_29_feeds")
    owning.dispose()
    house.upgrade()
    after = told(replace(house.context, logs=Remembered(1)))
    assert {name: view for name, (_, view) in after.items()} == before


def test_no_version_of_a_month_comes_twice(house, monkeypatch):
    """Not where an older store is restored, of whose lost writes somebody has ETags; nor by a clock that goes back."""

    def write(after=""):
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            unit.log_months.count_up("trips", [202603])
            if after:
                unit._session.execute(text(f"UPDATE log_months SET version = {after}"))
            found = unit.log_months.versions()["trips", 202603]
            unit.commit()
        return found

    kept, lost = write(), write()
    assert write(after=str(kept)) == kept < lost
    again = write()
    assert again > lost
    monkeypatch.setattr(time, "time_ns", lambda: 1000)
    assert write() == again + 1


def test_memory_for_logs_is_bounded():
    kept: Remembered[str] = Remembered(10, len)
    for number in range(9):
        kept.keep(number, 1, "abc")
    kept.keep(8, 2, "abcd")
    assert [kept.find(number, 1) for number in range(6, 9)] == ["abc", "abc", None]
    assert kept.find(8, 2) == "abcd"
    kept.keep(9, 1, "too long for it")
    assert kept.find(9, 1) is None
    assert kept._weight == 0
