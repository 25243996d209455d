from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.roots.brackets import crossings, edges, maxima, refine, sample_times, summits
from tidecore.roots.passages import passages
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray

START = 1_767_225_600_000_000  # 2026-01-01
DAY = START + US_PER_DAY
M2_US = 12.4206012 * US_PER_HOUR


def hours(times: FloatArray) -> FloatArray:
    return (times - START) / US_PER_HOUR


def wave(times: FloatArray) -> FloatArray:
    return np.cos(2 * np.pi * (times - START) / M2_US)


def test_samples_are_whole_multiples_of_the_step_between_the_ends() -> None:
    ten = 10 * US_PER_MINUTE
    samples = sample_times(START + 7, START + 2 * ten, ten)
    assert samples.tolist() == [START + 7, START + ten, START + 2 * ten]
    assert sample_times(START, START + 1, ten).tolist() == [START, START + 1]


@pytest.mark.parametrize(("end", "step"), [(START, US_PER_HOUR), (START - 1, US_PER_HOUR), (DAY, 0), (DAY, -5)])
def test_a_span_or_step_that_makes_no_samples_is_refused(end: int, step: int) -> None:
    with pytest.raises(InvalidSpan):
        crossings(wave, START, end, step)


def test_crossings_of_a_cosine_are_where_arithmetic_says() -> None:
    found = crossings(wave, START, START + 2 * US_PER_DAY, US_PER_HOUR)
    expected = START + M2_US * (0.25 + 0.5 * np.arange(8))
    expected = expected[expected < START + 2 * US_PER_DAY]
    assert len(found) == expected.size
    np.testing.assert_allclose(found.times_us, expected, rtol=0, atol=1000)
    assert found.rising.tolist() == [False, True] * (expected.size // 2) + [False] * (expected.size % 2)


def test_crossings_of_another_level() -> None:
    found = crossings(wave, START, DAY, US_PER_HOUR, level=0.5, tolerance_us=1.0)
    np.testing.assert_allclose(found.times_us[:2], START + M2_US * np.array([1 / 6, 5 / 6]), rtol=0, atol=1.5)
    assert found.rising.tolist()[:2] == [False, True]


def test_no_crossing_is_an_empty_answer() -> None:
    found = crossings(wave, START, DAY, US_PER_HOUR, level=2.0)
    assert len(found) == 0
    assert found.rising.dtype == np.bool_


def test_a_zero_on_a_sample_is_found_once() -> None:
    found = crossings(lambda t: hours(t) - 5.0, START, DAY, US_PER_HOUR)
    assert found.times_us.tolist() == [START + 5 * US_PER_HOUR]
    assert found.rising.tolist() == [True]
    falling = crossings(lambda t: 5.0 - hours(t), START, DAY, US_PER_HOUR)
    assert falling.times_us.tolist() == [START + 5 * US_PER_HOUR]
    assert falling.rising.tolist() == [False]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_neighbouring_spans_share_no_crossing_and_lose_none(sign: float) -> None:
    middle = START + 5 * US_PER_HOUR

    def line(times: FloatArray) -> FloatArray:
        return sign * (hours(times) - 5.0)

    before, after = crossings(line, START, middle, US_PER_HOUR), crossings(line, middle, DAY, US_PER_HOUR)
    assert len(before) == 0
    assert after.times_us.tolist() == [middle]
    assert after.rising.tolist() == [sign > 0]


def test_a_crossing_just_before_the_end_stays_before_it() -> None:
    end = START + 5 * US_PER_HOUR

    def line(times: FloatArray) -> FloatArray:
        return (times - end) + 0.5

    found = crossings(line, START, end, US_PER_HOUR)
    assert len(found) == 1
    assert found.times_us[0] <= end - 1
    assert len(crossings(line, end, DAY, US_PER_HOUR)) == 0


def test_touches_follow_the_state_at_or_above() -> None:
    def touch(times: FloatArray) -> FloatArray:
        return (hours(times) - 5.0) ** 2

    assert len(crossings(touch, START, DAY, US_PER_HOUR)) == 0
    below = crossings(lambda t: -touch(t), START, DAY, US_PER_HOUR)
    assert below.times_us.tolist() == [START + 5 * US_PER_HOUR] * 2
    assert below.rising.tolist() == [True, False]
    assert len(crossings(touch, START + 5 * US_PER_HOUR, DAY, US_PER_HOUR)) == 0


def test_nothing_is_found_next_to_what_is_unknown() -> None:
    def patchy(times: FloatArray) -> FloatArray:
        values = wave(times)
        values[(times > START + 2 * US_PER_HOUR) & (times < START + 4 * US_PER_HOUR)] = np.nan
        return values

    whole, holed = crossings(wave, START, DAY, US_PER_HOUR), crossings(patchy, START, DAY, US_PER_HOUR)
    assert whole.times_us[0] < START + 4 * US_PER_HOUR
    np.testing.assert_allclose(holed.times_us, whole.times_us[1:], rtol=0, atol=1)


def test_a_hole_inside_a_bracket_hides_its_crossing() -> None:
    def patchy(times: FloatArray) -> FloatArray:
        values = hours(times) - 5.5
        values[np.abs(hours(times) - 5.5) < 0.2] = np.nan
        return values

    assert len(crossings(patchy, START, DAY, US_PER_HOUR)) == 0


def test_infinities_have_a_sign_and_can_be_crossed() -> None:
    def wall(times: FloatArray) -> FloatArray:
        return np.where(hours(times) < 3.3, -np.inf, np.inf)

    found = crossings(wall, START, DAY, US_PER_HOUR)
    np.testing.assert_allclose(found.times_us, [START + 3.3 * US_PER_HOUR], rtol=0, atol=1000)


CURVES: dict[str, Callable[[Any], Any]] = {
    "line": lambda x: x - 0.3,
    "cubic": lambda x: (x - 0.7) ** 3 + 1e-3 * (x - 0.7),
    "flat cubic": lambda x: (x - 0.25) ** 9,
    "steep": lambda x: np.tanh(1e4 * (x - 0.123456)),
    "exponential": lambda x: np.exp(8 * x) - 5.0,
    "nearly a step": lambda x: np.arctan(1e6 * (x - 0.9)) + 0.1,
    "wavy": lambda x: np.sin(9 * x) + x - 0.5,
}


@pytest.mark.parametrize("name", CURVES)
def test_refine_agrees_with_brentq(name: str) -> None:
    curve = CURVES[name]
    calls = 0

    def function(times: FloatArray) -> FloatArray:
        nonlocal calls
        calls += 1
        return np.asarray(curve((times - START) / US_PER_DAY))

    expected = START + US_PER_DAY * brentq(curve, 0.0, 1.0, xtol=1e-13, rtol=1e-14, maxiter=500)
    found = refine(function, [START], [DAY], tolerance_us=1000)
    assert abs(found[0] - expected) <= 1000
    assert calls <= 60


def test_a_smooth_function_takes_few_calls() -> None:
    calls = 0

    def function(times: FloatArray) -> FloatArray:
        nonlocal calls
        calls += 1
        return wave(times)

    left = START + M2_US * (0.5 * np.arange(60)) + 0.4 * US_PER_HOUR
    found = refine(function, left, left + 5 * US_PER_HOUR, tolerance_us=1000)
    np.testing.assert_allclose(found, START + M2_US * (0.25 + 0.5 * np.arange(60)), rtol=0, atol=1000)
    assert calls <= 12


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.01, 0.99), st.floats(-6, 6), st.booleans()), min_size=1, max_size=8),
    st.sampled_from([1.0, 1000.0, 1e6]),
)
def test_every_bracket_is_closed_to_the_tolerance(rows: list[tuple[float, float, bool]], tolerance: float) -> None:
    root = np.array([row[0] for row in rows])
    bend = np.array([row[1] for row in rows])
    sign = np.where([row[2] for row in rows], 1.0, -1.0)

    def function(times: FloatArray) -> FloatArray:
        x = (times - START) / US_PER_DAY
        return np.asarray(sign * np.exp(bend * x) * (x - root))

    found = refine(function, np.full(root.size, START), np.full(root.size, DAY), tolerance_us=tolerance)
    np.testing.assert_allclose(found, START + US_PER_DAY * root, rtol=0, atol=tolerance + 1.0)


def test_refine_returns_a_zero_at_an_end_as_it_is() -> None:
    at = START + 3 * US_PER_HOUR

    def line(times: FloatArray) -> FloatArray:
        return times - at

    assert refine(line, [at, START], [DAY, at]).tolist() == [at, at]


def test_refine_says_nan_where_the_function_is_unknown() -> None:
    def half(times: FloatArray) -> FloatArray:
        return np.where(hours(times) > 12, np.nan, hours(times) - 5.0)

    found = refine(half, [START, START], [START + 11 * US_PER_HOUR, DAY])
    np.testing.assert_allclose(found[0], START + 5 * US_PER_HOUR, rtol=0, atol=1000)
    assert np.isnan(found[1])


def test_refine_names_the_bracket_without_a_change_of_sign() -> None:
    with pytest.raises(InvalidInput, match=r"left_us\.1.*one sign"):
        refine(lambda t: hours(t) - 5.0, [START, START + 6 * US_PER_HOUR], [DAY, DAY])


@pytest.mark.parametrize("search", [refine, edges])
def test_brackets_that_do_not_pair_are_refused(search: object) -> None:
    with pytest.raises(InvalidInput, match="right_us"):
        search(lambda t: t > 0, [START], [DAY, DAY])  # type: ignore[operator]
    with pytest.raises(InvalidInput, match=r"right_us\.0"):
        search(lambda t: t > 0, [DAY], [START])  # type: ignore[operator]


def test_no_brackets_no_instants() -> None:
    assert refine(wave, [], []).size == 0
    assert edges(lambda t: t > 0, [], []).size == 0
    assert passages(wave, [], [], (np.empty(0), np.empty(0))).size == 0


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(1, US_PER_DAY), min_size=1, max_size=6), st.sampled_from([1.0, 500_000.0, 6e7]))
def test_edges_give_the_new_value_within_the_tolerance(changes: list[int], tolerance: float) -> None:
    at = START + np.array(changes, dtype=np.float64)
    becomes = np.arange(at.size) % 2 == 0

    def condition(times: FloatArray) -> BoolArray:
        return np.asarray((times >= at) == becomes)

    found = edges(condition, np.full(at.size, START), np.full(at.size, DAY), tolerance_us=tolerance)
    assert np.all((found >= at) & (found - at <= tolerance + 1.0))
    assert np.array_equal(condition(found), becomes)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([1.0, 50_000.0, 6e7]))
def test_passages_are_the_edges_of_the_sign_in_fewer_calls(seed: int, tolerance: float) -> None:
    rng = np.random.default_rng(seed)
    at = START + rng.uniform(0.0, US_PER_DAY, 8)
    # From a straight line to one that hardly moves on one side; unknown far before the passage in one of them.
    way, bend = rng.choice([-1.0, 1.0], 8), rng.uniform(-6.0, 6.0, 8)
    calls: list[int] = []

    def function(times: FloatArray) -> FloatArray:
        calls.append(1)
        away = (times.reshape(-1, 8) - at) / US_PER_DAY
        values = way * away * np.exp(bend * away)
        values[:, 0] = np.where(away[:, 0] < -0.5, np.nan, np.abs(way[0]) * away[:, 0])
        return values.reshape(times.shape)

    left, right = np.full(8, START), np.full(8, float(DAY))
    found = passages(function, left, right, (function(left), function(right)), tolerance)
    mine = len(calls)
    halved = edges(lambda times: function(times) >= 0.0, left, right, tolerance)
    np.testing.assert_allclose(found, halved, rtol=0, atol=2.0)
    assert mine < len(calls) - mine


def test_edges_name_the_bracket_in_which_nothing_changes() -> None:
    with pytest.raises(InvalidInput, match=r"left_us\.0.*False at both"):
        edges(lambda t: t > DAY, [START], [DAY])


def test_maxima_of_a_cosine() -> None:
    found = maxima(wave, START + 1, START + 3 * US_PER_DAY, US_PER_HOUR, tolerance_us=1e6)
    expected = START + M2_US * np.arange(1, 6)
    np.testing.assert_allclose(found.times_us, expected, rtol=0, atol=1e6)
    np.testing.assert_allclose(found.values, 1.0, rtol=0, atol=1e-8)


def test_a_plateau_is_one_maximum() -> None:
    found = maxima(lambda t: np.minimum(wave(t), 0.5), START + 1, START + 20 * US_PER_HOUR, US_PER_HOUR)
    assert len(found) == 1
    assert found.values.tolist() == [0.5]


def test_a_monotone_function_has_no_maximum_inside() -> None:
    assert len(maxima(hours, START, DAY, US_PER_HOUR)) == 0


def test_summits_in_their_brackets_in_their_order() -> None:
    peaks = START + M2_US * np.array([3.0, 1.0, 2.0])
    found = summits(wave, peaks - US_PER_HOUR, peaks + 3 * US_PER_HOUR, tolerance_us=1e6)
    np.testing.assert_allclose(found.times_us, peaks, rtol=0, atol=1e6)
    slope = summits(hours, [START], [DAY])
    np.testing.assert_allclose(slope.times_us, [DAY], rtol=0, atol=1e6)
    assert len(summits(wave, [], [])) == 0


def test_ends_that_are_known_are_not_asked_for_again() -> None:
    asked: list[int] = []

    def wave(times: FloatArray) -> FloatArray:
        asked.append(times.size)
        return np.asarray(np.sin(times / US_PER_HOUR))

    left, right = np.array([2.0, 5.5]) * US_PER_HOUR, np.array([4.0, 7.5]) * US_PER_HOUR
    plain, calls = refine(wave, left, right), len(asked)
    found = refine(wave, left, right, ends=(np.sin(left / US_PER_HOUR), np.sin(right / US_PER_HOUR)))
    np.testing.assert_array_equal(found, plain)
    assert len(asked) == 2 * calls - 2
