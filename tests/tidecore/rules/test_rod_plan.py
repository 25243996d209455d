"""The timetable of one rod and of two: one thing at a time, near and far, judged after two or three baits."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.rules.test_method import document
from tidecore.errors import InvalidInput
from tidecore.rules import BaitLife, Method, RodState, judging_min, plan_rods
from tidecore.rules.rod_plan import pair

NAMES = ("lugworm", "squid", "mackerel")


def method(name: str, low: float, high: float, size: str = "2", baits: int = 2, **changes: Any) -> Method:
    parts = {
        "name": name,
        "rig": f"rig of {name}",
        "reach": {"band": "near", "from_m": low, "to_m": high},
        "hooks": [{"pattern": "wide", "size": size, "number": 2}],
        "baits": [{"name": one, "kind": "other"} for one in NAMES[:baits]],
    }
    return Method.parse(document(**parts | changes))


def lives(methods: list[Method], minutes: float = 15.0) -> dict[Any, BaitLife]:
    return {bait: BaitLife(minutes, minutes, "cold", "") for one in methods for bait in one.baits}


def plan(methods: list[Method], minutes: float = 240.0, rods: int = 2, life: float = 15.0) -> Any:
    return plan_rods(methods, lives(methods, life), minutes, rods)


@pytest.mark.parametrize(("life", "wait"), [(5, 15), (10, 30), (15, 30), (20, 40), (25, 40), (30, 40), (None, 30)])
def test_how_long_before_judging(life, wait):
    assert judging_min(life) == wait


@given(st.floats(0.5, 120.0))
def test_judging_takes_two_or_three_baits_or_half_an_hour_and_a_bit(life: float) -> None:
    wait = judging_min(life)
    assert 30.0 <= wait <= 40.0 or 2.0 - 1e-9 <= wait / life <= 3.0 + 1e-9


def test_one_rod_changes_range_then_bait_then_rig():
    methods = [method("near", 20, 60), method("other", 10, 100, size="4")]
    found = plan(methods, rods=1)
    assert found.rods == 1
    assert [step.start_min for step in found.steps] == [0, 30, 60, 90, 120, 150, 180, 210]
    assert [step.change for step in found.steps] == ["start", "range", "bait", "rig", "range", "bait", "rig", "range"]
    assert [step.rods[0].reach_m for step in found.steps] == [20, 40, 40, 40, 60, 60, 60, 20]
    assert [step.rods[0].method for step in found.steps] == [0, 0, 0, 1, 1, 1, 0, 0]
    assert found.steps[1].text == "rod 1, if it has no bites: range to 40 m, nothing else"


def test_two_rods_start_near_and_far_bold_and_fine():
    found = plan([method("near, fine", 10, 40, size="6"), method("far, bold", 80, 120, size="3/0")])
    near, far = found.steps[0].rods
    assert (near.search, near.reach_m, far.search, far.reach_m) == ("near", 10, "far", 120)
    assert found.why == (
        "near and far: 10 m and 120 m at first; bold and fine: the far rod has the larger hooks, the near rod the "
        "smaller"
    )
    assert [(step.rod, step.change) for step in found.steps[:5]] == [
        (0, "start"), (2, "range"), (1, "range"), (2, "bait"), (1, "bait"),
    ]  # fmt: skip


def test_two_rods_of_one_method_search_its_two_ends_with_two_baits():
    near, far = plan([method("only", 30, 90)]).steps[0].rods
    assert (near.reach_m, near.bait.name, far.reach_m, far.bait.name) == (30, "lugworm", 90, "squid")


def test_a_partner_differs_in_reach_first_and_is_worked_with_two_rods():
    first = method("first", 20, 60)
    assert pair([first, method("bolder", 20, 60, size="6/0"), method("far", 80, 120)]) == (0, 2)
    assert pair([first, method("bolder", 20, 60, size="6/0"), method("much the same", 21, 61)]) == (0, 1)
    assert pair([first, method("far", 80, 120, rods=1)]) == (0, 0)


def test_a_method_for_one_rod_makes_it_one():
    assert plan([method("rough", 20, 60, rods=1), method("far", 80, 120)]).rods == 1


def test_where_there_is_nothing_else_to_change_the_plan_keeps_on():
    one = method("only", 30, 90, baits=1)
    # Ranges there always are.
    assert {step.change for step in plan([one], rods=1).steps} == {"start", "range"}


def test_what_makes_no_plan_is_named_at_once():
    with pytest.raises(InvalidInput) as caught:
        plan_rods([], {}, 5.0, 3)
    assert [one.field for one in caught.value.faults] == ["methods", "minutes", "rods"]


@st.composite
def methods_of(draw: st.DrawFn) -> list[Method]:
    found = []
    for k in range(draw(st.integers(1, 4))):
        low = draw(st.integers(0, 100))
        found.append(
            method(
                f"method {k}",
                low,
                low + draw(st.integers(1, 80)),
                draw(st.sampled_from(["6", "4", "1/0", "3/0"])),
                draw(st.integers(1, 3)),
                rods=draw(st.sampled_from([1, 2])),
            )
        )
    return found


def differences(one: RodState, other: RodState) -> int:
    return sum((one.reach_m != other.reach_m, one.bait != other.bait, one.method != other.method))


@given(methods_of(), st.integers(15, 720), st.sampled_from([1, 2]), st.sampled_from([5.0, 10.0, 17.5, 25.0]))
def test_one_thing_is_changed_at_a_time_and_two_rods_never_search_the_same(
    methods: list[Method], minutes: int, rods: int, life: float
) -> None:
    found = plan(methods, float(minutes), rods, life)
    steps = found.steps
    assert (steps[0].start_min, steps[-1].end_min) == (0.0, minutes)
    assert all(one.end_min == after.start_min for one, after in pairwise(steps))
    for before, after in pairwise(steps):
        changed = [
            (one.rod, differences(one, other)) for one, other in zip(before.rods, after.rods, strict=True)
            if differences(one, other)
        ]  # fmt: skip
        assert changed == ([(after.rod, 1)] if after.change != "keep" else [])
        assert after.end_min - after.start_min >= 0.5 * found.judge_min
    if found.rods == 2:
        assert all(step.rods[0].reach_m < step.rods[1].reach_m for step in steps)
        assert rods == 2
    total = sum(sum(each) for each in found.rod_minutes().values())
    assert total == pytest.approx(minutes * found.rods)
