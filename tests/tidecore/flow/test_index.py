from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.extremes.plain_tide import SPEEDS, plain_tide
from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.extremes import find_extremes
from tidecore.flow import SlackLags, flow_index
from tidecore.timebase import TimeGrid

START, END = np.datetime64("2024-03-01", "us"), np.datetime64("2024-03-15", "us")
GRID = TimeGrid.anchored(START, END, "10min")
W = np.radians(SPEEDS["M2"])
PLAIN = plain_tide(("M2", 2.0, 33))
SKEW = plain_tide(("M2", 1.0, 0), ("M4", 0.15, 90))
DOUBLE = plain_tide(("M2", 1.0, 0), ("M4", 0.5, 0))
MIXED = plain_tide(("M2", 0.5, 9), ("S2", 0.25, 50), ("K1", 0.35, 99), ("O1", 0.3, 5))


def test_index_is_the_rate_over_the_normaliser() -> None:
    index = flow_index(SKEW, 0.4, GRID)
    np.testing.assert_allclose(index, SKEW.rates(GRID) / 0.4, atol=1e-12)
    np.testing.assert_array_equal(index, flow_index(SKEW, 0.4, GRID.times()))
    shuffled = np.random.default_rng(1).permutation(GRID.times())[:600].reshape(20, 30)
    again = flow_index(SKEW, 0.4, shuffled)
    assert again.shape == (20, 30)
    np.testing.assert_allclose(again, SKEW.rates(shuffled) / 0.4, atol=1e-12)


def test_flood_is_positive_and_a_pure_tide_peaks_at_one() -> None:
    index = flow_index(PLAIN, 2.0 * W, TimeGrid.anchored(START, END, "1min"))
    assert index.max() == pytest.approx(1.0, abs=1e-5)
    assert index.min() == pytest.approx(-1.0, abs=1e-5)
    heights = PLAIN.heights(TimeGrid.anchored(START, END, "1min"))
    rising = np.diff(heights) > 1e-4
    assert np.all(index[:-1][rising] > 0)


@given(st.integers(-120, 120))
def test_equal_lags_shift_the_stream(minutes: int) -> None:
    shift = np.timedelta64(minutes, "m")
    lagged = flow_index(SKEW, 0.5, GRID, SlackLags(minutes, minutes))
    np.testing.assert_allclose(lagged, flow_index(SKEW, 0.5, GRID.times() - shift), atol=1e-6)


def test_stream_stops_at_the_slacks_and_runs_between_them_as_the_level_does() -> None:
    lags = SlackLags(60.0, -20.0)
    tides = find_extremes(PLAIN, START, END)
    turns = lags.turning_us(tides)
    extremes = tides.times_us()
    at_slack = flow_index(PLAIN, 2.0 * W, turns[2:-2].view("datetime64[us]"), lags, tides)
    np.testing.assert_allclose(at_slack, 0.0, atol=1e-8)
    third = turns[2:-3] + (turns[3:-2] - turns[2:-3]) // 3
    level = extremes[2:-3] + (extremes[3:-2] - extremes[2:-3]) // 3
    expected = PLAIN.rates(level.view("datetime64[us]")) / (2.0 * W)
    np.testing.assert_allclose(flow_index(PLAIN, 2.0 * W, third.view("datetime64[us]"), lags), expected, atol=1e-6)
    sign = np.where(tides.kind[2:-3] == "low", 1.0, -1.0)
    assert np.array_equal(np.sign(expected), sign)


def test_second_low_water_stops_the_stream_but_does_not_turn_it() -> None:
    times = TimeGrid.anchored(START, END, "1min")
    index, rates = flow_index(DOUBLE, 1.0, times), DOUBLE.rates(times)
    np.testing.assert_allclose(np.abs(index), np.abs(rates), atol=1e-12)
    turns = find_extremes(DOUBLE, START, END)
    flips = np.count_nonzero(np.diff(np.sign(index)) != 0)
    assert flips == np.count_nonzero(turns.primary)
    assert np.count_nonzero(np.diff(np.sign(rates)) != 0) == len(turns) > flips


@given(st.integers(0, 13 * 86400), st.sampled_from([None, SlackLags(45.0, 100.0)]))
def test_index_of_an_instant_never_depends_on_the_others(second: int, lags: SlackLags | None) -> None:
    one = np.array([START + np.timedelta64(second, "s")])
    among = np.concatenate((one, GRID.times()))
    assert flow_index(MIXED, 0.3, one, lags)[0] == pytest.approx(flow_index(MIXED, 0.3, among, lags)[0], abs=1e-9)


def test_given_tides_must_reach_over_the_times() -> None:
    tides = find_extremes(PLAIN, START, END)
    inner = TimeGrid.anchored("2024-03-02", "2024-03-05", "10min")
    for lags in (None, SlackLags(30.0, 10.0)):
        np.testing.assert_allclose(
            flow_index(PLAIN, 1.0, inner, lags, tides), flow_index(PLAIN, 1.0, inner, lags), atol=1e-9
        )
        with pytest.raises(InvalidSpan, match="high and low waters before the first"):
            flow_index(PLAIN, 1.0, GRID, lags, tides)
        # From the first turn to the last two are enough.
        two = tides.select(slice(2, 4))
        first, last = (lags or SlackLags(0.0, 0.0)).turning_us(two).tolist()
        just = np.linspace(first, last, 9).astype(np.int64).view("datetime64[us]")
        np.testing.assert_allclose(
            flow_index(PLAIN, 1.0, just, lags, two), flow_index(PLAIN, 1.0, just, lags), atol=1e-9
        )
        with pytest.raises(InvalidSpan, match="0 slacks do not reach"):
            flow_index(PLAIN, 1.0, GRID, lags, tides.select(slice(0)))


def test_without_tide_the_index_is_unknown() -> None:
    assert np.isnan(flow_index(PLAIN, 0.0, GRID)).all()
    assert np.isnan(flow_index(plain_tide(("M2", 0.005, 0)), 0.01, GRID)).all()
    assert np.isnan(flow_index(plain_tide(("M2", 0.005, 0)), 0.01, GRID, SlackLags(10.0, 10.0))).all()
    assert flow_index(PLAIN, 1.0, np.empty(0, dtype="datetime64[us]")).shape == (0,)


@pytest.mark.parametrize("bad", [-0.1, float("nan"), float("inf")])
def test_a_normaliser_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(InvalidInput, match="normaliser"):
        flow_index(PLAIN, bad, GRID)


def test_lags_that_turn_time_back_are_refused() -> None:
    with pytest.raises(InvalidInput, match="every slack comes before the next"):
        flow_index(PLAIN, 1.0, GRID, SlackLags(-200.0, 200.0))


@pytest.mark.parametrize("lags", [None, SlackLags(40.0, 55.0)])
def test_a_slope_given_changes_nothing(lags: SlackLags | None) -> None:
    times = np.datetime64("2026-03-01", "us") + np.arange(0, 3 * 1440, 7) * np.timedelta64(1, "m")
    start, end = times[0] - np.timedelta64(3, "D"), times[-1] + np.timedelta64(3, "D")
    tides = find_extremes(DOUBLE, start, end)
    slope = DOUBLE.pieces(int(start.astype(np.int64)), int(end.astype(np.int64))).derivative()
    alone = flow_index(DOUBLE, 0.6, times, lags, tides)
    assert np.abs(flow_index(DOUBLE, 0.6, times, lags, tides, slope) - alone).max() < 1e-7
