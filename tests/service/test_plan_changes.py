"""What is other in a plan than in the one before, held to its definition on plain sessions."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.usecases.plan_changes import Before, compare, key_sessions

BASE = datetime(2026, 6, 1, tzinfo=UTC)
START, END = BASE, BASE + timedelta(days=10)


def at(hours: float) -> str:
    return (BASE + timedelta(hours=hours)).isoformat().replace("+00:00", "Z")


def session(hours: float, length: float = 4.0, worth: float = 2.0, safe: str = "info") -> dict[str, Any]:
    """A session that is fished from an hour for so long, half an hour to set up and pack up."""
    return {
        "arrive": at(hours - 0.5), "start": at(hours), "end": at(hours + length), "leave": at(hours + length + 0.5),
        "date_local": at(hours)[:10], "worth_h": worth, "verdicts": {"safe": safe, "feeding": {"rule_id": "rul_1"}},
    }  # fmt: skip


def kinds(old: list[dict[str, Any]], new: list[dict[str, Any]], end: datetime = END) -> list[tuple[str, list[str]]]:
    before = Before([(f"key {k}", 5, 0, 0.0) for k in range(len(old))], old)
    return [(one["key"], one["kinds"]) for one in compare(new, before, START, end, "k3f7")[1]]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (session(24.0), None),
        (session(24.0 + 60.0 / 3600.0), None),
        (session(24.0 + 61.0 / 3600.0), ["moved"]),
        (session(24.0, length=4.0 + 61.0 / 3600.0), ["moved"]),
        (session(24.0, worth=2.05), None),
        (session(24.0, worth=1.94), ["rescored"]),
        (session(24.0, safe="caution"), ["hazard"]),
        (session(25.0, worth=3.0, safe="danger"), ["moved", "rescored", "hazard"]),
    ],
)
def test_a_session_is_changed_by_more_than_a_minute_or_a_twentieth_or_another_grade(changed, told):
    before = Before([("key", 5, 0, 0.0)], [session(24.0)])
    keyed, changes = compare([changed], before, START, END, "k3f7")
    assert [one["kinds"] for one in changes] == ([] if told is None else [told])
    assert [(key, count) for key, count, *_ in keyed] == [("key", 5 if told is None else 6)]
    assert keyed[0][3] == changed["worth_h"]


def test_new_and_gone_are_those_that_arrive_while_both_plans_run():
    hours = (-30.0, 0.4, 0.5, 239.9, 240.4, 240.5, 270.0)
    sessions = [session(one, length=0.05) for one in hours]
    inside = [f"key {k}" for k, one in enumerate(hours) if 0.0 <= one - 0.5 < 240.0]
    assert [key for key, told in kinds(sessions, []) if told == ["gone"]] == inside
    fresh = kinds([], sessions)
    assert [told for _, told in fresh] == [["new"]] * len(inside)
    # Called by their arrival to the minute, and the plan in which they are new; two of a minute are told apart.
    assert [key for key, _ in fresh] == ["20260601T0000-k3f7", "20260610T2324-k3f7", "20260610T2354-k3f7"]
    twice = compare([session(30.0), session(30.005)], Before([], []), START, END, "k3f7")[0]
    assert [key for key, *_ in twice] == ["20260602T0530-k3f7", "20260602T0530-k3f7-2"]


def test_a_session_that_the_end_of_a_plan_cut_is_counted_as_changed_and_is_no_news():
    old, new = [session(24.0)], [session(24.0, length=3.0)]
    cut = BASE + timedelta(hours=28.5)
    assert kinds(old, new, end=cut) == []
    keyed, _ = compare(new, Before([("key", 5, 0, 0.0)], old), START, cut, "k3f7")
    assert keyed[0][:2] == ("key", 6)
    assert kinds(old, new, end=cut + timedelta(seconds=1)) == [("key 0", ["moved"])]


SPANS = st.lists(st.tuples(st.integers(1, 60), st.integers(1, 8)), max_size=6).map(
    lambda steps: [(sum(gap for gap, _ in steps[: k + 1]) * 4, length) for k, (_, length) in enumerate(steps)]
)


@given(SPANS, SPANS)
def test_a_session_keeps_the_key_of_the_one_it_shares_most_with(old, new):
    before = [session(hours / 2.0, length / 2.0) for hours, length in old]
    after = [session(hours / 2.0, length / 2.0) for hours, length in new]
    keyed, _ = compare(after, Before([(f"key {k}", 0, 0, 0.0) for k in range(len(old))], before), START, END, "k3f7")
    shared = {
        (k, j): min(start + length, begin + lasts) - max(start, begin)
        for k, (start, length) in enumerate(new)
        for j, (begin, lasts) in enumerate(old)
    }
    # Literally: of all pairs that share time the one that shares most, of equals the earlier; then of those left.
    pairs: dict[int, int] = {}
    for (k, j), both in sorted(shared.items(), key=lambda one: (-one[1], one[0])):
        if both > 0 and k not in pairs and j not in pairs.values():
            pairs[k] = j
    assert {k: key for k, (key, *_) in enumerate(keyed) if key.startswith("key ")} == {
        k: f"key {j}" for k, j in pairs.items()
    }
    assert len({key for key, *_ in keyed}) == len(keyed)
    if new:
        assert [key for key, *_ in key_sessions(after)] == [
            one["arrive"][:16].replace("-", "").replace(":", "") for one in after
        ]


def test_a_session_that_was_gone_and_comes_back_is_another():
    first = key_sessions([session(24.0)])
    gone, _ = compare([], Before(first, [session(24.0)]), START, END, "aaaa")
    back, changes = compare([session(24.0)], Before(gone, []), START, END, "bbbb")
    # Calendars keep what was cancelled, whatever comes after it with a smaller count.
    assert back[0][0] not in {key for key, *_ in first}
    assert [one["kinds"] for one in changes] == [["new"]]
    kept, _ = compare([session(24.0)], Before(back, [session(24.0)]), START, END, "cccc")
    assert kept[0][:2] == back[0][:2]
