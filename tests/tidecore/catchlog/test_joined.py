from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.catchlog import (
    DEFAULT_BINS,
    TripRecord,
    bins_at,
    effort_by_bin,
    factor_bins,
    join_trips,
    shares,
    steps_of,
    ticks,
    trip_ends_us,
)
from tidecore.catchstats import count_by_bin
from tidecore.errors import UnknownName
from tidecore.timeline import build_timeline

SECOND = 1_000_000
MINUTE = 60 * SECOND
FISH = {"scientific_name": "Piscis inventus"}
FLAT = {"scientific_name": "Piscis planus", "fao_code": "ZZZ"}


@pytest.fixture(scope="module")
def timeline():
    return build_timeline(mark_at(), model_of("double_low"), "2026-03-20T00:00", "2026-03-23T00:00")


def trip(rng, day):
    """A trip of two rods, one without casts on record, with a bite and three catches at odd times."""
    start = dt.datetime(2026, 3, day, 14, tzinfo=dt.UTC) + dt.timedelta(seconds=int(rng.integers(0, 10_000)))

    def at(minutes):
        return (start + dt.timedelta(minutes=minutes, seconds=int(rng.integers(0, 60)))).isoformat()

    casts = [{"out": at(10 + 30 * k), "in": at(34 + 30 * k)} for k in range(6)]
    return TripRecord.parse(
        {
            "trip": {"mark": "m", "start": at(0), "end": at(240), "outcome": "fished"},
            "deployments": [
                {"ref": "near", "rod": "near", "start": at(5), "end": at(230), "casts": casts},
                {"ref": "far", "rod": "far", "start": at(20), "end": at(200)},
            ],
            "bites": [{"ref": "b", "at": at(50), "kind": "knock", "outcome": "missed", "deployment": "near"}],
            "catches": [
                {"ref": "x", "at": at(60), "species": FISH, "fate": "kept", "deployment": "near"},
                {"ref": "y", "at": at(130), "precision_min": 60, "species": FLAT, "fate": "returned"},
                {"ref": "z", "at": at(190), "precision_min": 15, "species": FISH, "fate": "kept"},
            ],
        }
    )


@pytest.fixture(scope="module")
def records():
    rng = np.random.default_rng(20260320)
    return [trip(rng, day) for day in (20, 21, 22)]


@pytest.fixture(scope="module")
def joined(timeline, records):
    return join_trips(timeline, records)


@pytest.mark.parametrize("name", ["flow_strength", "hours_from_hw", "light", "month"])
def test_effort_and_counts_are_those_of_each_trip_by_itself(timeline, records, joined, name):
    bins = factor_bins(timeline, name, DEFAULT_BINS[name].edges)
    for record, one in zip(records, joined, strict=True):
        efforts = {label: effort for label, effort in effort_by_bin(record.deployments, bins).items() if effort.raw_us}
        found = {count.name: count for count in one.counts[name]}
        # Edges are found to a millisecond from either side.
        for label, effort in efforts.items():
            got = (found[label].raw_us, found[label].bait_on_us, found[label].uncast_us)
            wanted = (effort.raw_us, effort.bait_on_us, effort.uncast_us)
            np.testing.assert_allclose(got, wanted, atol=20_000)
        counted = count_by_bin("t", record, bins, effort="raw")
        assert {label: sum(n for _, n in count.caught) for label, count in found.items()} == {
            label: count.count for label, count in counted.items()
        }


def test_effort_by_bin_is_that_of_every_second(timeline, records, joined):
    seconds = np.concatenate(
        [np.arange(ticks(cast.out), ticks(cast.in_), SECOND) for one in records[0].deployments for cast in one.casts]
    )
    seen = np.array(bins_at(timeline, "hours_from_hw", DEFAULT_BINS["hours_from_hw"].edges, seconds))
    for count in joined[0].counts["hours_from_hw"]:
        assert count.bait_on_us / SECOND == pytest.approx(int((seen == count.name).sum()), abs=8.0)
    assert sum(count.bait_on_us for count in joined[0].counts["hours_from_hw"]) == seconds.size * SECOND


def test_an_event_has_its_value_and_how_sure_it_is(timeline, records, joined):
    catch, found = records[0].catches[1], joined[0].catches["y"]
    at = ticks(catch.at)
    own = timeline.at(np.array([at]), ["height", "hours_from_hw", "light"])
    assert found["height"].value == own["height"][0]
    assert found["light"].value == own["light"][0]
    minutes = at + MINUTE * np.arange(-60, 61)
    heights = timeline.at(minutes, ["height"])["height"]
    assert (found["height"].low, found["height"].high) == (heights.min(), heights.max())
    bins = factor_bins(timeline, "light")
    assert found["light"].shares == pytest.approx(shares(bins, at, 60), abs=1e-5)
    assert found["wave_height"].value is None
    assert found["wave_height"].shares == {"unknown": 1.0}


def test_a_deployment_has_its_bins_and_levels(timeline, records, joined):
    rod, found = records[1].deployments[0], joined[1].deployments["near"]
    edges = np.array([ticks(rod.start), ticks(rod.end)])
    values = timeline.at(np.append(np.arange(edges[0], edges[1], MINUTE), edges[1]), ["flow_strength"])["flow_strength"]
    strength = found["flow_strength"]
    assert (strength.least, strength.most) == (values.min(), values.max())
    assert strength.mean == pytest.approx(values.mean())
    assert sum(strength.raw_us.values()) == edges[1] - edges[0]
    assert found["hours_from_hw"].mean is None
    assert joined[1].deployments["far"]["light"].bait_on_us == {}


def test_what_was_not_fished_is_joined_to_nothing(timeline, records):
    bare = TripRecord.parse(
        {"trip": {"mark": "m", "start": "2026-03-21T06:00Z", "outcome": "not_fished", "why_not": "weed"}}
    )
    found = join_trips(timeline, [bare, records[0]])
    assert found[0].counts["light"] == ()
    assert found[1] == join_trips(timeline, [records[0]])[0]
    assert trip_ends_us(bare) == (ticks(bare.trip.start), ticks(bare.trip.start))


def test_spans_apart_are_parted_each_by_itself(timeline):
    start = timeline.span.start_us
    within = np.array([[start, start + 90 * MINUTE], [start + 600 * MINUTE, start + 800 * MINUTE]])
    steps = steps_of(timeline, {"hours_from_hw": (0.0,), "light": ()}, within)
    for found in steps.values():
        assert found.parted(within).sum(axis=1).tolist() == (within[:, 1] - within[:, 0]).tolist()
        assert found.parted(np.array([[start + 90 * MINUTE, start + 600 * MINUTE]])).sum() == 0


def test_other_factors_may_be_asked_for(timeline, records):
    found = join_trips(timeline, records[:1], {"height": (3.0,)})[0]
    assert set(found.counts) == {"height"}
    with pytest.raises(UnknownName):
        join_trips(timeline, records[:1], {"luck": (1.0,)})
