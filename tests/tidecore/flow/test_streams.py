from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.extremes.plain_tide import plain_tide
from tidecore.extremes import find_extremes
from tidecore.flow import SlackLags, flow_index
from tidecore.flow.streams import Streams, StreamTurns
from tidecore.timebase import microseconds

START, END = np.datetime64("2024-03-01", "us"), np.datetime64("2024-03-05", "us")
DOUBLE = plain_tide(("M2", 1.0, 0), ("M4", 0.5, 0))  # double low water
TIDES = find_extremes(DOUBLE, START, END)
SLOPE = DOUBLE.pieces(*(int(one) for one in microseconds(np.array([START, END])))).derivative()
#: Marks by their lags; None follows the level.
MARKS = (None, SlackLags(40.0, 100.0), SlackLags(-15.0, -60.0), None)
SPAN_US = 5 * 86_400_000_000


def turns_of(lags: SlackLags | None) -> StreamTurns:
    primaries = TIDES.primaries()
    at = primaries.times_us()
    return StreamTurns(at if lags is None else lags.turning_us(TIDES), at, primaries.kind == "low")


@pytest.mark.parametrize("marks", [MARKS, MARKS[:1], MARKS[1:3]])
def test_many_marks_in_one_go_have_the_index_of_each(marks: tuple[SlackLags | None, ...]) -> None:
    shifts = [place * SPAN_US for place in range(len(marks))]
    streams = Streams.laid([turns_of(lags) for lags in marks], shifts, SLOPE)
    inside, outside = [], []
    for lags, shift in zip(marks, shifts, strict=True):
        turns = turns_of(lags).turns_us
        first, last = int(turns[0]), int(turns[-1])
        # The turns themselves too, from the first to the last.
        times = np.unique(np.concatenate((np.random.default_rng(2).integers(first, last, 300), turns)))
        expected = flow_index(DOUBLE, 1.0, times.view("datetime64[us]"), lags, TIDES)
        found = streams.rates(times, times + shift)
        np.testing.assert_allclose(found, expected, atol=1e-6)
        inside.append((times, shift, expected))
        outside.append((np.array([first - 1, last + 1]), shift, np.full(2, np.nan)))
    times, shifted, expected = (
        np.concatenate(column) for column in zip(*((t, t + s, e) for t, s, e in (*inside, *outside)), strict=True)
    )
    order = np.random.default_rng(3).permutation(times.size)
    np.testing.assert_allclose(streams.rates(times[order], shifted[order]), expected[order], atol=1e-6)


def test_without_turns_nothing_is_known() -> None:
    turns, extremes, rising = turns_of(None)
    lone = StreamTurns(turns[:1], extremes[:1], rising[:1])
    times = microseconds(np.array([START, END]))
    assert np.isnan(Streams.laid([lone], [0], SLOPE).rates(times, times)).all()
