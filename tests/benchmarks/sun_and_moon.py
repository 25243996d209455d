"""Altitudes of sun and moon for many marks, against skyfield's own for each mark."""

from __future__ import annotations

from functools import partial
from importlib.util import find_spec
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
from skyfield.api import load, load_file, wgs84

from tests.benchmarks.measure import Report, seconds
from tidecore.sky import sky_positions
from tidecore.timebase import TimeGrid

_MARKS = 1000
#: Marks on which skyfield is measured: two in each of five repetitions.
_PEERS = 2
_MONTH = np.timedelta64(31, "D")
# TT - UTC [s] since 2017.
_TT_MINUS_UTC_S = 69.184
_JD_1970 = 2_440_587.5


def _ours(start: np.datetime64, latitudes: np.ndarray, longitudes: np.ndarray) -> Any:
    grid = TimeGrid.anchored(start, start + _MONTH, "10min")
    return sky_positions(start, start + _MONTH).altitudes_many(latitudes, longitudes, grid.times_us())


def _by_skyfield(
    ephemeris: Any, scale: Any, start: np.datetime64, latitude: float, longitude: float
) -> list[np.ndarray]:
    grid = TimeGrid.anchored(start, start + _MONTH, "10min")
    at = scale.tt_jd(_JD_1970 + (grid.times_us() / 1e6 + _TT_MINUS_UTC_S) / 86_400)
    seen = (ephemeris["earth"] + wgs84.latlon(latitude, longitude)).at(at)
    return [seen.observe(ephemeris[body]).apparent().altaz()[0].degrees for body in ("sun", "moon")]


def _peer(
    found: list[np.ndarray], ephemeris: Any, scale: Any, start: np.datetime64, place: tuple[float, float]
) -> None:
    """Put the altitudes of sun and moon by skyfield into ``found``."""
    found.extend(_by_skyfield(ephemeris, scale, start, *place))


def run(report: Report) -> None:
    """1,000 marks x 31 days at 10 minutes; the peer is measured on ten marks."""
    report.heading("Sun and moon")
    spec = find_spec("skyfield_data")
    assert spec is not None
    assert spec.origin is not None
    ephemeris = load_file(str(Path(spec.origin).parent / "data" / "de421.bsp"))
    scale = load.timescale(builtin=True)
    rng = np.random.default_rng(4)
    latitudes, longitudes = rng.uniform(-65, 65, _MARKS), rng.uniform(-180, 180, _MARKS)
    ours: list[float] = []
    theirs: list[float] = []
    largest = 0.0
    for repetition in range(5):
        # A new month each time, so that no position is left over from the one before.
        start = np.datetime64("2025-03-01") + np.timedelta64(67 * repetition, "D")
        ours.append(seconds(partial(_ours, start, latitudes, longitudes)))
        for mark in range(_PEERS * repetition, _PEERS * (repetition + 1)):
            place = (float(latitudes[mark]), float(longitudes[mark]))
            found: list[np.ndarray] = []
            theirs.append(seconds(partial(_peer, found, ephemeris, scale, start, place)))
            mine = _ours(start, latitudes[mark : mark + 1], longitudes[mark : mark + 1])
            for left, right in zip((mine.sun[0], mine.moon[0]), found, strict=True):
                largest = max(largest, float(np.abs(left - right).max()))
    ratio = median(ours) / (_MARKS * median(theirs))
    report.add("sky, 1,000 marks x 31 days: ours over skyfield", ratio, "x", "<= 0.05", ratio <= 0.05)
    report.add("sky, 1,000 marks x 31 days at 10 min: ours", median(ours) * 1e3, "ms")
    report.add("sky: largest difference in altitude", largest, "degree", "<= 0.01", largest <= 0.01)
    ephemeris.close()
