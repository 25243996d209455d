"""High and low waters where node factors change at 1 January: none missing, none invented, no step taken for a tide."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.extremes.plain_tide import HOUR
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics, lines_of
from tidecore.harmonics.schureman import year_factors, year_start_us
from tidecore.model import TideModel
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.roots.stationary import stationary_points
from tidecore.timebase import US_PER_SECOND, TimeGrid, from_microseconds

#: Years after which f of M2 grows and shrinks most, and hardly moves.
YEARS = (2010, 2016, 2021, 2024)
DAY = np.timedelta64(1, "D")
NAMES = ("M2", "S2", "N2", "K1", "O1", "M4", "L2", "M1", "K2")


def border_of(year: int) -> np.datetime64:
    return np.datetime64(f"{year}-01-01", "us")


@pytest.mark.parametrize("year", YEARS)
@pytest.mark.parametrize("at", [0.0, 180.0])
def test_one_water_at_the_very_border_is_one(year: int, at: float) -> None:
    """A high (low) water of M2 alone, or with K2, that either year puts within some minutes of 1 January."""
    start = year_start_us(year)
    speed = float(np.degrees(lines_of("noaa", ("M2",)).speeds[0]))
    for before in (year_factors(("M2",), year - 1), year_factors(("M2",), year)):
        phase = 360.0 * float(lines_of("noaa", ("M2",)).phases(np.array([start]))[0, 0]) + np.degrees(
            np.angle(before[0])
        )
        for seconds in (-240, -61, -20, -3, -1, 0, 1, 3, 20, 61, 240):
            shifted = phase + at + speed * seconds / 3600.0
            lines = np.array([1.0, 0.2]), np.array([shifted, 77.0])
            for names in (("M2",), ("M2", "K2")):
                tide = Harmonics(names, lines[0][: len(names)], lines[1][: len(names)], 50.0, 0.0, "noaa")
                found = find_extremes(tide, border_of(year) - 2 * DAY, border_of(year) + 2 * DAY)
                gaps = np.diff(found.time).astype(np.int64) / HOUR
                assert found.primary.all()
                assert (found.kind[1:] != found.kind[:-1]).all()
                assert gaps.min() > 5.5
                assert gaps.max() < 7.0


@pytest.mark.parametrize("seed", range(4))
def test_waters_are_those_of_every_minute_on_both_sides_of_new_years(seed: int) -> None:
    rng = np.random.default_rng(seed)
    amplitude = np.array([1.2, 0.4, 0.3, 0.3, 0.2, 0.05, 0.05, 0.02, 0.1])
    tide = Harmonics(NAMES, amplitude, rng.uniform(0, 360, len(NAMES)), 40.0, 0.0, "noaa")
    for year in range(2001 + 5 * seed, 2006 + 5 * seed):
        grid = TimeGrid.spanning(border_of(year) - 3 * DAY, border_of(year) + 3 * DAY, "1min")
        heights = tide.heights(grid)
        found = find_extremes(tide, border_of(year) - 3 * DAY, border_of(year) + 3 * DAY)
        inner = heights[1:-1]
        for kind, sign in (("high", 1.0), ("low", -1.0)):
            times = found.time[found.kind == kind].view(np.int64)
            top = 1 + np.flatnonzero((sign * inner > sign * heights[:-2]) & (sign * inner >= sign * heights[2:]))
            seen = grid.times_us()[top]
            # A step by millimetres may make a top of its own in the samples.
            real = np.abs(seen - year_start_us(year)) > 120 * US_PER_SECOND
            distance = np.abs(seen[real][:, None] - times[None, :]).min(axis=1)
            assert distance.max() <= 61 * US_PER_SECOND
            far = times[np.abs(times - year_start_us(year)) > 120 * US_PER_SECOND]
            assert np.abs(far[:, None] - seen[None, :]).min(axis=1).max() <= 61 * US_PER_SECOND
        assert (found.kind[1:] != found.kind[:-1]).all()


def test_extremes_do_not_depend_on_where_the_span_begins() -> None:
    tide = Harmonics(NAMES[:5], np.array([1.2, 0.4, 0.3, 0.3, 0.2]), np.linspace(0.0, 200.0, 5), 40.0, 0.0, "noaa")
    start, end = border_of(2020) - 20 * DAY, border_of(2020) + 20 * DAY
    whole = find_extremes(tide, start, end)
    part = find_extremes(tide, border_of(2020), border_of(2020) + 5 * DAY)
    inside = whole.select((whole.time >= border_of(2020)) & (whole.time < border_of(2020) + 5 * DAY))
    for name, column in part.columns().items():
        if column.dtype.kind in "Mm":
            assert (np.isnat(column) == np.isnat(inside.columns()[name])).all()
        elif name not in ("height", "curvature"):
            assert (column == inside.columns()[name]).all(), name
    assert np.abs((part.time - inside.time).astype(np.int64)).max() <= US_PER_SECOND
    assert np.abs(part.height - inside.height).max() < 1e-6


def test_the_run_of_the_tide_goes_on_over_new_year() -> None:
    lines = {"M2": (1.2, 100.0), "S2": (0.4, 130.0), "K1": (0.1, 20.0), "L2": (0.1, 5.0)}
    model = TideModel.from_constituents(lines, latitude=50.0, convention="noaa")
    minutes = border_of(2017) + np.arange(-700, 700) * np.timedelta64(1, "m")
    index = model.flow_index(minutes)
    # At most a turn of M2 in a minute and the step of the rate, over a spring peak of 1.
    assert np.abs(np.diff(index)).max() < 0.015


def made_of(*parabolas: tuple[float, float, float]) -> PiecewisePolynomial:
    """Three hours each, that step at the border between them: value = a + b t + c t^2, t hours from the border."""
    rows = []
    for side, (a, b, c) in enumerate(parabolas):
        for hour in range(3):
            middle = hour + 0.5 - (3.0 if side == 0 else 0.0)
            rows.append([a + b * middle + c * middle**2, (b + 2 * c * middle) / 2, c / 4])
    return PiecewisePolynomial(0, HOUR, np.array(rows), (3 * HOUR,))


BORDER = float(3 * HOUR)


@pytest.mark.parametrize(
    ("before", "after", "times", "maxima"),
    [
        # Rising to the step, falling after it: the step is the top.
        ((1.0, 0.01, -1.0), (0.99, -0.01, -1.0), [0.0], [True]),
        ((-1.0, -0.01, 1.0), (-0.99, 0.01, 1.0), [0.0], [False]),
        # A top just before and another just after are one: that nearer to the step.
        ((1.0, -0.02, -1.0), (1.01, 0.04, -1.0), [-0.01], [True]),
        ((1.0, -0.06, -1.0), (1.01, 0.04, -1.0), [0.02], [True]),
        ((-1.0, 0.02, 1.0), (-1.01, -0.04, 1.0), [-0.01], [False]),
        # A top on one side alone stays; a step in a slope that keeps its sign is nothing.
        ((1.0, -0.02, -1.0), (0.99, -0.03, -1.0), [-0.01], [True]),
        ((0.0, 5.0, 0.1), (0.01, 5.1, 0.1), [], []),
    ],
)  # fmt: skip
def test_turning_points_at_a_step(before, after, times, maxima) -> None:
    found = stationary_points(made_of(before, after))
    assert (found.times_us - BORDER) / HOUR == pytest.approx(times, abs=1e-9)
    assert found.maximum.tolist() == maxima
    assert (found.curvature < 0.0).tolist() == maxima


def test_a_function_is_cut_at_its_steps() -> None:
    pieces = made_of((1.0, 0.0, -1.0), (0.5, 0.0, -1.0))
    one, other = pieces.between_breaks()
    assert (one.start_us, one.end_us, other.start_us, other.end_us) == (0, 3 * HOUR, 3 * HOUR, 6 * HOUR)
    assert pieces(np.array([3 * HOUR]))[0] == pytest.approx(0.5)  # the border belongs to what comes after
    assert pieces.derivative().breaks_us == (3 * HOUR,)
    whole = PiecewisePolynomial(0, HOUR, pieces.coefficients)
    assert whole.between_breaks()[0].coefficients.shape == pieces.coefficients.shape
    assert from_microseconds(np.array([one.end_us])).size == 1
