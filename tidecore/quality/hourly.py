"""What the tide leaves of a record, by the hour, and the noise in it made white.

A fault of datum or clock stands against weather, which wanders. What is told apart is not the level but what an
autoregression of some days cannot foresee of it: in that, weather is nearly white, a step is one large value with a
known wake, and a clock that is late is the rate of the tide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray

#: Hours that the autoregression looks back: two tides and more, so that what is left of the tide is foreseen.
ORDER = 50
#: Hours that it looks back for the clock: of a delay that stays, the tides before must not foresee anything.
CLOCK_ORDER = 12
#: Gaps up to this are bridged by a line [h]; after longer ones the autoregression begins anew.
BRIDGED_H = 3
#: Days over which what is left of the tide is taken for a constant when the noise is told from it.
_BLOCK_H = 15 * 24
#: Share of the noise's variance added to its lag 0, so that the equations have a solution.
_RIDGE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """A record less its tide, by the hour.

    Attributes
    ----------
    first_hour : int
        Hour since 1970 of the first.
    residual : array, shape (n,)
        Mean level less tide in the hour about each full one [m]; bridged by lines where missing.
    rate, tide : array, shape (n,)
        Rate [m/h] and height [m] of the tide at the same.
    known : bool array, shape (n,)
        Hours that the record has.
    """

    first_hour: int
    residual: FloatArray
    rate: FloatArray
    tide: FloatArray
    known: BoolArray

    def time_us(self, at: int) -> int:
        """Return the instant of the border before hour ``at`` [microseconds since 1970]."""
        return (self.first_hour + at) * US_PER_HOUR - US_PER_HOUR // 2

    def place(self, time_us: int) -> int:
        """Return the hour in which an instant lies."""
        return (time_us + US_PER_HOUR // 2) // US_PER_HOUR - self.first_hour


def by_the_hour(times_us: IntArray, levels: FloatArray, harmonics: Harmonics) -> Hours:
    """Return the hours of a record; ``times_us`` ascend, and no level is missing."""
    hours = (times_us + US_PER_HOUR // 2) // US_PER_HOUR
    first = int(hours[0])
    places, count = hours - first, int(hours[-1]) - first + 1
    values = np.bincount(places, minlength=count)
    known = values > 0
    middles = ((first + np.arange(count)) * US_PER_HOUR).view("datetime64[us]")
    moments = times_us.view("datetime64[us]")
    columns = []
    for of, everywhere in (
        (levels - harmonics.heights(moments), None),
        (harmonics.rates(moments), harmonics.rates(middles)),
        (harmonics.heights(moments) - harmonics.mean_level, harmonics.heights(middles) - harmonics.mean_level),
    ):
        mean = np.bincount(places, of, minlength=count) / np.maximum(values, 1)
        if everywhere is None:
            everywhere = np.interp(np.arange(count), np.flatnonzero(known), mean[known])
        columns.append(np.where(known, mean, everywhere))
    return Hours(first, columns[0], columns[1], columns[2], known)


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """An autoregression of the residual, and what it does not foresee.

    ``weights`` (order,) are those of the hours before, nearest first; ``sigma`` [m] is the robust deviation of the
    unforeseen; ``used`` says of which hours it can be told.
    """

    weights: FloatArray
    sigma: float
    used: BoolArray

    def whiten(self, series: FloatArray) -> FloatArray:
        """Return what the hours before do not foresee of ``series``, shape as given."""
        return np.convolve(series, np.concatenate(([1.0], -self.weights)))[: len(series)]


def noise_of(hours: Hours, order: int = ORDER) -> Noise | None:
    """Return the noise of a record as of ``order`` hours before, None where there is too little to tell it from."""
    known = hours.known
    if known.sum() < 4 * ORDER:
        return None
    quiet = _without_tide(hours)
    weights = _autoregression(quiet, known, order)
    used = known.copy()
    used[:order] = False
    for begin, end in _gaps_of(known):
        if end - begin > BRIDGED_H:
            used[begin : end + order] = False
    if used.sum() < 2 * ORDER:
        return None
    noise = Noise(weights, 1.0, used)
    sigma = robust_deviation(noise.whiten(quiet)[used])
    return None if sigma <= 0.0 else Noise(weights, sigma, used)


def robust_deviation(values: FloatArray) -> float:
    """Return the standard deviation of a normal distribution with the quartiles of ``values`` about their median."""
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _gaps_of(known: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([1], known.astype(np.int8), [1]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _without_tide(hours: Hours) -> FloatArray:
    """Return the residual less what of it follows tide and rate in blocks of days: clock faults must not be noise."""
    out = hours.residual - np.mean(hours.residual[hours.known])
    for begin in range(0, len(out), _BLOCK_H):
        part = slice(begin, begin + _BLOCK_H)
        known = hours.known[part]
        if known.sum() < 48:
            continue
        basis = np.stack((hours.tide[part], hours.rate[part], np.ones(len(known))), axis=1)
        found, *_ = np.linalg.lstsq(basis[known], out[part][known], rcond=None)
        out[part] -= basis[:, :2] @ found[:2]
    return out


def _autoregression(series: FloatArray, known: BoolArray, order: int) -> FloatArray:
    """Return the weights of the ``order`` hours before, by Yule and Walker's equations over pairs of known hours."""
    # What stands far out is no noise: spikes and steps must not set its memory.
    spread = robust_deviation(series[known])
    held = np.where(known, np.clip(series - np.median(series[known]), -6.0 * spread, 6.0 * spread), 0.0)
    length = 1 << (2 * len(series) - 1).bit_length()
    products = np.fft.irfft(np.abs(np.fft.rfft(held, length)) ** 2, length)[: order + 1]
    pairs = np.fft.irfft(np.abs(np.fft.rfft(known.astype(np.float64), length)) ** 2, length)[: order + 1]
    lags = products / np.maximum(pairs, 1.0)
    # Few pairs at a long lag count for less, which keeps the matrix positive definite.
    lags *= pairs / pairs[0]
    lags[0] *= 1.0 + _RIDGE
    matrix = lags[np.abs(np.subtract.outer(np.arange(order), np.arange(order)))]
    weights = np.linalg.solve(matrix + 1e-12 * np.eye(order), lags[1:])
    return np.asarray(weights, dtype=np.float64)
