"""Observed high and low waters: turning points that are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tidecore
from tidecore.intervals.waters import _turning, observed_waters
from tidecore.timebase import US_PER_MINUTE, TimeGrid

MODEL = tidecore.TideModel.from_constituents(
    {"M2": (2.0, 140.0), "S2": (0.7, 190.0)}, latitude=50.0, convention="utide", mean_level=3.0
)
START, END = "2023-01-01", "2023-01-08"


@pytest.mark.parametrize(("step", "minutes"), [("6min", 0.6), ("15min", 0.6), ("1h", 1.3)])
@pytest.mark.parametrize("late", [-17, 0, 23])
def test_a_tide_that_is_late_is_found_late(step, minutes, late) -> None:
    grid = TimeGrid.spanning(START, END, step)
    extremes = MODEL.extremes(START, END)
    seen = observed_waters(extremes, grid.times_us() + late * US_PER_MINUTE, MODEL.heights(grid))
    # Those at the ends of the record have no two hours on either side.
    assert len(extremes) - 4 <= len(seen.rows) <= len(extremes)
    table = extremes.select(seen.rows)
    shift = (seen.times_us - table.times_us()) / US_PER_MINUTE
    # The two hours are on either side of the tide's own extreme: a cubic off its centre is off by some of that.
    assert np.max(np.abs(shift - late)) < minutes + 0.08 * abs(late)
    # A cubic over four hours of a semidiurnal tide is flatter than the tide by under three centimetres.
    assert np.max(np.abs(seen.heights - table.height)) < 0.035


def test_a_gap_hides_its_high_water() -> None:
    grid = TimeGrid.spanning(START, END, "6min")
    extremes = MODEL.extremes(START, END)
    whole = observed_waters(extremes, grid.times_us(), MODEL.heights(grid))
    hidden = whole.rows[4]
    kept = np.abs(grid.times_us() - extremes.times_us()[hidden]) > 40 * US_PER_MINUTE
    seen = observed_waters(extremes, grid.times_us()[kept], MODEL.heights(grid)[kept])
    assert sorted(set(whole.rows) - set(seen.rows)) == [hidden]


@given(st.floats(-1.9, 1.9), st.floats(0.05, 3.0), st.floats(-0.12, 0.12), st.booleans())
def test_the_turning_point_of_a_cubic_is_found_exactly(at, bend, skew, high) -> None:
    # A cubic whose maximum (minimum) is 4 m at a known time: its other turning point lies over five hours away.
    hours = np.linspace(-2.0, 2.0, 17)
    away = hours - at
    level = 4.0 + (-1.0 if high else 1.0) * bend * away**2 * (1.0 + skew * away)
    found = _turning(hours, level, high)
    assert found is not None
    assert found[0] == pytest.approx(at, abs=1e-8)
    assert found[1] == pytest.approx(4.0, abs=1e-8)
    # It has no turning point of the other kind within the two hours.
    assert _turning(hours, level, not high) is None


def test_a_turning_point_beyond_the_two_hours_is_none() -> None:
    hours = np.linspace(-2.0, 2.0, 17)
    assert _turning(hours, -((hours - 2.1) ** 2), True) is None
    assert _turning(hours, 0.3 * hours, True) is None
    assert _turning(hours, hours**3 + hours, True) is None
