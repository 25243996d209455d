"""Surge as given and surge of pressure: values worked by hand from a centimetre a hectopascal."""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.errors import InvalidInput
from tidecore.intervals import surge_of
from tidecore.intervals.surge import REFERENCE_CAUTION, check_surge_sd, series_at
from tidecore.timebase import US_PER_HOUR


def test_a_centimetre_for_each_hectopascal_below_reference() -> None:
    low = surge_of(pressure_hpa=980.0, reference_pressure_hpa=1010.0)
    assert low is not None
    assert float(low.values) == pytest.approx(0.30)
    assert low.cautions == ()
    standard = surge_of(pressure_hpa=1033.25)
    assert standard is not None
    assert float(standard.values) == pytest.approx(-0.20)
    assert standard.cautions == (REFERENCE_CAUTION,)


def test_a_given_surge_replaces_that_of_the_pressure_at_its_time() -> None:
    found = surge_of(np.array([0.5, np.nan, np.nan]), np.array([980.0, 1003.25, np.nan]))
    assert found is not None
    assert found.values.tolist() == pytest.approx([0.5, 0.1, 0.0])
    assert found.cautions == (REFERENCE_CAUTION,)
    everywhere = surge_of(0.5, 980.0)
    assert everywhere is not None
    assert (float(everywhere.values), everywhere.cautions) == (0.5, ())


def test_nothing_said_is_no_surge() -> None:
    assert surge_of() is None


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"surge_m": 20.0}, "surge_m"),
        ({"surge_m": np.inf}, "surge_m"),
        ({"pressure_hpa": 101325.0}, "pressure_hpa"),
        ({"pressure_hpa": 29.92}, "pressure_hpa"),
        ({"pressure_hpa": 1000.0, "reference_pressure_hpa": 500.0}, "reference_pressure_hpa"),
        ({"reference_pressure_hpa": 1010.0}, "reference_pressure_hpa"),
        ({"surge_m": np.zeros(2), "pressure_hpa": np.full(3, 1000.0)}, "pressure_hpa"),
    ],
)
def test_what_was_never_measured_is_refused(given, field) -> None:
    with pytest.raises(InvalidInput) as caught:
        surge_of(**given)
    assert caught.value.faults[0].field == field


def test_a_standard_deviation_needs_a_surge() -> None:
    assert check_surge_sd(0.1, True) == 0.1
    for sd, surge in ((0.1, False), (-0.1, True), (float("nan"), True)):
        with pytest.raises(InvalidInput, match="surge_sd_m"):
            check_surge_sd(sd, surge)


def test_a_series_is_straight_between_its_values_and_unknown_elsewhere() -> None:
    known = np.array([0, 3, 9, 16, 17, 18]) * US_PER_HOUR
    values = np.array([1.0, 4.0, 1.0, 2.0, np.nan, 3.0])
    hours = {-1: np.nan, 0: 1.0, 1: 2.0, 3: 4.0, 6: 2.5, 9: 1.0, 12: np.nan, 16: 2.0, 16.5: np.nan, 17: np.nan, 18: 3.0,
             18.1: np.nan}  # fmt: skip
    times = np.rint(np.array(list(hours)) * US_PER_HOUR).astype(np.int64)
    # Six hours are bridged, seven are not; beside an unknown value nothing is known.
    np.testing.assert_allclose(series_at(times, known, values), list(hours.values()))
    assert np.isnan(series_at(times, known[:0], values[:0])).all()
