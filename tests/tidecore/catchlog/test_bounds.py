from __future__ import annotations

import datetime as dt

import pytest

from tests.tidecore.catchlog.trips import at, catch, deployment, record
from tidecore.catchlog import TripRecord, out_of_bounds, surely_within

LATEST = dt.datetime(2030, 1, 1, tzinfo=dt.UTC)
START = dt.datetime(2026, 10, 10, 17, 30, tzinfo=dt.UTC)
OPEN = {"end": None}


def later(hours: float, minutes: float = 0.0) -> str:
    return (START + dt.timedelta(hours=hours, minutes=minutes)).isoformat()


def knock(moment: str, **more):
    return {"at": moment, "kind": "knock", "outcome": "missed", **more}


def flaws_of(plain: object) -> dict[str, str]:
    """The flaws of a record; `surely_within` never takes one that has some."""
    trip = TripRecord.parse(plain)
    found = {".".join(map(str, one.path)): f"{one.problem}; {one.expected}" for one in out_of_bounds(trip)}
    assert not (found and surely_within(trip, LATEST))
    return found


def test_plain_trips_are_surely_within():
    rods = [deployment(), deployment("b", rod="far")]
    closed = TripRecord.parse(record(deployments=rods, catches=[catch()]))
    assert surely_within(closed, LATEST)
    unended = TripRecord.parse(record(trip=OPEN, deployments=rods, bites=[knock(at("19:00"))], catches=[catch()]))
    assert surely_within(unended, LATEST)
    assert not surely_within(closed, START)
    # What was put right years later does not make a trip longer.
    mended = record(trip=OPEN, corrections=[{"path": "trip.party", "was": 1, "now": 2, "at": "2029-01-01T00:00:00Z"}])
    assert surely_within(TripRecord.parse(mended), LATEST)


def test_a_deployment_is_no_longer_than_the_longest_trip():
    rod = {"rod": "near", "start": later(0), "end": later(96)}
    assert flaws_of(record(trip=OPEN, deployments=[rod])) == {}
    found = flaws_of(record(trip=OPEN, deployments=[{**rod, "end": later(96, 1)}]))
    assert set(found) == {"deployments.0.end"}
    assert "96 h" in found["deployments.0.end"]
    # Times are as unsure as they are said to be, and how long a rod was in use is not.
    slack = {"end": later(96), "time_precision_min": 60}
    assert set(flaws_of(record(trip=slack, deployments=[{**rod, "end": later(97)}]))) == {"deployments.0.end"}


@pytest.mark.parametrize(("precision", "slack"), [(5, 10), (60, 65)])
def test_a_trip_without_an_end_goes_on_for_no_longer_than_the_longest(precision, slack):
    def found(minutes: float) -> set[str]:
        events = later(96, minutes)
        return set(
            flaws_of(
                record(
                    trip=OPEN,
                    bites=[knock(events, precision_min=precision)],
                    catches=[catch(), catch(precision_min=precision) | {"at": events}],
                )
            )
        )

    assert found(slack) == set()
    assert found(slack + 1) == {"bites.0.at", "catches.1.at"}


def test_a_rod_after_the_longest_trip_is_named_with_its_fish():
    rod = {"ref": "late", "rod": "near", "start": later(200), "end": later(202)}
    unsure = {"ref": "unsure", "rod": "far", "start": later(95), "end": later(96, 5)}
    fish = catch(deployment="late") | {"at": later(201)}
    at_its_end = catch(deployment="unsure") | {"at": later(96, 10)}
    found = flaws_of(record(trip=OPEN, deployments=[rod, unsure], catches=[fish, at_its_end]))
    assert set(found) == {"deployments.0.start", "deployments.0.end", "catches.0.at"}
    assert {"the longest trip is 96 h" in one for one in found.values()} == {True}


def test_nothing_is_logged_from_before_1900():
    rod = {"rod": "near", "start": "1899-12-31T23:00:00Z", "end": "1900-01-01T01:00:00Z"}
    early = {"start": "1899-12-31T22:00:00Z", "end": "1900-01-01T02:00:00Z", "slack_seen": ["1899-12-31T23:59:00Z"]}
    found = flaws_of(record(trip=early, deployments=[rod], catches=[catch() | {"at": "1900-01-01T00:30:00Z"}]))
    assert set(found) == {"trip.start", "trip.slack_seen.0", "deployments.0.start"}
    first = {"start": "1900-01-01T00:00:00Z", "end": "1900-01-01T02:00:00Z"}
    assert surely_within(TripRecord.parse(record(trip=first)), LATEST)


def test_catches_to_be_added_count_as_its_own():
    unended = TripRecord.parse(record(trip=OPEN))
    more = [
        TripRecord.parse(record(trip=OPEN, catches=[catch() | {"at": later(hours)}])).catches[0] for hours in (1, 999)
    ]
    assert surely_within(unended, LATEST, more[:1])
    assert not surely_within(unended, LATEST, more)
