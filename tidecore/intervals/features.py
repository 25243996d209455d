"""What a spread may depend on: the season, and the state of the tide."""

from __future__ import annotations

import numpy as np

from tidecore.harmonics import Harmonics
from tidecore.units import FloatArray, IntArray

#: What a spread may depend on, the plainest first. "tide" is height and rate; "half-years" a season in more detail.
KINDS = ("constant", "tide", "season", "season and tide", "half-years and tide")
_US_PER_YEAR = 365.2425 * 86_400e6
#: Slower lines than this [degrees an hour] are no part of the tide's own size: diurnal ones start at 12.
_SLOWEST = 10.0
#: Mean of |cos|, which centres the feature of the rate.
_MEAN_RATE = 2.0 / np.pi


def tide_size(harmonics: Harmonics) -> tuple[float, float]:
    """Return root mean square amplitude [m] and root mean square peak rate [m/h] of the diurnal and faster tide."""
    speeds = harmonics.speeds_deg_per_hour
    fast = speeds > _SLOWEST
    squares = harmonics.amplitude[fast] ** 2
    return (
        max(float(np.sqrt(squares.sum())), 1e-3),
        max(float(np.sqrt((squares * np.radians(speeds[fast]) ** 2).sum())), 1e-3),
    )


def features_of(
    kind: str, times_us: IntArray, above_mean: FloatArray, rates: FloatArray, size: tuple[float, float]
) -> FloatArray:
    """Return the features of a kind of spread, shape ``(n, m)``; the first is one.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    times_us : int64 array, shape (n,)
    above_mean, rates : array, shape (n,)
        Height of the tide above its mean level [m] and its rate [m/h].
    size : (float, float)
        `tide_size`.
    """
    found = [np.ones(len(times_us))]
    turn = 2.0 * np.pi * (times_us / _US_PER_YEAR)
    if kind in KINDS[2:]:
        found += [np.cos(turn), np.sin(turn)]
    if kind == KINDS[4]:
        found += [np.cos(2.0 * turn), np.sin(2.0 * turn)]
    if kind in (KINDS[1], KINDS[3], KINDS[4]):
        height = np.clip(above_mean / size[0], -2.0, 2.0)
        found += [np.minimum(np.abs(rates) / size[1], 2.0) - _MEAN_RATE, height]
    return np.stack(found, axis=1)
