from __future__ import annotations

import math

import numpy as np

from tests.tidecore.catchlog.trips import BASS, at, cast, catch, deployment, record
from tidecore.catchlog import TripRecord
from tidecore.catchstats import catch_rate, count_by_bin, count_trip
from tidecore.rules import Species

COD = {"scientific_name": "Gadus morhua", "fao_code": "COD"}


def us(clock):
    return int(np.datetime64(at(clock)[:-1], "us").astype(np.int64))


BINS = {
    "flood": np.array([[us("18:00"), us("19:00")]]),
    "ebb": np.array([[us("19:00"), us("20:00")]]),
    "slack": np.array([[us("22:00"), us("23:00")]]),
}


def fished(**more):
    plain = {
        "deployments": [deployment(end="20:30", casts=[cast("18:15", "18:45"), cast("18:50", "20:10")])],
        "catches": [catch("18:45"), catch("19:02"), catch("19:30", species=COD), catch("20:20")],
    }
    return TripRecord.parse(record(**{**plain, **more}))


def test_a_trip_adds_its_catches_and_its_bait_on_time():
    found = count_trip("one", fished())
    assert (found.count, found.effort_h, found.fished) == (4, 110 / 60, True)
    assert count_trip("one", fished(), species=Species.parse(COD)).count == 1
    assert count_trip("one", fished(), effort="raw").effort_h == 2.5


def test_catches_and_effort_are_parted_by_bin():
    found = count_by_bin("one", fished(), BINS, species=Species.parse(BASS))
    assert {name: (one.count, round(one.effort_h * 60)) for name, one in found.items()} == {
        "flood": (1, 40), "ebb": (1, 60), "outside": (1, 0),
    }  # fmt: skip
    raw = count_by_bin("one", fished(), BINS, effort="raw")
    assert {name: (one.count, one.effort_h) for name, one in raw.items()} == {
        "flood": (1, 1.0), "ebb": (2, 1.0), "outside": (1, 0.0),
    }  # fmt: skip


def test_effort_without_casts_or_rods_is_unknown():
    assert math.isnan(count_trip("one", fished(deployments=[deployment(end="20:30")])).effort_h)
    assert count_trip("one", fished(deployments=[deployment(end="20:30")]), effort="raw").effort_h == 2.5
    bare = count_trip("one", fished(deployments=[]), effort="raw")
    assert math.isnan(bare.effort_h)
    assert catch_rate([bare]).uncounted == 4


def test_what_was_not_fished_adds_no_effort():
    weed = TripRecord.parse(record(trip={"outcome": "not_fished", "why_not": "weed"}))
    found = count_trip("weed", weed)
    assert (found.count, found.effort_h, found.fished) == (0, 0.0, False)
    assert count_by_bin("weed", weed, BINS) == {}
    assert catch_rate([found, count_trip("one", fished())]).not_fished == 1
