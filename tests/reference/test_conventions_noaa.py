"""Convention "noaa" against NOAA's own predictions, and its node factors against what is published of them.

Predictions: NOAA CO-OPS, hourly, 2021-01-01, metres above station datum, for the constituents and MSL beside them
(US public domain). They are rounded to a millimetre, so that half of one is theirs.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.reference import published
from tests.reference.test_arguments_ttide import SPEEDS
from tidecore.errors import InvalidConstituents, UnknownName
from tidecore.harmonics import Harmonics, constituent_names, heights_at_stations, lines_of
from tidecore.harmonics.schureman import year_factors, year_start_us
from tidecore.timebase import US_PER_DAY, TimeGrid, from_microseconds

FOLDER = "noaa/hourly_predictions_20210101"
#: Asked for; seen is 0.6 mm.
MILLIMETRE = 1e-3
NAMES = constituent_names("noaa")
BORDER = np.datetime64("2021-01-01", "us")


def whole(level: float = 0.0) -> Harmonics:
    """Every constituent, the strong ones as at a station with a range of some metres."""
    rng = np.random.default_rng(4)
    amplitude = rng.uniform(0.005, 0.05, len(NAMES))
    amplitude[:6] = 1.3, 0.4, 0.3, 0.2, 0.05, 0.15
    return Harmonics(NAMES, amplitude, rng.uniform(0, 360, len(NAMES)), 40.0, level, "noaa")


def by_hand(tide: Harmonics, times: np.ndarray) -> np.ndarray:
    """Heights as the definition has them: one cosine a constituent, factors of the year of each instant."""
    ticks = times.astype("datetime64[us]").astype(np.int64)
    years = times.astype("datetime64[Y]").astype(int) + 1970
    factors = np.array([year_factors(tide.names, int(year)) for year in years])
    angles = 2 * np.pi * lines_of("noaa", tide.names).phases(ticks) + np.angle(factors) - np.radians(tide.phase)
    return tide.mean_level + (tide.amplitude * np.abs(factors) * np.cos(angles)).sum(axis=1)


def test_hourly_predictions_are_met_at_every_station(open_data: Path) -> None:
    folder = open_data / FOLDER
    lines, levels = published.constituents(folder), published.datums(folder)
    worst = {}
    for path in sorted(folder.glob("*_STND_metric_gmt_h.json")):
        station = path.name.split("_")[0]
        times, theirs = published.predictions(path)
        tide = Harmonics.from_mapping(lines[station], 30.0, levels[station]["MSL"], "noaa")
        worst[station] = float(np.abs(tide.heights(times) - theirs).max())
    assert len(worst) == 23
    assert max(worst.values()) < MILLIMETRE, worst


def test_speeds_are_the_37_published_ones() -> None:
    speeds = dict(zip(NAMES, whole().speeds_deg_per_hour, strict=True))
    assert set(speeds) == set(SPEEDS)
    for name, published_speed in SPEEDS.items():
        assert speeds[name] == pytest.approx(published_speed, abs=4e-7), name


def test_node_factors_stay_in_the_published_bounds_over_a_nodal_cycle() -> None:
    """Least and largest f of Schureman's table 2, from memory; seen between the middles of years."""
    bounds = {"M2": (0.963, 1.038), "O1": (0.806, 1.183), "K1": (0.882, 1.113), "K2": (0.748, 1.317)}
    factors = np.abs([year_factors(tuple(bounds), year) for year in range(1980, 2019)])
    for (least, largest), lowest, highest in zip(bounds.values(), factors.min(0), factors.max(0), strict=True):
        assert (lowest, highest) == (pytest.approx(least, abs=0.004), pytest.approx(largest, abs=0.004))


def test_node_factors_are_near_those_of_satellites() -> None:
    """Largest difference of f from utide's satellites 1980 to 2018: M2 0.002, O1 0.008, K1 0.001, K2 0.006."""
    from tidecore.harmonics.arguments import satellite_sums

    names = ("M2", "O1", "K1", "K2")
    years = np.arange(1980, 2019)
    middles = np.array([year_start_us(int(year)) for year in years]) + 182 * US_PER_DAY + US_PER_DAY // 2
    theirs = lines_of("utide", names).node_factors(satellite_sums(middles), np.array([40.0]))[0]
    ours = np.array([year_factors(names, int(year)) for year in years])
    assert (np.abs(np.abs(ours) - np.abs(theirs)).max(axis=0) < [0.003, 0.009, 0.002, 0.007]).all()
    # Angles, by their effect on the tide.
    assert (np.abs(ours / theirs - 1.0).max(axis=0) < [0.006, 0.02, 0.01, 0.02]).all()


@pytest.mark.parametrize("step", ["1min", "10min", "7min", "6h", "1d"])
def test_every_path_meets_the_definition_on_both_sides_of_a_new_year(step: str) -> None:
    tide = whole(2.0)
    grid = TimeGrid.spanning(BORDER - np.timedelta64(9, "D"), BORDER + np.timedelta64(9, "D"), step)
    times = grid.times()
    expected = by_hand(tide, times)
    assert np.abs(tide.heights(grid) - expected).max() < 1e-7
    assert np.abs(tide.heights(times) - expected).max() < 1e-7
    assert np.abs(tide.heights(times[[0, -1]]) - expected[[0, -1]]).max() < 1e-9
    assert np.abs(tide.pieces(grid.start_us, grid.end_us)(grid.times_us()) - expected).max() < 1e-7
    together = heights_at_stations([tide, replace(tide, mean_level=0.0)], grid)
    assert np.abs(together - expected - np.array([[0.0], [-2.0]])).max() < 1e-7


def test_few_times_over_a_century_meet_the_definition() -> None:
    tide = whole()
    times = from_microseconds(np.random.default_rng(8).integers(-60 * 365, 70 * 365, 100) * US_PER_DAY + 7)
    assert np.abs(tide.heights(times) - by_hand(tide, times)).max() < 1e-9


def test_heights_step_by_millimetres_at_new_year_and_rates_do_not_see_it() -> None:
    tide = whole()
    around = np.array([BORDER - np.timedelta64(1, "us"), BORDER])
    step = abs(float(np.diff(tide.heights(around))[0]))
    assert 1e-4 < step < 0.03
    # Differenced across the border the rate would be the step in a microsecond.
    assert np.abs(np.diff(tide.rates(around))[0]) < 0.03
    grid = TimeGrid.spanning(BORDER - np.timedelta64(2, "h"), BORDER + np.timedelta64(2, "h"), "1min")
    assert np.abs(np.diff(tide.rates(grid))).max() < 0.03


def test_without_node_factors_there_is_no_step() -> None:
    tide = replace(whole(), nodal="none")
    around = np.array([BORDER - np.timedelta64(1, "us"), BORDER])
    assert abs(float(np.diff(tide.heights(around))[0])) < 1e-6
    with pytest.raises(InvalidConstituents, match="convention 'noaa' says when"):
        replace(whole(), nodal="linear_time", nodal_at_us=0)


@pytest.mark.parametrize("name", ["LDA2", "NO1", "RHO1", "MO3", "LAMBDA2", "m2", "Z0", "M7"])
def test_names_of_other_conventions_are_refused(name: str) -> None:
    with pytest.raises(UnknownName, match="constituent of convention 'noaa'") as caught:
        Harmonics((name,), np.ones(1), np.zeros(1), 40.0, convention="noaa")
    assert caught.value.known == NAMES
