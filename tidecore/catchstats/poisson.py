"""Exact limits of a count and of a rate, and what bursts do to them."""

from __future__ import annotations

import math

import numpy as np

from tidecore.catchstats.special import gamma_quantile
from tidecore.errors import Fault, InvalidInput
from tidecore.units import FloatArray

#: Fewer trips tell nothing of how much trips differ; a choice of ours.
FEWEST_TRIPS = 5


def poisson_limits(count: float, level: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided limits of the mean of a Poisson count.

    Parameters
    ----------
    count : float
        Events counted, 0 or more; a fraction is a count divided by its over-dispersion.
    level : float
        Above 0 and below 1: the share of cases in which the limits hold the mean, at least.

    Raises
    ------
    InvalidInput
        If either is outside its range, or no finite number.

    Notes
    -----
    F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936): quantiles of gamma variables of
    shape ``count`` and ``count + 1``.

    Examples
    --------
    >>> [round(limit, 3) for limit in poisson_limits(10)]
    [4.795, 18.39]
    """
    check_level(level)
    if not (math.isfinite(count) and count >= 0.0):
        raise InvalidInput(Fault("count", f"is {count}", "0 or more"))
    tail = 0.5 * (1.0 - level)
    lower = gamma_quantile(tail, count) if count > 0.0 else 0.0
    return lower, gamma_quantile(1.0 - tail, count + 1.0)


def check_level(level: float) -> None:
    """Refuse a level of confidence that is none."""
    if not 0.0 < level < 1.0:
        raise InvalidInput(Fault("level", f"is {level}", "above 0 and below 1"))


def rate_limits(count: float, effort_h: float, level: float = 0.95, dispersion: float = 1.0) -> tuple[float, float]:
    """Return the limits of a rate per hour of effort; NaN and NaN without effort.

    A ``dispersion`` above 1, the variance of the count over its mean, widens them: the limits are those of
    ``count / dispersion`` events in ``effort_h / dispersion`` hours.

    Raises
    ------
    InvalidInput
        As `poisson_limits`, and if the effort is negative or the dispersion below 1.
    """
    if not (math.isfinite(effort_h) and effort_h >= 0.0):
        raise InvalidInput(Fault("effort_h", f"is {effort_h}", "0 or more hours"))
    if not (math.isfinite(dispersion) and dispersion >= 1.0):
        raise InvalidInput(Fault("dispersion", f"is {dispersion}", "1 or more"))
    if effort_h == 0.0:
        check_level(level)
        return math.nan, math.nan
    lower, upper = poisson_limits(count / dispersion, level)
    return lower * dispersion / effort_h, upper * dispersion / effort_h


def dispersion_of_trips(counts: FloatArray, efforts_h: FloatArray) -> float:
    """Return the variance of the pooled count over its mean, from residuals of trips about their common rate.

    Parameters
    ----------
    counts, efforts_h : float64 array, shape ``(n,)``
        Events and hours of every trip; those without effort are left out.

    Returns
    -------
    float
        At least 1; NaN of fewer than 5 trips with effort, or where nothing was counted.

    Notes
    -----
    Sum of squared residuals over the count, times n/(n - 1): long trips weigh as they do in the pooled rate.
    """
    fished = efforts_h > 0.0
    n, total = int(fished.sum()), float(counts[fished].sum())
    if n < FEWEST_TRIPS or total == 0.0:
        return math.nan
    expected = efforts_h[fished] * (total / float(efforts_h[fished].sum()))
    residuals = counts[fished] - expected
    return max(1.0, float(np.sum(residuals**2)) / total * n / (n - 1))
