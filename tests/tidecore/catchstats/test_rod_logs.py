"""What a trip on record says of one of its rods."""

from __future__ import annotations

import numpy as np

from tests.tidecore.catchlog.trips import at, cast, catch, deployment, record
from tidecore.catchlog import TripRecord
from tidecore.catchstats import rod_on_record, rods_of, without_rod
from tidecore.timebase import US_PER_HOUR


def us(*clocks):
    return [int(np.datetime64(f"2026-10-10T{clock}", "us").astype(np.int64)) for clock in clocks]


def bite(clock, **more):
    return {"at": at(clock), "kind": "knock", "outcome": "missed", **more}


TRIP = TripRecord.parse(
    record(
        deployments=[
            deployment("b", "far", "18:30", "19:30", aim="one big fish"),
            deployment(
                "a", "near", "18:00", "19:00", method="two hooks", reach={"metres": 40, "known": "paced"},
                casts=[cast("18:05", "18:25"), cast("18:30", "19:00")],
                changes=[{"at": at("18:28"), "what": "bait"}],
            ),
            deployment(
                "c", "near", "19:00", "20:00", method="two hooks", reach={"metres": 70, "known": "paced"},
                casts=[cast("19:05", "19:50")], changes=[{"at": at("19:40"), "what": "other"}],
            ),
        ],
        bites=[bite("18:20", deployment="a"), bite("19:10", deployment="c", outcome="landed"), bite("19:20")],
        catches=[
            catch("18:50", deployment="a"), catch("19:10", deployment="c", precision_min=15),
            catch("19:45", deployment="c"), catch("19:00"),
        ],
    )
)  # fmt: skip


def test_a_rod_is_what_its_deployments_say_up_to_now():
    assert rods_of(TRIP) == ("near", "far")
    found = rod_on_record(TRIP, "near", us("19:30")[0])
    assert found.log.bait_on.tolist() == [us("18:05", "18:25"), us("18:30", "19:00"), us("19:05", "19:50")]
    assert found.log.catches.tolist() == us("18:50", "19:10")
    # A bite that landed a fish is that fish.
    assert found.log.bites.tolist() == us("18:20")
    assert (found.uncast_h, found.unsure, found.log.aim) == (0.0, 1, "")


def test_changes_are_those_said_and_those_seen_between_deployments():
    said = rod_on_record(TRIP, "near", us("18:40")[0]).log
    assert (said.last_change, said.changed_us) == ("bait", us("18:28")[0])
    seen = rod_on_record(TRIP, "near", us("19:30")[0]).log
    assert (seen.last_change, seen.changed_us) == ("range", us("19:00")[0])
    other = rod_on_record(TRIP, "near", us("19:55")[0]).log
    assert (other.last_change, other.changed_us) == (None, us("19:40")[0])


def test_what_is_not_known_is_counted_and_not_guessed():
    far = rod_on_record(TRIP, "far", us("19:00")[0])
    assert (far.log.bait_on.shape, far.uncast_h * US_PER_HOUR) == ((0, 2), us("19:00")[0] - us("18:30")[0])
    assert far.log.aim == "one big fish"
    assert without_rod(TRIP, us("20:00")[0]) == (1, 1)
    assert without_rod(TRIP, us("18:00")[0]) == (0, 0)
    nobody = rod_on_record(TRIP, "third", us("20:00")[0])
    assert (nobody.log.bait_on.shape, nobody.log.catches.size, nobody.log.changed_us) == ((0, 2), 0, None)
