"""Sets of time, against sets of whole numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tidecore.calendars import clipped, difference, holds_at, intersection, merged

AXIS = np.arange(-5, 45)
any_spans = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), max_size=8).map(
    lambda pairs: np.array(pairs, dtype=np.int64).reshape(-1, 2)
)


def numbers(spans: np.ndarray) -> set[int]:
    return {number for start, end in spans.tolist() for number in range(start, end)}


def is_set(spans: np.ndarray) -> bool:
    return bool((np.diff(spans.ravel()) > 0).all()) and spans.shape[1] == 2


@given(any_spans)
def test_merged_spans_hold_what_the_spans_held(spans):
    found = merged(spans)
    assert is_set(found)
    assert numbers(found) == numbers(spans)
    assert {int(at) for at in AXIS[holds_at(found, AXIS)]} == numbers(found)


@given(any_spans, any_spans)
def test_sets_meet_and_part_as_sets_do(one, other):
    one, other = merged(one), merged(other)
    both, left = intersection(one, other), difference(one, other)
    assert is_set(both)
    assert is_set(left)
    assert numbers(both) == numbers(one) & numbers(other)
    assert numbers(left) == numbers(one) - numbers(other)


@given(any_spans, st.integers(0, 40), st.integers(0, 40))
def test_a_clipped_set_is_its_part(spans, start, end):
    found = clipped(merged(spans), start, end)
    assert is_set(found)
    assert numbers(found) == numbers(spans) & set(range(start, end))
