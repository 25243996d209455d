"""Grades from plain columns, against published values and what common practice says."""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.shore import Ground, Waves, plane_ground
from tidecore.shore.dangers import (
    CAUTION,
    DANGER,
    INFO,
    NONE,
    NOT_ASSESSED,
    WAVES_IN_OUTING,
    cliff,
    cold_air,
    cold_water,
    graded,
    low_visibility,
    on_ledge,
    overwash,
    shore_break,
    thunder,
    up_a_grade,
    wading,
    wind_chill,
)
from tidecore.shore.swash import stockdon
from tidecore.shore.waves import largest_over_r2

NAN = float("nan")


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


@pytest.mark.parametrize(("air", "km_per_h", "index"), [(-10, 20, -18), (0, 30, -6), (-20, 40, -34), (5, 50, -1)])
def test_the_wind_chill_index_is_that_of_its_published_table(air, km_per_h, index):
    assert wind_chill(column(air), column(km_per_h / 3.6)).round().tolist() == [index]


def test_the_wind_chill_is_told_only_where_it_is_defined():
    air, wind = column(10.1, 10.0, 0.0, 0.0), column(30.0, 30.0, 4.7, 4.8) / 3.6
    assert np.isnan(wind_chill(air, wind)).tolist() == [True, False, True, False]


@pytest.mark.parametrize(
    ("air", "wind", "code"),
    [
        (5.0, 2.0, NONE),
        (-5.0, 8.0, CAUTION),
        (-30.0, 0.0, DANGER),
        (-20.0, 12.0, DANGER),
        (15.0, NAN, NONE),
        (2.0, NAN, NOT_ASSESSED),
        (NAN, 5.0, NOT_ASSESSED),
    ],
)
def test_cold_air(air, wind, code):
    assert cold_air(column(air), column(wind), -10.0, -28.0).tolist() == [code]


def test_cold_water_names_the_shock_and_the_hands():
    assert cold_water(column(15.0, 14.9, 10.0, 9.9, NAN), 15.0, 10.0).tolist() == [
        NONE,
        INFO,
        INFO,
        CAUTION,
        NOT_ASSESSED,
    ]


@pytest.mark.parametrize(
    ("height", "period", "reaches", "code"),
    [
        (0.9, 18.0, 1, INFO),
        (1.0, 12.0, 1, DANGER),
        (1.0, 11.9, 1, INFO),
        (1.4, 8.0, 1, INFO),
        (1.5, 4.0, 1, DANGER),
        (1.5, NAN, 1, DANGER),
        (1.2, NAN, 1, NOT_ASSESSED),
        (1.0, NAN, 1, NOT_ASSESSED),
        (0.9, NAN, 1, INFO),
        (NAN, 14.0, 1, NOT_ASSESSED),
        (2.0, 14.0, 0, NOT_ASSESSED),
        (2.0, 14.0, -1, DANGER),
    ],
)
def test_rock_is_graded_by_height_and_period(height, period, reaches, code):
    assert on_ledge(column(height), column(period), np.array([reaches]), (12.0, 1.0, 1.5)).tolist() == [code]


@pytest.mark.parametrize(
    ("height", "period", "code"),
    [
        (1.2, 8.0, DANGER),
        (1.1, 12.0, NONE),
        (3.0, 7.9, NONE),
        (1.2, NAN, NOT_ASSESSED),
        (1.1, NAN, NONE),
        (NAN, 9.0, NOT_ASSESSED),
    ],
)
def test_the_break_on_steep_shingle(height, period, code):
    assert shore_break(column(height), column(period), np.array([1]), 1.2, 8.0).tolist() == [code]


def test_thunder():
    probability = column(29.0, 30.0, NAN, 0.0, NAN)
    observed = np.array([False, False, False, True, False])
    warned = np.array([False, False, False, False, True])
    found = thunder(probability, observed, warned, 30.0).tolist()
    assert found == [NONE, CAUTION, NOT_ASSESSED, DANGER, DANGER]


@pytest.mark.parametrize(
    ("visibility", "away", "code"),
    [
        (499.0, 301.0, DANGER),
        (500.0, 301.0, NONE),
        (10.0, 300.0, NONE),
        (NAN, 301.0, NOT_ASSESSED),
        (NAN, 200.0, NONE),
        (100.0, NAN, NOT_ASSESSED),
        (5000.0, NAN, NONE),
        (NAN, NAN, NOT_ASSESSED),
    ],
)
def test_mist_matters_far_from_the_shore(visibility, away, code):
    assert low_visibility(column(visibility), away, 500.0, 300.0).tolist() == [code]


@pytest.mark.parametrize(
    ("wades", "flood", "mud", "height", "code"),
    [
        (True, 1, False, 0.2, DANGER),
        (True, 0, True, 0.2, DANGER),
        (True, 0, False, 0.6, DANGER),
        (True, 0, False, 0.5, NONE),
        (True, 0, False, NAN, NOT_ASSESSED),
        (True, -1, False, 0.2, NOT_ASSESSED),
        (None, 0, True, 0.2, CAUTION),
        (None, 0, False, 0.6, INFO),
        (False, 1, True, 2.0, NONE),
    ],
)
def test_never_wade_on_a_flood_behind_a_bar_over_mud_or_above_the_knee(wades, flood, mud, height, code):
    assert wading(wades, np.array([flood]), mud, column(height), 0.5).tolist() == [code]


def test_cliffs_are_named_always_and_graded_up_after_frost_or_rain():
    rained = column(19.9, 20.0, 0.0, NAN, NAN, 0.0)
    frost = np.array([0, 0, 1, 0, 1, -1])
    assert cliff(rained, frost, 20.0).tolist() == [INFO, CAUTION, CAUTION, NOT_ASSESSED, CAUTION, NOT_ASSESSED]


def test_what_is_not_assessed_is_no_less_than_a_caution_and_no_more_than_a_danger():
    assert graded(True, False, True).tolist() == NOT_ASSESSED
    assert graded(True, True, True).tolist() == DANGER
    assert NONE < INFO < CAUTION < NOT_ASSESSED < DANGER
    codes = np.array([NONE, INFO, CAUTION, NOT_ASSESSED, DANGER], dtype=np.int8)
    assert up_a_grade(codes, np.ones(5, dtype=bool)).tolist() == [INFO, CAUTION, DANGER, NOT_ASSESSED, DANGER]


SLOPE = 0.1
BEACH = Ground(column(0.0, 200.0), column(10.0, -10.0), ("clean_sand", "clean_sand"))


@pytest.mark.parametrize("zero", [0.0, -40.0, 7.0])
def test_the_largest_run_up_of_the_outing_is_held_against_the_peg(zero):
    # Wherever levels are counted from.
    beach = Ground(BEACH.distances, BEACH.levels + zero, BEACH.beds)
    r2 = float(stockdon(2.0, 10.0, SLOPE))
    assert r2 == pytest.approx(1.63, abs=0.005)
    largest = r2 * float(largest_over_r2(WAVES_IN_OUTING))
    sea = Waves.of(column(2.0), 10.0)
    for above, code in ((largest + 0.43, NONE), (largest + 0.33, DANGER), (r2 + 0.2, DANGER), (0.0, DANGER)):
        found = overwash(beach, (10.0 - above) / SLOPE, column(zero), sea, 0.17, 0.38)
        assert found.codes.tolist() == [code], above
        assert found.margin_largest[0] == pytest.approx(above - largest, abs=0.05)
        assert found.margin[0] == pytest.approx(above - r2, abs=0.05)


@pytest.mark.parametrize("height", [0.0, 0.2, 0.5])
def test_a_flat_or_small_sea_is_assessed_too(height):
    # A run-up of 0, 0.3 and 0.5 m; the ground at 70 m is 3 m above the water.
    found = overwash(BEACH, 70.0, column(0.0), Waves.of(column(height), 6.0), 0.17, 0.38)
    assert found.codes.tolist() == [NONE]
    assert found.margin[0] == pytest.approx(3.0 - float(stockdon(height, 6.0, SLOPE)), abs=0.05)


def test_a_wider_caution_comes_before_the_danger():
    r2 = float(stockdon(2.0, 10.0, SLOPE))
    found = overwash(BEACH, (10.0 - r2 - 1.9) / SLOPE, column(0.0), Waves.of(column(2.0), 10.0), 2.0, 0.38)
    assert found.codes.tolist() == [CAUTION]


def test_water_over_the_peg_is_a_danger_whatever_the_sea():
    unknown = Waves.of(column(NAN, NAN))
    assert overwash(BEACH, 95.0, column(0.6, 0.2), unknown, 0.17, 0.38).codes.tolist() == [DANGER, NOT_ASSESSED]


@pytest.mark.parametrize("bed", ["broken_or_mixed", "", "rough_rock_and_kelp"])
def test_no_formula_no_dry_peg(bed):
    ground = Ground(column(0.0, 200.0), column(10.0, -10.0), (bed, bed))
    found = overwash(ground, 10.0, column(0.0), Waves.of(column(0.1), 5.0), 0.17, 0.38)
    assert found.codes.tolist() == [NOT_ASSESSED]


def test_a_slope_out_of_range_is_not_assessed():
    steep = plane_ground(0.4, "clean_sand")
    far_up = overwash(steep, -100.0, column(0.0), Waves.of(column(0.5), 6.0), 0.17, 0.38)
    assert far_up.codes.tolist() == [NOT_ASSESSED]


def test_water_under_the_profile_counts_as_its_lowest():
    sea = Waves.of(column(0.5, 0.5), 6.0)
    found = overwash(BEACH, 50.0, column(-40.0, -10.0), sea, 0.17, 0.38)
    assert found.codes[0] == found.codes[1]
