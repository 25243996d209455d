from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.errors import InvalidSpan
from tidecore.sky import PHASE_NAMES, SkyPositions, moon_phases, sky_positions
from tidecore.timebase import US_PER_DAY


@pytest.fixture(scope="module")
def positions() -> SkyPositions:
    return sky_positions("2026-01-01", "2027-01-01")


def test_phases_follow_each_other_in_their_order(positions: SkyPositions) -> None:
    phases = moon_phases(positions, "2026-01-01", "2027-01-01")
    assert len(phases) in (49, 50)
    order = np.array([PHASE_NAMES.index(name) for name in phases.name])
    assert np.all(np.diff(order) % 4 == 1)
    days = np.diff(phases.time) / np.timedelta64(1, "D")
    assert np.all((days > 6.5) & (days < 8.4))


def test_at_a_phase_the_elongation_is_a_quarter_and_the_light_what_it_should_be(positions: SkyPositions) -> None:
    phases = moon_phases(positions, "2026-01-01", "2027-01-01")
    at = phases.time.view(np.int64)
    wanted = np.array([90.0 * PHASE_NAMES.index(name) for name in phases.name])
    off = (positions.moon_elongation_deg(at) - wanted + 180) % 360 - 180
    np.testing.assert_allclose(off, 0, atol=1e-6)
    lit = positions.illuminated_fraction(at)
    assert np.all(lit[phases.name == "new"] < 0.003)
    assert np.all(lit[phases.name == "full"] > 0.997)
    quarters = (phases.name == "first_quarter") | (phases.name == "last_quarter")
    np.testing.assert_allclose(lit[quarters], 0.5, atol=0.005)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 300 * US_PER_DAY), st.integers(1, 60 * US_PER_DAY))
def test_phases_do_not_depend_on_the_span(after: int, length: int) -> None:
    year = sky_positions("2026-01-01", "2027-01-01")
    start, end = (np.datetime64(year.start_us + after + off, "us") for off in (0, length))
    whole, part = moon_phases(year, "2026-01-01", "2027-01-01"), moon_phases(sky_positions(start, end), start, end)
    inside = (whole.time >= start) & (whole.time < end)
    assert np.array_equal(whole.time[inside], part.time)
    assert np.array_equal(whole.name[inside], part.name)


def test_a_span_is_half_open(positions: SkyPositions) -> None:
    full = moon_phases(positions, "2026-03-01", "2026-04-01").time[0]
    assert len(moon_phases(positions, "2026-03-01", full)) == 0
    assert moon_phases(positions, full, "2026-04-01").time[0] == full


def test_a_span_beyond_the_positions_is_refused(positions: SkyPositions) -> None:
    with pytest.raises(InvalidSpan, match="inside that of the positions"):
        moon_phases(positions, "2026-12-01", "2027-01-02")
    with pytest.raises(InvalidSpan, match="after the start"):
        moon_phases(positions, "2026-12-01", "2026-12-01")
