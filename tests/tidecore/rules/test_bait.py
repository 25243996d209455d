"""How long baits last and how many to take: the numbers of common practice worked out, and what is unknown."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import InvalidInput
from tidecore.rules import Bait, BaitLife, bag_item, bait_changes, bait_life, crab_ground


def life(kind, temperature, crabs):
    found = bait_life(kind, temperature, crabs)
    return found.from_min, found.to_min, found.basis


def exactly(minutes):
    return BaitLife(minutes, minutes, "cold", "as noted")


@pytest.mark.parametrize(
    ("kind", "temperature", "crabs", "expected"),
    [
        ("worm", 15.0, True, (5.0, 15.0, "warm_crab_ground")),
        ("squid", 15.0, True, (15.0, 25.0, "warm_crab_ground")),
        ("fish", 12.1, True, (15.0, 25.0, "warm_crab_ground")),
        ("crab", 15.0, True, (5.0, 25.0, "warm_crab_ground")),
        ("worm", 8.0, True, (20.0, 30.0, "cold")),
        ("squid", 8.0, None, (20.0, 30.0, "cold")),
        ("worm", 11.0, True, (5.0, 30.0, "between")),
        ("worm", None, True, (5.0, 30.0, "unknown_temperature")),
        ("squid", math.nan, True, (15.0, 30.0, "unknown_temperature")),
        ("worm", 15.0, None, (5.0, 30.0, "unknown_ground")),
        ("worm", 15.0, False, (5.0, 30.0, "unknown_ground")),
        ("lure", 15.0, True, (None, None, "artificial")),
    ],
)
def test_how_long_a_bait_lasts(kind, temperature, crabs, expected):
    assert life(kind, temperature, crabs) == expected


def test_the_ground_says_where_crabs_are_and_never_that_there_are_none():
    assert crab_ground(["clean_sand", "mussel"]) is True
    assert crab_ground(["clean_sand"]) is None
    assert crab_ground([]) is None


def test_four_hours_and_one_rod_at_fifteen_minutes_are_sixteen_changes():
    assert bait_changes(240.0, 15.0) == 16
    assert bait_changes(240.0, 15.0, rods=2) == 32
    assert bait_changes(241.0, 15.0) == 17


@pytest.mark.parametrize(
    ("name", "kind", "amount", "counted"),
    [
        ("black lug", "worm", (20, 30), "lugworm"),
        ("peeler crab", "crab", (8, 12), "peeler crab"),
        ("squid", "squid", (6, 8), "squid"),
    ],
)
def test_the_bag_for_sixteen_changes(name, kind, amount, counted):
    item = bag_item(Bait(name=name, kind=kind), [240.0], exactly(15.0))
    assert (item.changes, item.amount, item.counted) == ((16, 16), amount, counted)


def test_a_range_of_lives_gives_a_range_of_changes():
    item = bag_item(Bait(name="lugworm", kind="worm"), [240.0], bait_life("worm", 15.0, True))
    assert item.changes == (16, 48)
    assert item.amount == (20, 90)


def test_what_the_account_says_of_a_bait_comes_first_and_what_nobody_says_is_unknown():
    own = Bait.parse({"name": "sandeel", "kind": "fish", "per_change": {"from": 0.5, "to": 1}})
    assert bag_item(own, [120.0, 120.0], exactly(15.0)).amount == (8, 16)
    other = bag_item(Bait(name="mussel", kind="shellfish"), [240.0], exactly(15.0))
    assert (other.changes, other.amount) == ((16, 16), None)
    lure = bag_item(Bait(name="spoon", kind="lure"), [240.0], bait_life("lure", 15.0, True))
    assert (lure.changes, lure.amount) == (None, None)


@given(st.floats(1.0, 1440.0), st.floats(1.0, 60.0))
def test_the_last_bait_is_in_the_sea_at_the_end(minutes: float, age: float) -> None:
    changes = bait_changes(minutes, age)
    assert changes * age >= minutes - 1e-6
    assert (changes - 1) * age < minutes


def test_all_that_is_no_number_above_nought_is_named():
    with pytest.raises(InvalidInput) as caught:
        bait_changes(0.0, math.nan, rods=0)
    assert [one.field for one in caught.value.faults] == ["minutes", "life_min", "rods"]
