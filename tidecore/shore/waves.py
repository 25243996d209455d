"""Waves before they reach the shore: their periods, and the largest of many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tidecore.units import FloatArray

GRAVITY = 9.80665
#: Tp over the energy period and over the zero-crossing period of a single-peaked sea: an assumption.
PEAK_OVER_ENERGY, PEAK_OVER_ZERO_CROSSING = 1.1, 1.28
#: The run-up that 2 % of waves pass is the largest of so many.
_WAVES_OF_R2 = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class Waves:
    """A sea, shape ``(n,)`` each: significant height [m] and periods [s]; NaN where unknown.

    ``of_peak`` tells how it comes from the peak period alone.
    """

    height: FloatArray
    peak_period: FloatArray
    energy_period: FloatArray
    zero_crossing_period: FloatArray

    @classmethod
    def of(
        cls, height: ArrayLike, peak: ArrayLike = np.nan, energy: ArrayLike = np.nan, zero_crossing: ArrayLike = np.nan
    ) -> Waves:
        """Return a sea; periods that are not given follow from the peak period where that is.

        Tm-1,0 = Tp / 1.1 and Tz = Tp / 1.28, of a single-peaked sea. Nothing follows from the other periods.

        Examples
        --------
        >>> sea = Waves.of([2.0], [11.0])
        >>> sea.energy_period.round(3).tolist(), sea.zero_crossing_period.round(3).tolist()
        ([10.0], [8.594])
        """
        parts = (np.asarray(one, dtype=np.float64) for one in (height, peak, energy, zero_crossing))
        high, peak_s, energy_s, zero_s = (np.atleast_1d(one).astype(np.float64) for one in np.broadcast_arrays(*parts))
        energy_s = np.where(np.isnan(energy_s), peak_s / PEAK_OVER_ENERGY, energy_s)
        zero_s = np.where(np.isnan(zero_s), peak_s / PEAK_OVER_ZERO_CROSSING, zero_s)
        return cls(high, peak_s, energy_s, zero_s)

    @property
    def deep_water_length(self) -> FloatArray:
        """Length in deep water by the peak period, g Tp^2 / 2 pi [m]."""
        return GRAVITY * self.peak_period**2 / (2.0 * np.pi)

    def where(self, chosen: ArrayLike) -> Waves:
        """Return the sea with a height that is unknown but where chosen."""
        high = np.where(np.asarray(chosen, dtype=np.bool_), self.height, np.nan)
        return Waves(high, self.peak_period, self.energy_period, self.zero_crossing_period)

    def at(self, chosen: ArrayLike) -> Waves:
        """Return the sea at chosen instants."""
        parts = (self.height, self.peak_period, self.energy_period, self.zero_crossing_period)
        return Waves(*(one[np.asarray(chosen)] for one in parts))


def exceedance(ratio: ArrayLike) -> FloatArray:
    """Return the probability that a wave is higher than ``ratio`` significant heights: exp(-2 x^2).

    Rayleigh's distribution (Longuet-Higgins 1952).
    """
    above: FloatArray = np.exp(-2.0 * np.asarray(ratio, dtype=np.float64) ** 2)
    return above


def largest_most_probable(count: ArrayLike) -> FloatArray:
    """Return the most probable height of the largest of ``count`` waves, in significant heights: sqrt(ln N / 2)."""
    return np.sqrt(np.log(np.maximum(np.asarray(count, dtype=np.float64), 1.0)) / 2.0)


def largest_median(count: ArrayLike) -> FloatArray:
    """Return the median height of the largest of ``count`` waves, in significant heights.

    Examples
    --------
    >>> round(float(largest_median(1000)), 3)
    1.907
    """
    number = np.maximum(np.asarray(count, dtype=np.float64), 1.0)
    median: FloatArray = np.sqrt(-np.log(-np.expm1(np.log(0.5) / number)) / 2.0)
    return median


def largest_expected(count: float) -> float:
    """Return the expected height of the largest of ``count`` waves, in significant heights: the exact integral."""
    ratios = np.linspace(0.0, 8.0, 16_001)
    above = -np.expm1(max(count, 1.0) * np.log1p(-np.minimum(exceedance(ratios), 1.0 - 1e-16)))
    return float(np.trapezoid(above, ratios))


def waves_in(minutes: ArrayLike, zero_crossing_period: ArrayLike) -> FloatArray:
    """Return how many waves pass in some minutes, by the zero-crossing period [s]."""
    return 60.0 * np.asarray(minutes, dtype=np.float64) / np.asarray(zero_crossing_period, dtype=np.float64)


def largest_over_r2(count: ArrayLike) -> FloatArray:
    """Return how many times R2 the largest run-up of ``count`` waves is, about sqrt(ln N / ln 50); 1 up to 50 waves.

    By Rayleigh's distribution, an approximation.

    Examples
    --------
    >>> round(float(largest_over_r2(1000)), 2)
    1.33
    """
    number = np.asarray(count, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        larger: FloatArray = np.sqrt(np.log(np.maximum(number, _WAVES_OF_R2)) / np.log(_WAVES_OF_R2))
    return larger
