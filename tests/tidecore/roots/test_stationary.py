from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.roots.stationary import StationaryPoints, stationary_points

HOUR = 3_600_000_000
START = 1_000_000 * HOUR // 2


def one_piece(polynomial: Polynomial) -> PiecewisePolynomial:
    return PiecewisePolynomial(START, HOUR, np.asarray(polynomial.coef, dtype=np.float64)[None, :])


def places(points: StationaryPoints) -> np.ndarray:
    return 2.0 * (points.times_us - START) / HOUR - 1.0


def cosines(hours: int, terms: list[tuple[float, float, float]], degree: int = 10) -> PiecewisePolynomial:
    """Sum of a cos(w t - g), t in hours from START, as hourly polynomials through Chebyshev nodes."""
    nodes = np.cos(np.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
    t = np.arange(hours)[:, None] + (nodes + 1.0) / 2.0
    values = sum(a * np.cos(w * t - g) for a, w, g in terms)
    return PiecewisePolynomial(START, HOUR, values @ np.linalg.inv(np.vander(nodes, increasing=True)).T)


def test_pure_cosine_turns_when_it_should_to_a_microsecond() -> None:
    period = 12.420601
    w = 2.0 * np.pi / period
    points = stationary_points(cosines(24 * 365, [(1.7, w, 0.4)]))
    expected = (0.4 + np.pi * np.arange(1, len(points) + 1) - np.pi) / w
    hours = (points.times_us - START) / HOUR
    assert len(points) == int((24 * 365 - 0.4 / w) // (period / 2)) + 1
    np.testing.assert_allclose(hours, expected, atol=3e-9)  # 10 microseconds
    np.testing.assert_allclose(points.values, np.where(points.maximum, 1.7, -1.7), atol=1e-12)
    np.testing.assert_allclose(points.curvature, np.where(points.maximum, -1.7, 1.7) * w**2, rtol=1e-8)
    assert points.maximum[0]


@pytest.mark.parametrize("shift", [0.0, 0.25, 0.5, 0.125, 1e-10, -1e-10])
def test_turning_points_on_borders_of_pieces_and_cells_are_met_once(shift: float) -> None:
    points = stationary_points(cosines(50, [(1.0, np.pi, np.pi * (shift + 1.0))], degree=15))
    hours = (points.times_us - START) / HOUR
    assert np.all(np.abs(hours - shift - np.rint(hours - shift)) < 1e-9)
    inside = np.arange(1, 50) + shift
    inside = inside[(inside > 0.5) & (inside < 49.5)]
    middle = hours[(hours > 0.5) & (hours < 49.5)]
    np.testing.assert_allclose(middle, inside, atol=1e-9)


def test_neighbouring_spans_share_none_and_lose_none() -> None:
    terms = [(1.0, 0.505868, 0.3), (0.27, 1.011736, 1.0), (0.05, 1.5176, 0.2)]
    whole = cosines(2000, terms)
    halves = [
        PiecewisePolynomial(START, HOUR, whole.coefficients[:777]),
        PiecewisePolynomial(START + 777 * HOUR, HOUR, whole.coefficients[777:]),
    ]
    together = np.concatenate([stationary_points(half).times_us for half in halves])
    np.testing.assert_array_equal(together, stationary_points(whole).times_us)


@pytest.mark.parametrize("gap", [0.3, 0.1, 1e-2, 1e-3, 3e-4])
@pytest.mark.parametrize("centre", [-0.8, -0.5, 0.0, 0.1, 0.77])
def test_two_roots_inside_one_cell_are_found(gap: float, centre: float) -> None:
    slope = Polynomial.fromroots([centre - gap / 2, centre + gap / 2]) * Polynomial([3.0, 0.4])
    points = stationary_points(one_piece(slope.integ()), resolution=1e-14)
    np.testing.assert_allclose(places(points), [centre - gap / 2, centre + gap / 2], atol=1e-6 * gap + 1e-8)
    assert points.maximum.tolist() == [True, False]


def test_three_roots_inside_one_cell_are_found() -> None:
    roots = [0.1, 0.15, 0.32]
    points = stationary_points(one_piece(Polynomial.fromroots(roots).integ()))
    np.testing.assert_allclose(places(points), roots, atol=1e-8)
    assert points.maximum.tolist() == [False, True, False]


@given(
    st.lists(st.floats(-0.999, 0.999), min_size=0, max_size=8),
    st.lists(st.floats(0.05, 2.0), min_size=0, max_size=2),
    st.floats(0.01, 10.0),
)
def test_every_root_of_a_polynomial_slope_is_found_and_no_other(
    roots: list[float], complex_parts: list[float], scale: float
) -> None:
    roots = sorted(roots)
    assume(np.all(np.diff([-1.0, *roots, 1.0]) >= 0.02))
    slope = Polynomial.fromroots(roots) if roots else Polynomial([1.0])
    for part in complex_parts:
        slope *= Polynomial([part**2 + 0.04, -0.4, 1.0])  # roots at 0.2 +- i part
    points = stationary_points(one_piece((slope * scale).integ()), resolution=1e-18)
    np.testing.assert_allclose(places(points), roots, atol=1e-6)
    assert np.all(points.maximum[1:] != points.maximum[:-1])
    np.testing.assert_allclose(points.values, (slope * scale).integ()(places(points)), atol=1e-12)


def test_level_tangents_and_level_water_turn_nowhere() -> None:
    assert len(stationary_points(one_piece(Polynomial([2.0, 0.0, 0.0, 1.0])))) == 0
    assert len(stationary_points(one_piece(Polynomial([2.0])))) == 0
    assert len(stationary_points(PiecewisePolynomial(0, HOUR, np.zeros((40, 8))))) == 0


def test_a_level_stretch_between_rise_and_fall_is_one_maximum() -> None:
    # rises to 1, stays for two pieces, falls
    rise, stay, fall = [0.75, 0.5, -0.25], [1.0, 0.0, 0.0], [0.75, -0.5, -0.25]
    points = stationary_points(PiecewisePolynomial(START, HOUR, np.array([rise, stay, stay, fall])))
    assert points.maximum.tolist() == [True]
    assert START + HOUR <= points.times_us[0] <= START + 3 * HOUR
    assert points.values[0] == pytest.approx(1.0)


@pytest.mark.parametrize(("excess", "count"), [(-1e-3, 2), (1e-3, 4), (1e-2, 4)])
def test_second_low_water_appears_at_a_quarter_of_the_main_amplitude(excess: float, count: int) -> None:
    # cos x + r cos 2x: at x = pi the curvature is 1 - 4 r, so a second minimum appears where r > 1/4
    w = 0.505868
    terms = [(1.0, w, 0.2), (0.25 * (1.0 + excess), 2.0 * w, 0.4)]
    points = stationary_points(cosines(round(100 * 2 * np.pi / w), terms))
    assert len(points) == 100 * count


def test_none_missing_or_extra_against_a_five_second_grid() -> None:
    terms = [
        (1.0, 0.505868, 0.0), (0.3, 0.523599, 0.9), (0.2, 0.496367, 0.2), (0.08, 0.262516, 1.7),
        (0.29, 1.011736, 0.1), (0.12, 1.029467, 0.7), (0.08, 1.517604, 1.3),
    ]  # fmt: skip
    pieces = cosines(24 * 60, terms)
    t = np.arange(0.0, 24 * 60, 5.0 / 3600.0)
    rates = -sum((a * w * np.sin(w * t - g) for a, w, g in terms), start=np.zeros_like(t))
    change = np.flatnonzero((rates[1:] > 0) != (rates[:-1] > 0))
    points = stationary_points(pieces)
    hours = (points.times_us - START) / HOUR
    assert len(points) == change.size
    assert np.all((hours > t[change]) & (hours <= t[change + 1]))
