"""Trips are joined to the tide in the background, and anew whenever what that rests on changes."""

from __future__ import annotations

import datetime as dt
import threading

import numpy as np
import pytest
from sqlalchemy import update

from service.bootstrap import House
from service.errors import NoModel, StoreUnavailable
from service.jobs.runner import ProcessRunner
from service.jobs.worker import Place as JobPlace
from service.security import LOCAL_ACCOUNT, Caller
from service.storage.tables import TripJoinRow
from service.usecases.condition_issues import CONDITIONS, take_conditions
from service.usecases.documents import Draft
from service.usecases.joins import joined_trip
from service.usecases.marks import MARKS
from service.usecases.placed import Place
from service.usecases.stale_joins import STAMP, queue_stale_joins
from service.usecases.station_documents import StationDocument
from service.usecases.stations import create_station, edit_station
from service.usecases.trips import TRIPS
from tests.service.coast import example
from tests.service.conftest import settings_for
from tests.service.log_book import START, active_joins, do_joins, trip_document
from tidecore.catchlog import TripRecord, bins_at, ticks
from tidecore.conditions import ConditionIssue
from tidecore.place import Mark
from tidecore.timeline import build_timeline

CALLER = Caller(LOCAL_ACCOUNT, frozenset({"read", "write", "admin"}))


def anyhow(_record):
    return True


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    opened = House(settings_for(tmp_path_factory.mktemp("joins")))
    opened.open(with_runner=False)
    yield opened
    opened.close()


def station(**changes):
    said = {key: value for key, value in {**example("create_station"), **changes}.items() if key != "external_ref"}
    return StationDocument.parse(said).to_station(None)


@pytest.fixture(scope="module")
def tidal(house):
    return create_station(house.context, CALLER, station()).station.station_id


@pytest.fixture
def mark(house, tidal):
    return mark_at(house, tidal)


def mark_at(house, station_id):
    said = {**example("create_mark"), "station": station_id}
    said.pop("external_ref", None)
    return MARKS.create(house.context, CALLER, Draft(Mark.parse(said), None)).record.id


def log(house, mark, *arguments, **changes):
    record = TripRecord.parse(trip_document(mark, *arguments, **changes))
    return TRIPS.create(house.context, CALLER, Draft(record, None)).record.id


def kept(house, trip):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return unit.joins.get(trip)


def stale(house):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return [one.trip_id for one in unit.joins.stale(STAMP, 100)]


def test_trips_are_joined_by_one_job_and_once(house, mark):
    trips = [log(house, mark, START + dt.timedelta(days=days)) for days in (0, 1, -400)]
    assert len(active_joins(house, LOCAL_ACCOUNT)) == 1
    before = joined_trip(house.context, CALLER, trips[0])
    assert (before.kept, before.kept_is_newest) == (None, False)
    assert do_joins(house, LOCAL_ACCOUNT) == 3
    assert active_joins(house, LOCAL_ACCOUNT) == []
    after = joined_trip(house.context, CALLER, trips[0])
    assert after.kept_is_newest
    assert after.joined == before.joined
    assert kept(house, trips[2]).stamp == STAMP
    assert stale(house) == []


def test_a_trip_that_is_written_while_the_job_ends_has_another(house, mark):
    log(house, mark)
    late = []
    do_joins(house, LOCAL_ACCOUNT, lambda: late.append(log(house, mark, START + dt.timedelta(days=2))))
    assert stale(house) == late
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    assert stale(house) == []


def test_an_edited_trip_is_joined_anew_and_a_deleted_one_leaves_nothing(house, mark):
    trip = log(house, mark)
    do_joins(house, LOCAL_ACCOUNT)
    later = TripRecord.parse(trip_document(mark, START + dt.timedelta(hours=5)))
    TRIPS.edit(house.context, CALLER, trip, anyhow, lambda _view: Draft(later, None))
    assert kept(house, trip) is None
    do_joins(house, LOCAL_ACCOUNT)
    assert kept(house, trip).trip_version == 2
    TRIPS.remove(house.context, CALLER, trip, anyhow)
    assert kept(house, trip) is None
    assert active_joins(house, LOCAL_ACCOUNT) == []


def hours_from_hw(house, trip):
    return joined_trip(house.context, CALLER, trip).joined.catches["c1"]["hours_from_hw"].value


def test_a_first_tide_a_new_one_and_other_offsets_join_anew(house):
    made = create_station(house.context, CALLER, station(model=None)).station.station_id
    mark = mark_at(house, made)
    trip = log(house, mark)
    do_joins(house, LOCAL_ACCOUNT)
    assert kept(house, trip).problem["error"] == "NoModel"
    assert stale(house) == []
    with pytest.raises(NoModel):
        joined_trip(house.context, CALLER, trip)

    model = example("create_station")["model"]
    edit_station(house.context, CALLER, made, anyhow, lambda _record: station(model=model))
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    first = hours_from_hw(house, trip)

    moved = {name: {**one, "phase_deg": one["phase_deg"] + 20.0} for name, one in model["constituents"].items()}
    said = station(model={**model, "constituents": moved})
    edit_station(house.context, CALLER, made, anyhow, lambda _record: said)
    assert stale(house) == [trip]
    assert not joined_trip(house.context, CALLER, trip).kept_is_newest
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    second = hours_from_hw(house, trip)
    assert abs(second - first) > 0.3
    assert kept(house, trip).station_version == 2

    view = MARKS.get(house.context, CALLER, mark)
    late = {"times": [{"clock_h": 0.0, "later_min": 25.0}]}
    offsets = {"standard_zone": "+00:00", "high_water": late, "low_water": late}
    moved_mark = Mark.parse({**view.document.to_document(), "offsets": offsets})
    MARKS.edit(house.context, CALLER, mark, anyhow, lambda _view: Draft(moved_mark, None))
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    assert hours_from_hw(house, trip) != second
    assert kept(house, trip).mark_version == 2


def test_conditions_of_a_past_time_join_anew_and_so_does_taking_them_back(house, mark):
    trip = log(house, mark)
    away = log(house, mark, START - dt.timedelta(days=100))
    do_joins(house, LOCAL_ACCOUNT)
    assert joined_trip(house.context, CALLER, trip).joined.catches["c1"]["wave_height"].value is None
    times = [(START + dt.timedelta(hours=hours)).isoformat() for hours in (-2, 0, 2, 4, 6)]
    issue = ConditionIssue.parse(
        {
            "kind": "observation",
            "source": "Invented",
            "issued_at": times[-1],
            "times": times,
            "values": {"wave_height_m": [1.2] * 5},
            "waves_at": "at_mark",
        }
    )
    made = take_conditions(house.context, CALLER, Place(mark, None), [issue])[0].view.record
    assert stale(house) == [trip]
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    seen = joined_trip(house.context, CALLER, trip)
    assert seen.kept_is_newest
    assert seen.conditions == 1
    assert seen.joined.catches["c1"]["wave_height"].value == pytest.approx(1.2)
    assert not kept(house, away).stale
    CONDITIONS.remove(house.context, CALLER, made.id, anyhow)
    assert do_joins(house, LOCAL_ACCOUNT) == 1
    assert joined_trip(house.context, CALLER, trip).joined.catches["c1"]["wave_height"].value is None


def test_what_is_kept_is_what_the_timeline_says(house, mark):
    trip = log(house, mark)
    view = joined_trip(house.context, CALLER, trip)
    assert view.basis.served is not None
    tide = build_timeline(view.basis.mark.document, view.basis.served.model, "2026-03-20", "2026-03-21")
    at = np.array([ticks(one.at) for one in view.trip.document.catches])
    told = list(view.joined.catches.values())
    assert [one["height"].value for one in told] == pytest.approx(tide.at(at, ["height"])["height"], abs=1e-5)
    assert tuple(one["light"].value for one in told) == bins_at(tide, "light", (), at)


def test_a_round_finds_joins_that_another_version_made(house, mark):
    """Nobody there wrote anything: the program reckons otherwise than when they were joined."""
    TRIPS.create(house.context, CALLER, Draft(TripRecord.parse(trip_document(mark)), None))
    do_joins(house, LOCAL_ACCOUNT)
    queue_stale_joins(house.context)
    assert active_joins(house, LOCAL_ACCOUNT) == []
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        unit._session.execute(update(TripJoinRow).values(stamp="0.0"))
        unit.commit()
    queue_stale_joins(house.context)
    queue_stale_joins(house.context)
    assert len(active_joins(house, LOCAL_ACCOUNT)) == 1
    assert do_joins(house, LOCAL_ACCOUNT) >= 1
    queue_stale_joins(house.context)
    assert active_joins(house, LOCAL_ACCOUNT) == []


def test_a_runner_makes_its_round_when_it_starts(house):
    made, broken = threading.Event(), iter([StoreUnavailable("busy"), LookupError("unforeseen")])

    def look_round():
        made.set()
        raise next(broken)

    for _ in range(2):
        runner = ProcessRunner(house.store, JobPlace(""), house.context.clock, workers=0, look_round=look_round)
        runner.start()
        assert made.wait(10.0)
        made.clear()
        runner.stop()
