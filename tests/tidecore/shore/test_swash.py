"""Run-up: the worked numbers of the published formulae, where they hold, and that more never makes the peg drier."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.shore.profiles import BAR, SHINGLE_TO_SAND, random_ground
from tidecore.shore import Ground, Waves, dry_margin, largest_over_r2, plane_ground, poate, run_up, stockdon
from tidecore.shore.dryness import wetted_level
from tidecore.shore.swash import REASONS
from tidecore.shore.waves import exceedance, largest_expected, largest_median, largest_most_probable, waves_in


# Worked by hand from the formulae of Stockdon et al. 2006 and Poate et al. 2016.
def test_worked_values():
    assert stockdon(2.0, 10.0, 0.1) == pytest.approx(1.63, abs=0.005)
    assert stockdon(2.0, 10.0, 0.02) == pytest.approx(0.76, abs=0.005)  # Iribarren 0.18: dissipative
    assert poate(3.0, 0.15, energy_period=9.0) == pytest.approx(3.45, abs=0.005)
    # 0.49 sqrt(0.15) 9 x 3 = 5.124 is the larger of the two forms.
    assert poate(3.0, 0.15, energy_period=9.0, zero_crossing_period=9.0) == pytest.approx(5.124, abs=0.001)


# Rayleigh's distribution, Longuet-Higgins 1952: largest of 1000 waves.
def test_rayleigh_heights():
    assert exceedance(2.0) == pytest.approx(1 / 2981, rel=1e-4)
    assert largest_most_probable(1000) == pytest.approx(1.858, abs=5e-4)
    assert largest_median(1000) == pytest.approx(1.907, abs=5e-4)
    assert largest_expected(1000) == pytest.approx(1.928, abs=5e-4)
    assert largest_over_r2(1000) == pytest.approx(1.33, abs=0.005)
    assert largest_over_r2(10) == 1.0
    assert waves_in(240.0, 8.0) == pytest.approx(1800.0)


def test_periods_follow_from_the_peak_period_alone():
    sea = Waves.of([1.0, 1.0, 1.0], [np.nan, 12.8, 12.8], energy=[9.0, np.nan, 9.0])
    assert sea.energy_period == pytest.approx([9.0, 12.8 / 1.1, 9.0])
    assert sea.zero_crossing_period == pytest.approx([np.nan, 10.0, 10.0], nan_ok=True)
    assert sea.peak_period == pytest.approx([np.nan, 12.8, 12.8], nan_ok=True)


def test_a_plane_has_the_value_of_its_slope():
    for slope, height, period in ((0.1, 2.0, 10.0), (0.02, 2.0, 10.0), (0.05, 0.7, 6.0)):
        found = run_up(plane_ground(slope, "clean_sand"), [0.0, 2.0], Waves.of([height] * 2, period))
        assert found.r2 == pytest.approx([float(stockdon(height, period, slope))] * 2)
        assert found.slope == pytest.approx([slope] * 2)
    found = run_up(plane_ground(0.15, "shingle"), [0.0], Waves.of([3.0], energy=[9.0]))
    assert found.r2 == pytest.approx([3.45], abs=0.005)


def test_the_slope_is_the_mean_over_the_reach():
    found = run_up(SHINGLE_TO_SAND, [3.0], Waves.of([1.0], [8.0]))
    r2, slope = found.r2[0], found.slope[0]
    low, high = 3.0 - r2 / 2, 3.0 + r2
    # Landward 20 m a fall of 2.5 m from 5 m, seaward from 30 m on 15 m a fall of 2 m.
    low_at = 30 + (2.5 - low) * 7.5 if low < 2.5 else 30 - (low - 2.5) * 8
    assert slope == pytest.approx((high - low) / (low_at - (30 - (high - 2.5) * 8)))
    assert r2 == pytest.approx(float(poate(1.0, slope, 8 / 1.1, 8 / 1.28)))


SEA = Waves.of([1.0], [9.0])


@pytest.mark.parametrize(
    ("ground", "still", "sea", "why"),
    [
        (plane_ground(0.1, "rough_rock_and_kelp"), 0.0, SEA, "bed"),
        (plane_ground(0.1, "shingle_to_sand"), 0.0, SEA, "bed"),
        (plane_ground(0.1, ""), 0.0, SEA, "bed"),
        (plane_ground(0.21, "clean_sand"), 0.0, SEA, "slope"),
        (plane_ground(0.009, "clean_sand"), 0.0, SEA, "slope"),
        (plane_ground(0.1, "clean_sand"), 0.0, Waves.of([np.nan], [9.0]), "height"),
        (plane_ground(0.1, "clean_sand"), 0.0, Waves.of([1.0], energy=[9.0]), "period"),
        (plane_ground(0.1, "shingle"), 0.0, Waves.of([1.0]), "period"),
        (BAR, 4.5, SEA, "still level is off"),
        (BAR, 3.9, SEA, "beyond"),
        (BAR, -2.9, SEA, "beyond"),
        (SHINGLE_TO_SAND, 0.5, SEA, "bed"),  # sand below, shingle above
    ],
)
def test_where_there_is_no_estimate_it_is_unknown_and_says_why(ground, still, sea, why):
    found = run_up(ground, [still], sea)
    assert np.isnan(found.r2).all()
    assert why in REASONS[found.why[0]]
    assert list(found.reasons()) == [REASONS[found.why[0]]]
    assert np.isnan(dry_margin(ground, 0.0, [still], sea).vertical).all()


def test_no_sea_runs_up_nowhere():
    found = dry_margin(BAR, 20.0, [1.0, 2.0], Waves.of([0.0, 0.0]))
    assert found.run_up.r2.tolist() == [0.0, 0.0]
    assert found.vertical == pytest.approx([2.0, 1.0], abs=0.02)  # the ground at 20 m is at 3 m
    assert found.horizontal == pytest.approx([40.0, 20.0], abs=0.4)


@pytest.mark.parametrize("largest", [1.0, 1.33])
def test_the_margin_on_one_slope_is_that_of_the_formula(largest):
    ground = Ground(np.array([0.0, 120.0]), np.array([6.0, -6.0]), ("clean_sand", "clean_sand"))
    found = dry_margin(ground, 20.0, [0.0, 0.37, 1.0], Waves.of([1.2, 0.8, 2.0], 9.0), largest)
    wetted = np.array([0.0, 0.37, 1.0]) + largest * stockdon([1.2, 0.8, 2.0], 9.0, 0.1)
    assert found.vertical == pytest.approx(4.0 - wetted, abs=0.02)
    assert found.horizontal == pytest.approx((4.0 - wetted) * 10.0, abs=0.2)
    plane = dry_margin(plane_ground(0.1, "clean_sand"), -40.0, [0.0], Waves.of([1.2], 9.0), largest)
    assert plane.vertical == pytest.approx([4.0 - wetted[0]])


def test_shingle_above_adds_nothing_to_a_sea_that_stays_on_the_sand():
    all_sand = Ground(SHINGLE_TO_SAND.distances, SHINGLE_TO_SAND.levels, ("clean_sand",) * 5)
    still, sea = [-2.2, -2.0, -1.5], Waves.of([0.5, 0.8, 0.3], 6.0)
    mixed, plain = (dry_margin(ground, 40.0, still, sea) for ground in (SHINGLE_TO_SAND, all_sand))
    assert np.isfinite(plain.vertical).all()
    assert mixed.vertical == pytest.approx(plain.vertical, abs=0.01)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.sampled_from([("clean_sand",), ("shingle",), ("clean_sand", "shingle")]))
def test_more_water_and_more_sea_never_make_the_peg_drier(seed, beds):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng, beds)
    peg = float(rng.uniform(ground.distances[0], ground.distances[-1]))
    largest = float(rng.choice([1.0, 1.33, 1.5]))
    still = rng.uniform(ground.levels.min(), ground.levels.max(), 200)
    height, period = rng.uniform(0.0, 4.0, 200), rng.uniform(3.0, 16.0, 200)
    more = rng.exponential(0.3, (3, 200)) * (rng.random((3, 200)) < 0.6)
    calm = dry_margin(ground, peg, still, Waves.of(height, period), largest)
    rough = dry_margin(ground, peg, still + more[0], Waves.of(height + more[1], period + more[2]), largest)
    both = ~np.isnan(calm.vertical) & ~np.isnan(rough.vertical)
    assert (rough.vertical[both] <= calm.vertical[both] + 1e-9).all()
    assert (rough.horizontal[both] <= calm.horizontal[both] + 1e-9).all()
    # And the run-up told is never left out of the margin, to the steps of the table.
    wetted = float(ground.level_at(peg)) - calm.vertical
    step = (ground.levels.max() - ground.levels.min()) / 100
    known = ~np.isnan(calm.vertical) & (still + largest * calm.run_up.r2 < ground.levels.max())
    assert (wetted[known] >= (still + largest * calm.run_up.r2)[known] - step).all()


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.sampled_from([("clean_sand",), ("shingle",), ("clean_sand", "shingle")]))
def test_what_a_sea_wets_hangs_on_no_other_sea_that_is_asked_about(seed, beds):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng, beds)
    still = rng.uniform(ground.levels.min(), ground.levels.max(), 60)
    seas = [Waves.of(rng.uniform(0.0, most, 60), rng.uniform(3.0, most + 4.0, 60)) for most in (0.3, 1.0, 3.0)]
    # A sea that wets all of any profile: then a table holds every sea that there is.
    storm = Waves.of(np.full(60, 200.0), np.full(60, 25.0))
    for sea in seas:
        alone = wetted_level(ground, still, sea, 1.5)
        parts = zip((sea.height, sea.peak_period), (storm.height, storm.peak_period), strict=True)
        both = Waves.of(*(np.concatenate(one) for one in parts))
        beside = wetted_level(ground, np.concatenate((still, still)), both, 1.5)[:60]
        assert alone == pytest.approx(beside, abs=1e-9, nan_ok=True)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["clean_sand", "shingle"]))
def test_a_run_up_agrees_with_its_own_slope(seed, bed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng, (bed,), bars=False)
    still = rng.uniform(ground.levels.min(), ground.levels.max(), 50)
    height, period = rng.uniform(0.2, 3.0, 50), rng.uniform(4.0, 14.0, 50)
    found = run_up(ground, still, Waves.of(height, period))
    known = found.why == 0
    if bed == "shingle":
        again = poate(height, found.slope, period / 1.1, period / 1.28)
    else:
        again = stockdon(height, period, found.slope)
        # Where the forms meet the run-up steps; either side of the step agrees with itself.
        iribarren = found.slope / np.sqrt(height / (9.80665 * period**2 / (2 * np.pi)))
        known &= np.abs(iribarren - 0.3) > 1e-3
    assert found.r2[known] == pytest.approx(again[known], rel=1e-6)


@settings(deadline=None, max_examples=50)
@given(st.integers(0, 2**32 - 1))
def test_any_ground_and_sea_has_a_run_up_or_a_reason(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    # Flats, ground that rises seaward, upright faces at any place, levels that meet corners exactly.
    distances = np.sort(rng.choice([np.arange(0.0, 300.0, 50.0), rng.uniform(-50.0, 300.0, 6)][seed % 2], count))
    levels = np.round(rng.normal(0.0, 3.0, count), int(rng.integers(0, 3))) * (seed % 5 > 0)
    beds = rng.choice(["clean_sand", "shingle", "mud", "", "shingle_to_sand"], count)
    ground = Ground(distances, levels, tuple(beds.tolist()))
    still = np.concatenate((rng.normal(0.0, 4.0, 12), levels, [np.nan]))
    sea = Waves.of(rng.choice([0.0, 0.5, 2.0, 15.0, np.nan], still.size), rng.choice([3.0, 15.0, np.nan], still.size))
    found = dry_margin(ground, float(distances[0]), still, sea, 1.33)
    known = found.run_up.why == 0
    assert np.array_equal(known, ~np.isnan(found.run_up.r2))
    assert (found.run_up.r2[known] >= 0.0).all()
    assert np.array_equal(known, ~np.isnan(found.vertical))
