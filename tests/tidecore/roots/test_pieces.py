from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import polynomial

from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.roots.pieces import PiecewisePolynomial

HOUR = 3_600_000_000


def random_pieces(count: int = 50, degree: int = 9, start_us: int = 1_700_000_000_000_000) -> PiecewisePolynomial:
    rng = np.random.default_rng(7)
    return PiecewisePolynomial(start_us, HOUR, rng.normal(size=(count, degree + 1)))


def by_hand(pieces: PiecewisePolynomial, time_us: int) -> float:
    piece = min((time_us - pieces.start_us) // HOUR, len(pieces) - 1)
    u = 2.0 * (time_us - pieces.start_us - piece * HOUR) / HOUR - 1.0
    return float(polynomial.polyval(u, pieces.coefficients[piece]))


def test_values_are_those_of_the_polynomial_of_each_piece() -> None:
    pieces = random_pieces()
    times = np.random.default_rng(1).integers(pieces.start_us, pieces.end_us, size=40_000)
    expected = [by_hand(pieces, int(time)) for time in times[:500]]
    np.testing.assert_allclose(pieces(times)[:500], expected, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(pieces(times.astype(np.float64)), pieces(times))


def test_order_shape_and_blocks_do_not_matter() -> None:
    pieces = random_pieces()
    times = np.random.default_rng(2).integers(pieces.start_us, pieces.end_us, size=60_000)
    values = pieces(times)
    np.testing.assert_array_equal(pieces(times[::-1]), values[::-1])
    np.testing.assert_array_equal(pieces(times.reshape(300, 200)).ravel(), values)
    np.testing.assert_array_equal(pieces(times[5:9]), values[5:9])
    assert pieces(np.empty((0, 3))).shape == (0, 3)


def test_border_belongs_to_the_later_piece_and_the_end_is_included() -> None:
    step = PiecewisePolynomial(0, HOUR, np.array([[1.0], [2.0]]))
    assert step(np.array([0, HOUR - 1, HOUR, 2 * HOUR])).tolist() == [1.0, 1.0, 2.0, 2.0]


@pytest.mark.parametrize("time", [-1.0, 2.0 * HOUR + 1, np.nan])
def test_instants_outside_are_refused_with_the_range(time: float) -> None:
    with pytest.raises(InvalidSpan, match=f"instants from 0 to {2 * HOUR}"):
        PiecewisePolynomial(0, HOUR, np.ones((2, 3)))(np.array([0.0, time]))


def test_places_are_the_same_as_instants() -> None:
    pieces = random_pieces(count=7)
    places = np.array([-1.0, -0.5, 0.25])
    times = pieces.start_us + np.arange(7)[:, None] * HOUR + ((places + 1.0) / 2.0 * HOUR).astype(np.int64)
    np.testing.assert_allclose(pieces.at_places(places), pieces(times), rtol=0, atol=1e-12)


def test_derivative_is_per_hour_whatever_the_width() -> None:
    # h = t^2 with t in hours, on pieces of half an hour: t = t0 + (u + 1) / 4
    start = np.arange(6) * 0.5
    coefficients = np.column_stack([(start + 0.25) ** 2, (start + 0.25) / 2.0, np.full(6, 1 / 16)])
    pieces = PiecewisePolynomial(0, HOUR // 2, coefficients)
    hours = np.array([0.0, 0.3, 1.7, 3.0])
    np.testing.assert_allclose(pieces(hours * HOUR), hours**2, atol=1e-12)
    np.testing.assert_allclose(pieces.derivative()(hours * HOUR), 2 * hours, atol=1e-12)
    assert pieces.derivative().derivative().derivative()(hours * HOUR).tolist() == [0.0] * 4


@pytest.mark.parametrize(
    ("width", "coefficients", "field"),
    [
        (HOUR, np.empty((0, 3)), "coefficients"),
        (HOUR, np.ones(3), "coefficients"),
        (HOUR, np.array([[np.nan]]), "coefficients"),
        (0, np.ones((1, 1)), "width_us"),
    ],
)
def test_what_makes_no_function_is_refused(width: int, coefficients: np.ndarray, field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        PiecewisePolynomial(0, width, coefficients)
    assert caught.value.faults[0].field == field


def test_coefficients_are_taken_without_a_copy() -> None:
    by_piece = np.ones((10, 4))
    assert np.shares_memory(PiecewisePolynomial(0, HOUR, by_piece).coefficients, by_piece)
