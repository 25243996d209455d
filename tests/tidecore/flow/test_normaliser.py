from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.extremes.plain_tide import SPEEDS, plain_tide
from tidecore.datums import epoch_cycle
from tidecore.flow import flow_normaliser

W = {name: np.radians(speed) for name, speed in SPEEDS.items()}


def test_pure_tide_is_measured_against_its_own_peak() -> None:
    assert flow_normaliser(plain_tide(("M2", 1.7, 12))) == pytest.approx(1.7 * W["M2"], rel=1e-6)
    assert flow_normaliser(plain_tide(("K1", 0.3, 12))) == pytest.approx(0.3 * W["K1"], rel=1e-6)


def test_flood_and_ebb_are_pooled_so_that_asymmetry_shows() -> None:
    # phase 270: the flood is the steeper; its peak and that of the ebb by a fine grid over one tide
    x = np.linspace(0.0, 2.0 * np.pi, 2_000_001)
    rate = -W["M2"] * (np.sin(x) + 2 * 0.15 * np.sin(2 * x - 1.5 * np.pi))
    expected = 0.5 * (rate.max() - rate.min())
    assert rate.max() > 1.3 * -rate.min()
    assert flow_normaliser(plain_tide(("M2", 1.0, 0), ("M4", 0.15, 270))) == pytest.approx(expected, rel=3e-5)


def test_springs_of_two_constituents_peak_near_their_sum() -> None:
    tide = plain_tide(("M2", 1.0, 30), ("S2", 0.4, 75))
    together = W["M2"] + 0.4 * W["S2"]
    # in the day around springs the two are at most 12.4 h x 1.016 deg/h = 12.6 degrees apart
    least = W["M2"] + 0.4 * W["S2"] * np.cos(np.radians(12.6 + 6.3))
    cycle = epoch_cycle(tide)
    assert least < flow_normaliser(tide, cycle) < together
    assert flow_normaliser(tide) == flow_normaliser(tide, cycle)


def test_the_mean_is_that_of_a_lunar_day_around_springs() -> None:
    # The peak of a half tide in the middle of which the two are so far apart is their sum as vectors; averaged over
    # 12 h 25 min on either side of springs.
    hours = np.linspace(-1.0, 1.0, 20_001) * (12.0 + 25.0 / 60.0)
    apart = np.radians(SPEEDS["S2"] - SPEEDS["M2"]) * hours
    expected = np.abs(W["M2"] + 0.9 * W["S2"] * np.exp(1j * apart)).mean()
    assert flow_normaliser(plain_tide(("M2", 1.0, 30), ("S2", 0.9, 75))) == pytest.approx(expected, rel=1e-4)


def test_tropic_tides_are_those_of_a_diurnal_station() -> None:
    tide = plain_tide(("K1", 0.5, 30), ("O1", 0.4, 75))
    together = 0.5 * W["K1"] + 0.4 * W["O1"]
    assert 0.96 * together < flow_normaliser(tide) < together


@pytest.mark.parametrize("amplitude", [0.0, 0.004])
def test_where_there_is_no_tide_there_is_no_flow(amplitude: float) -> None:
    assert flow_normaliser(plain_tide(("M2", amplitude, 0))) == 0.0
