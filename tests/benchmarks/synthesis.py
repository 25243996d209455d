"""Heights on grids and at scattered times, against utide and against filling the array."""

from __future__ import annotations

import tracemalloc

import numpy as np

from tests.benchmarks.measure import Prepared, Report, alternating
from tests.benchmarks.tides import ordinary
from tidecore.harmonics import Harmonics, heights_at_stations
from tidecore.timebase import US_PER_DAY, TimeGrid

_MINUTE_US = 60_000_000
_START_US = 20_454 * US_PER_DAY
#: Calls of ours in each turn, beside one of utide.
_CALLS = 5


def year_at_a_minute(report: Report) -> None:
    """One year at 1 minute, all constituents of a one-year fit."""
    tide = ordinary()
    largest = 0.0

    def grid(repetition: int) -> TimeGrid:
        return TimeGrid(_START_US + repetition * 11 * US_PER_DAY, _MINUTE_US, 525_600)

    def ours(repetition: int) -> Prepared:
        harmonics, at = tide.opened(), grid(repetition)
        return lambda: harmonics.heights(at)

    def theirs(repetition: int) -> Prepared:
        at = grid(repetition)

        def run() -> None:
            nonlocal largest
            largest = max(largest, float(np.abs(tide.reconstruct(at.times_us()) - tide.opened().heights(at)).max()))

        return run

    mine, peer = alternating(ours, theirs, calls=_CALLS)
    report.add("heights, 1 year at 1 min: utide over ours", peer / mine, "x", ">= 3000", peer / mine >= 3000)
    report.add("heights, 1 year at 1 min: largest difference", largest, "m", "< 1e-6", largest < 1e-6)
    mine, fill = alternating(ours, lambda _: lambda: np.full(525_600, 1.5), 15)
    report.add("heights, 1 year at 1 min: ours over filling the array", mine / fill, "x")
    report.add("heights, 1 year at 1 min: ours", mine * 1e3, "ms")


def nineteen_years(report: Report) -> None:
    """19 years at 6 minutes: difference at ten thousand of the instants, and memory."""
    tide = ordinary()
    grid = TimeGrid(_START_US, 6 * _MINUTE_US, 19 * 8766 * 10)
    tide.harmonics.heights(TimeGrid(_START_US, 6 * _MINUTE_US, 100))
    tracemalloc.start()
    heights = tide.opened().heights(grid)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    some = np.sort(np.random.default_rng(2).choice(len(grid), 50_000, replace=False))
    largest = float(np.abs(heights[some] - tide.reconstruct(grid.times_us()[some])).max())
    report.add("heights, 19 years at 6 min: largest difference", largest, "m", "< 1e-6", largest < 1e-6)
    memory = peak / heights.nbytes
    report.add("heights, 19 years at 6 min: peak memory over output", memory, "x", "<= 2", memory <= 2.0)


def scattered(report: Report) -> None:
    """100,000 scattered times in a year."""
    tide = ordinary()

    def times(repetition: int) -> np.ndarray:
        ticks = np.random.default_rng(repetition + 5).integers(0, 365 * US_PER_DAY, 100_000)
        return _START_US + ticks

    def ours(repetition: int) -> Prepared:
        harmonics, at = tide.opened(), times(repetition).view("datetime64[us]")
        return lambda: harmonics.heights(at)

    def theirs(repetition: int) -> Prepared:
        at = times(repetition)
        return lambda: tide.reconstruct(at)

    mine, peer = alternating(ours, theirs, calls=_CALLS)
    report.add("heights, 100,000 scattered times: utide over ours", peer / mine, "x", ">= 500", peer / mine >= 500)
    report.add("heights, 100,000 scattered times: ours", mine * 1e3, "ms")


def many_stations(report: Report) -> None:
    """1,000 stations x 31 days at 10 minutes, against filling the array."""
    tide = ordinary()

    def ours(repetition: int) -> Prepared:
        base = tide.harmonics
        stations = [
            Harmonics(base.names, base.amplitude * (0.5 + k / 1000), base.phase + k, 30.0 + k / 50, 1.0)
            for k in range(1000)
        ]
        grid = TimeGrid(_START_US + repetition * 5 * US_PER_DAY, 10 * _MINUTE_US, 31 * 144)
        return lambda: heights_at_stations(stations, grid)

    mine, fill = alternating(ours, lambda _: lambda: np.full((1000, 31 * 144), 1.5), 7)
    report.add("heights, 1,000 stations x 31 days: over filling", mine / fill, "x", "< 60", mine / fill < 60)
    report.add("heights, 1,000 stations x 31 days at 10 min: ours", mine * 1e3, "ms")


def run(report: Report) -> None:
    """Run all of it."""
    report.heading("Synthesis")
    year_at_a_minute(report)
    nineteen_years(report)
    scattered(report)
    many_stations(report)
