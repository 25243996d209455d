"""The tests of QARTOD against ioos_qc 3.0.0 (Apache-2.0), whose flags stand here as it gave them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import InvalidInput
from tidecore.quality import qartod
from tidecore.timebase import US_PER_HOUR

NAN = float("nan")
SHORT = [1.0, 1.2, 1.3, 3.9, 1.4, 1.3, NAN, 1.1, 0.9, 0.9, 0.9, 0.9]
LONG = [
    0.0, 0.03, 0.0, -0.09, -0.13, -0.23, -0.23, -0.09, -0.14, -0.2, -0.15, -0.12, -0.11, -0.11, -0.11, -0.11, -0.11,
    -0.11, -0.11, -0.63, -0.82, -0.84, -0.97, -0.94, -0.92, 0.06, -1.19, -1.25, -1.25, -1.24, NAN, -1.44, -1.54, -1.62,
    -1.52, -1.6, -1.6, -1.51, -1.57, -1.58,
]  # fmt: skip


def hours(count: int) -> np.ndarray:
    return np.arange(count) * US_PER_HOUR


def flags(text: str) -> list[int]:
    return [int(flag) for flag in text]


@pytest.mark.parametrize(
    ("levels", "fail", "suspect", "expected"),
    [
        # gross_range_test(fail_span, suspect_span)
        (SHORT, (0.0, 3.0), (1.0, 1.35), "111431913333"),
        (LONG, (-1.0, 0.8), (-0.5, 0.5), "1111111111111111111333333144449444444444"),
    ],
)
def test_range(levels, fail, suspect, expected):
    assert qartod.gross_range(np.array(levels), fail, suspect).tolist() == flags(expected)


@pytest.mark.parametrize(
    ("levels", "suspect", "fail", "expected"),
    [
        # spike_test(suspect_threshold, fail_threshold), method "average"
        (SHORT, 0.1, 1.5, "213432921112"),
        (LONG, 0.15, 0.5, "2111111111111111113311113441129211111112"),
    ],
)
def test_spike(levels, suspect, fail, expected):
    assert qartod.spike(np.array(levels), suspect, fail).tolist() == flags(expected)


@pytest.mark.parametrize(
    ("levels", "threshold", "expected"),
    [
        # rate_of_change_test(threshold), there by the second
        (SHORT, 0.15, "131331913111"),
        (LONG, 0.12, "1111111311111111111331311331119111111111"),
    ],
)
def test_rate_of_change(levels, threshold, expected):
    found = qartod.rate_of_change(hours(len(levels)), np.array(levels), threshold)
    assert found.tolist() == flags(expected)


@pytest.mark.parametrize(
    ("levels", "suspect_h", "fail_h", "tolerance", "expected"),
    [
        # flat_line_test(suspect_threshold, fail_threshold, tolerance), there in seconds
        (SHORT, 2.0, 3.0, 0.05, "111111911134"),
        (LONG, 3.0, 5.0, 0.01, "1111111111111133444111111111119111111111"),
    ],
)
def test_flat_line(levels, suspect_h, fail_h, tolerance, expected):
    found = qartod.flat_line(hours(len(levels)), np.array(levels), suspect_h, fail_h, tolerance)
    assert found.tolist() == flags(expected)


def test_gaps_are_where_a_step_and_a_half_is_missing():
    times = np.array([0, 1, 2, 4, 5, 9]) * US_PER_HOUR
    assert qartod.gaps(times, US_PER_HOUR).tolist() == [2, 4]
    assert qartod.gaps(hours(3), US_PER_HOUR).tolist() == []


def test_reversed_bounds_are_refused():
    with pytest.raises(InvalidInput, match="suspect within fail"):
        qartod.gross_range(np.zeros(3), (0.0, 1.0), (-1.0, 0.5))


@given(st.lists(st.floats(-10.0, 10.0), max_size=30), st.floats(0.01, 5.0))
def test_a_larger_threshold_never_flags_more(values, threshold):
    levels = np.array(values)
    few, many = (qartod.spike(levels, size, 2.0 * size) for size in (2.0 * threshold, threshold))
    assert (few <= many).all()
    few, many = (qartod.rate_of_change(hours(len(levels)), levels, size) for size in (2.0 * threshold, threshold))
    assert (few <= many).all()
