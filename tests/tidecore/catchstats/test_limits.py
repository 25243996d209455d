from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.special
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from tidecore.catchstats import chance_greater, compare_rates, dispersion_of_trips, poisson_limits, rate_limits
from tidecore.catchstats.special import beta_below, beta_quantile, gamma_below, gamma_quantile
from tidecore.errors import InvalidInput


# F. Garwood, Biometrika 28 (1936), 437-442.
@pytest.mark.parametrize(
    ("count", "lower", "upper"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)]
)
def test_garwoods_limits(count, lower, upper):
    assert poisson_limits(count) == pytest.approx((lower, upper), abs=1e-3)


# K. Gu, H. K. T. Ng, M. L. Tang, W. R. Schucany, Biometrical Journal 50 (2008): one-sided exact conditional p (from
# memory), and the ratio.
def test_the_example_of_heart_disease():
    found = compare_rates(60, 51477.5, 30, 54308.7)
    assert found.ratio == pytest.approx(2.11, abs=5e-3)
    assert found.p_greater == pytest.approx(0.000428, abs=5e-7)


# P. L. Graham, K. Mengersen, A. P. Morton, Statistics in Medicine 22 (2003): ratio from memory.
def test_the_example_of_breast_cancer():
    found = compare_rates(41, 28010, 15, 19017)
    assert found.ratio == pytest.approx(1.856, abs=5e-4)
    assert found.lower < 1.856 < found.upper


@given(st.integers(0, 60), st.integers(0, 60), st.floats(0.1, 50.0), st.floats(0.1, 50.0))
def test_the_comparison_is_that_of_another_library(one, other, effort_h, other_effort_h):
    if one + other == 0:
        return
    found = compare_rates(one, effort_h, other, other_effort_h)
    share = effort_h / (effort_h + other_effort_h)
    peer = scipy.stats.binomtest(one, one + other, share)
    assert found.p_value == pytest.approx(peer.pvalue, rel=1e-6)
    assert found.p_greater == pytest.approx(
        scipy.stats.binomtest(one, one + other, share, "greater").pvalue, rel=1e-9, abs=1e-14
    )
    limits = peer.proportion_ci(0.95)
    assert found.lower == pytest.approx(limits.low / (1 - limits.low) * other_effort_h / effort_h, rel=1e-7)
    if other:
        assert found.upper == pytest.approx(limits.high / (1 - limits.high) * other_effort_h / effort_h, rel=1e-7)
    else:
        assert found.upper == math.inf


@given(st.floats(0.01, 5000.0), st.floats(0.001, 0.999))
def test_the_gamma_function_and_its_inverse(shape, chance):
    x = gamma_quantile(chance, shape)
    assert x == pytest.approx(scipy.special.gammaincinv(shape, chance), rel=1e-8, abs=1e-290)
    assert gamma_below(shape, shape) == pytest.approx(scipy.special.gammainc(shape, shape), rel=1e-9)
    assert gamma_quantile(0.0, shape) == 0.0


@given(st.floats(0.5, 2000.0), st.floats(0.5, 2000.0), st.floats(0.001, 0.999))
def test_the_beta_function_and_its_inverse(a, b, chance):
    x = beta_quantile(chance, a, b)
    assert beta_below(a, b, 0.4) == pytest.approx(scipy.special.betainc(a, b, 0.4), rel=1e-8, abs=1e-12)
    assert scipy.special.betainc(a, b, x) == pytest.approx(chance, rel=1e-7)


def test_limits_hold_as_often_as_they_say():
    """The chance, summed over all counts, that the limits hold the mean is never under the level."""
    for mean in (0.3, 1.0, 2.5, 7.0):
        counts = np.arange(60)
        inside = [lower <= mean <= upper for lower, upper in (poisson_limits(int(count)) for count in counts)]
        assert scipy.stats.poisson.pmf(counts, mean)[inside].sum() >= 0.95


def test_a_rate_is_told_by_the_hour_and_unknown_without_effort():
    assert rate_limits(5, 10.0) == pytest.approx((0.1623, 1.1668), abs=1e-4)
    assert np.isnan(rate_limits(0, 0.0)).all()
    narrow, wide = rate_limits(20, 10.0), rate_limits(20, 10.0, dispersion=3.0)
    assert wide[0] < narrow[0] < 2.0 < narrow[1] < wide[1]


def test_trips_that_differ_widen_the_limits_until_they_hold():
    """Trips of gamma rates with a squared coefficient of variation of 2: plain limits hold far too seldom."""
    rng = np.random.default_rng(7)
    plain = scaled = 0
    rounds = 400
    for _ in range(rounds):
        efforts = rng.uniform(2.0, 5.0, 60)
        counts = rng.poisson(0.5 * rng.gamma(0.5, 2.0, 60) * efforts).astype(float)
        total, hours = counts.sum(), efforts.sum()
        dispersion = dispersion_of_trips(counts, efforts)
        low, high = rate_limits(total, hours)
        plain += low <= 0.5 <= high
        low, high = rate_limits(total, hours, dispersion=dispersion)
        scaled += low <= 0.5 <= high
    assert plain / rounds < 0.80
    assert scaled / rounds > 0.90


def test_dispersion_needs_trips_and_fish():
    assert math.isnan(dispersion_of_trips(np.ones(4), np.ones(4)))
    assert math.isnan(dispersion_of_trips(np.zeros(9), np.ones(9)))
    assert dispersion_of_trips(np.ones(9), np.ones(9)) == 1.0
    assert dispersion_of_trips(np.array([9.0, 0, 0, 0, 0, 0]), np.ones(6)) == pytest.approx(
        ((9 - 1.5) ** 2 + 5 * 1.5**2) / 9 * 6 / 5
    )


def test_the_chance_is_even_where_nothing_is_known():
    assert chance_greater(0, 2.0, 0, 2.0) == pytest.approx(0.5)
    assert compare_rates(0, 1.0, 0, 1.0).p_value == 1.0
    assert math.isnan(compare_rates(0, 1.0, 0, 1.0).ratio)
    assert chance_greater(3, 1.0, 1, 1.0) == pytest.approx(1.0 - chance_greater(1, 1.0, 3, 1.0))


def test_efforts_far_apart_are_compared_to_the_last_digit():
    # One event in the smaller effort: the chance of it is the share, and of none is all but 1.
    assert compare_rates(5, 1e9, 1, 0.001).p_value == pytest.approx(6e-12, rel=1e-6)
    assert compare_rates(1, 0.001, 5, 1e9).p_value == pytest.approx(6e-12, rel=1e-6)


def test_what_is_no_count_is_refused_all_at_once():
    with pytest.raises(InvalidInput) as caught:
        compare_rates(-1, 0.0, -2, math.inf)
    assert [fault.field for fault in caught.value.faults] == ["count", "other_count", "effort_h", "other_effort_h"]


@pytest.mark.parametrize(
    "bad",
    [
        lambda: poisson_limits(-1),
        lambda: poisson_limits(math.nan),
        lambda: poisson_limits(1, 1.0),
        lambda: rate_limits(1, -1.0),
        lambda: rate_limits(1, 1.0, dispersion=0.5),
        lambda: rate_limits(0, 0.0, 2.0),
        lambda: compare_rates(900_000, 1.0, 900_000, 1.0),
        lambda: compare_rates(2026, 12.0, 94, 2.1e-236),
    ],
)
def test_what_makes_no_limits_is_refused(bad):
    with pytest.raises(InvalidInput):
        bad()
