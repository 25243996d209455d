"""Turning points against utide: every one of a year, to the second and the tenth of a millimetre."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.benchmarks.measure import Prepared, Report, alternating
from tests.benchmarks.tides import Peer, double_low_water, ordinary
from tidecore.extremes import find_extremes
from tidecore.roots.stationary import stationary_points
from tidecore.timebase import US_PER_DAY, US_PER_SECOND, TimeGrid

_START_US = 20_454 * US_PER_DAY
_MINUTE_US = 60 * US_PER_SECOND
_YEAR = 525_600
#: Under this curvature [m/h^2] a turning point is too flat for its time to be held to a second.
_FLAT = 0.02


def _turning_points(tide: Peer) -> tuple[np.ndarray, np.ndarray]:
    """Return utide's turning points: at 1 minute, then at 1 second for 3 minutes round each (times, heights)."""
    minutes = _START_US + _MINUTE_US * np.arange(-2, _YEAR + 2, dtype=np.int64)
    heights = tide.reconstruct(minutes)
    slope = np.sign(np.diff(heights))
    turns = np.flatnonzero(slope[1:] * slope[:-1] < 0) + 1
    fine = minutes[turns][:, None] + US_PER_SECOND * np.arange(-90, 91, dtype=np.int64)
    levels = tide.reconstruct(fine.ravel()).reshape(fine.shape)
    high = heights[turns] > heights[turns - 1]
    # The seconds round a turn differ by less than utide's clock resolves: take the vertex of a parabola.
    offsets = np.arange(-90, 91, dtype=np.float64)
    middle = levels[:, 90:91]
    curve = np.polynomial.polynomial.polyfit(offsets, (levels - middle).T, 4)
    vertex = -curve[1] / (2 * curve[2])
    for _ in range(4):
        first = curve[1] + vertex * (2 * curve[2] + vertex * (3 * curve[3] + vertex * 4 * curve[4]))
        second = 2 * curve[2] + vertex * (6 * curve[3] + vertex * 12 * curve[4])
        vertex = vertex - first / second
    value = middle[:, 0] + ((curve[4] * vertex + curve[3]) * vertex + curve[2]) * vertex**2 + curve[1] * vertex
    times = fine[:, 90] + vertex * US_PER_SECOND
    inside = (times >= _START_US) & (times < _START_US + _YEAR * _MINUTE_US)
    assert high.any()
    return times[inside], value[inside]


def completeness(report: Report, name: str, tide: Peer) -> None:
    """Compare the raw turning points of one year with utide's."""
    pieces = tide.harmonics.pieces(_START_US, _START_US + _YEAR * _MINUTE_US)
    found = stationary_points(pieces)
    inside = (found.times_us >= _START_US) & (found.times_us < _START_US + _YEAR * _MINUTE_US)
    times, heights, curvature = (a[inside] for a in (found.times_us, found.values, found.curvature))
    expected, levels = _turning_points(tide)
    nearest = np.abs(times[:, None] - expected[None]).argmin(axis=0)
    apart = np.abs(times[nearest] - expected) / US_PER_SECOND
    matched = apart < 60
    report.add(f"extremes, {name}: turning points of a year by utide", len(expected))
    missing, invented = int((~matched).sum()), len(times) - len(np.unique(nearest[matched]))
    report.add(f"extremes, {name}: missing", missing, "", "0", missing == 0)
    report.add(f"extremes, {name}: invented", invented, "", "0", invented == 0)
    flat = np.abs(curvature[nearest]) < _FLAT
    sharp_apart = float(apart[matched & ~flat].max())
    report.add(f"extremes, {name}: largest time difference", sharp_apart, "s", "<= 1", sharp_apart <= 1.0)
    flat_apart = float(apart[matched & flat].max(initial=0.0))
    report.add(f"extremes, {name}: near-flat ones", int(flat.sum()))
    report.add(f"extremes, {name}: largest time difference there", flat_apart, "s", "<= 30", flat_apart <= 30.0)
    off = float(np.abs(heights[nearest] - levels)[matched].max())
    report.add(f"extremes, {name}: largest height difference", off, "m", "<= 1e-4", off <= 1e-4)


def cost(report: Report) -> None:
    """19 years of classified extremes against the heights of one year at a minute."""
    for name, station in (("ordinary", ordinary), ("double low water", double_low_water)):
        _cost_of(report, name, station)


def _cost_of(report: Report, name: str, station: Callable[[], Peer]) -> None:
    tide = station()

    def ours(repetition: int) -> Prepared:
        harmonics, start = tide.opened(), np.datetime64(_START_US + repetition * US_PER_DAY, "us")
        return lambda: find_extremes(harmonics, start, start + np.timedelta64(6940, "D"))

    def year(repetition: int) -> Prepared:
        harmonics, grid = tide.opened(), TimeGrid(_START_US + repetition * US_PER_DAY, _MINUTE_US, _YEAR)
        return lambda: harmonics.heights(grid)

    mine, peer = alternating(ours, year)
    ratio = mine / peer
    report.add(f"extremes, {name}: 19 years over a year of heights", ratio, "x", "<= 100", ratio <= 100)
    report.add(f"extremes, {name}: 19 years", mine * 1e3, "ms")


def run(report: Report) -> None:
    """Run all of it."""
    report.heading("High and low waters")
    completeness(report, "ordinary", ordinary())
    completeness(report, "double low water", double_low_water())
    cost(report)
