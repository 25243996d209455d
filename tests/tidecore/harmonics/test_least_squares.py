from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import tidecore
from tidecore.errors import InvalidInput, UnknownName
from tidecore.harmonics.engine import Solution, rayleigh_choice, solve
from tidecore.harmonics.least_squares import basis, equations_of, least_squares, real_columns
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, microseconds

#: What the two solvers may differ by [m].
SAME = 1e-7
START_US = 15_000 * US_PER_DAY


def weather(days: int, seed: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Hours and levels of a made-up gauge: two tides, noise, gaps of some hours."""
    rng = np.random.default_rng(seed)
    hours = np.arange(days * 24)
    hours = hours[rng.random(len(hours)) > 0.03]
    levels = 2.0 + 1.7 * np.cos(np.radians(28.984 * hours)) + 0.2 * np.cos(np.radians(15.041 * hours))
    return START_US + hours * US_PER_HOUR, levels + rng.normal(0.0, 0.2, len(hours))


def apart(one: Solution, other: Solution) -> float:
    """Largest difference of any coefficient as a vector [m]."""
    first, second = (
        {n: a * np.exp(1j * np.radians(g)) for n, a, g in zip(s.names, s.amplitude, s.phase, strict=True)}
        for s in (one.harmonics, other.harmonics)
    )
    assert set(first) == set(second)
    level = abs(one.harmonics.mean_level - other.harmonics.mean_level)
    return max(level, *(abs(first[name] - second[name]) for name in first))


@pytest.mark.parametrize("trend", [False, True])
@pytest.mark.parametrize("nodal", ["exact", "linear_time", "none"])
@pytest.mark.parametrize("latitude", [51.5, -12.0])
def test_coefficients_are_those_of_utide(nodal: str, trend: bool, latitude: float) -> None:
    times, levels = weather(200)
    names, _ = rayleigh_choice(200)
    ours, theirs = (how(times, levels, latitude, names, nodal=nodal, trend=trend) for how in (least_squares, solve))
    assert apart(ours, theirs) < SAME
    # utide counts in days, whose last digit is some microseconds.
    assert abs(ours.reference_us - theirs.reference_us) < 100
    if trend:
        assert ours.trend_per_day == pytest.approx(theirs.trend_per_day, abs=1e-10)


def test_a_set_that_is_badly_separated_is_still_that_of_utide() -> None:
    times, levels = weather(60)
    names = (*rayleigh_choice(60)[0], "K2", "P1")
    assert apart(least_squares(times, levels, 51.5, names), solve(times, levels, 51.5, names)) < SAME


def test_a_real_gauge_of_a_year(open_data: Path) -> None:
    from tests.reference.records import honolulu

    record = honolulu(open_data)
    times, levels = microseconds(record["time"].values), record["sea_level"].values
    names, _ = rayleigh_choice(365)
    theirs = tidecore.fit(record, latitude=21.0, constituents=names, quality="off")
    ours = least_squares(times, levels, 21.0, names).harmonics
    for name in names:
        assert ours.amplitude_of(name) == pytest.approx(theirs.constituents[name][0], abs=SAME)


def test_weights_of_nought_and_one_are_a_mask() -> None:
    times, levels = weather(40)
    names = ("M2", "K1", "O1", "S2")
    kept = np.random.default_rng(1).random(len(times)) > 0.3
    kept[[0, -1]] = True
    masked = least_squares(times, np.where(kept, levels, 99.0), 51.5, names, weights=kept.astype(float))
    assert apart(masked, least_squares(times[kept], levels[kept], 51.5, names)) < 1e-10


def test_parts_make_the_whole_and_the_whole_less_a_part_the_rest() -> None:
    times, levels = weather(60)
    columns = real_columns(basis(("M2", "S2", "K1"), 51.5, times))
    cut = 500
    whole, first, second = (
        equations_of(columns[rows], levels[rows]) for rows in (slice(None), slice(0, cut), slice(cut, None))
    )
    assert np.allclose((first + second).solve(), whole.solve(), atol=1e-12)
    rest = (whole - first).solve()
    assert np.allclose(rest, second.solve(), atol=1e-10)
    left = levels[cut:] - columns[cut:] @ rest
    assert second.residual_energy(rest) == pytest.approx(left @ left, rel=1e-9)
    some = np.array([0, 1, 4, 5])
    assert np.allclose(whole.taking(some).solve(), equations_of(columns[:, some], levels).solve(), atol=1e-12)
    shrunk = whole.solve(ridge=np.full(6, 1e6))
    assert np.abs(shrunk).max() < 0.01 * np.abs(whole.solve()).max()


def test_what_cannot_be_told_apart_is_refused() -> None:
    times, levels = weather(10)
    with pytest.raises(InvalidInput, match="told apart"):
        least_squares(times[:4], levels[:4], 51.5, ("M2", "S2", "K1", "O1"))
    with pytest.raises(UnknownName, match="nodal option"):
        least_squares(times, levels, 51.5, ("M2",), nodal="sometimes")
