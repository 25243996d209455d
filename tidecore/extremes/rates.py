"""How fast the water runs in a half tide, and where it stands."""

from __future__ import annotations

import numpy as np

from tidecore.roots.brackets import refine
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.timebase import US_PER_MINUTE
from tidecore.units import FloatArray

#: The water stands where the rate stays under this part of the peak of its tide, for more than this time [us].
STAND_PART = 0.1
STAND_US = 90 * US_PER_MINUTE
#: Step of the walk to the end of a stand [us]; the end is then closed in on.
_WALK_US = 10 * US_PER_MINUTE
#: Places of the samples in an hourly piece: every 15 minutes.
_PLACES = np.array([-1.0, -0.5, 0.0, 0.5])


def peak_rates(rates: PiecewisePolynomial, bounds_us: FloatArray) -> FloatArray:
    """Return the largest \\|rate\\| between neighbouring bounds.

    Parameters
    ----------
    rates : PiecewisePolynomial
        Rate of change of height [m/h], in hourly pieces.
    bounds_us : float64 array, shape ``(n,)``
        Instants of slack in time order, as the primary high and low waters [microseconds since 1970].

    Returns
    -------
    float64 array, shape ``(n - 1,)``
        [m/h], 0 where two bounds hold no sample.

    Notes
    -----
    From samples every 15 minutes; between them the rate is taken at the top of the parabola through three. Peaks of
    half tides are met to 1e-5 of the largest in a mixed tide, to 3e-5 in one with large M4, MS4 and M6.
    """
    peaks = np.zeros(max(bounds_us.size - 1, 0))
    if not peaks.size:
        return peaks
    samples = np.abs(rates.at_places(_PLACES).reshape(-1))
    top = 1 + np.flatnonzero((samples[1:-1] >= samples[:-2]) & (samples[1:-1] > samples[2:]))
    before, at, after = samples[top - 1], samples[top], samples[top + 1]
    step = rates.width_us / _PLACES.size
    shift = 0.5 * (after - before) / (2.0 * at - before - after)
    samples[top] = np.maximum(at, np.abs(rates(rates.start_us + (top + shift) * step)))
    first = np.ceil((bounds_us - rates.start_us) / step).astype(np.int64).clip(0, samples.size - 1)
    held = first[1:] > first[:-1]
    largest = np.maximum.reduceat(samples, first)[:-1]
    peaks[held] = largest[held]
    return peaks


def find_stands(
    rates: PiecewisePolynomial, times_us: FloatArray, limits: FloatArray, earliest_us: FloatArray, latest_us: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return start and end of the stand around each extreme, NaN where the water doesn't stand.

    Parameters
    ----------
    rates : PiecewisePolynomial
        Rate of change of height [m/h].
    times_us : float64 array, shape ``(n,)``
        Extremes [microseconds since 1970].
    limits : float64 array, shape ``(n,)``
        Rate under which the water stands [m/h]; NaN where nothing is known.
    earliest_us, latest_us : float64 array, shape ``(n,)``
        Bounds of the tide, beyond which a stand is not followed [microseconds since 1970].
    """
    start, end = np.full(times_us.size, np.nan), np.full(times_us.size, np.nan)
    # A span longer than STAND_US around the extreme holds one of these two instants.
    near = np.zeros(times_us.size, dtype=np.bool_)
    known = np.flatnonzero(limits > 0.0)
    for side in (-0.5, 0.5):
        near[known] |= np.abs(rates(times_us[known] + side * STAND_US)) < limits[known]
    found = np.flatnonzero(near)
    first = _walk(rates, times_us[found], limits[found], earliest_us[found], -_WALK_US)
    last = _walk(rates, times_us[found], limits[found], latest_us[found], _WALK_US)
    long = last - first > STAND_US
    start[found[long]], end[found[long]] = first[long], last[long]
    return start, end


def _walk(
    rates: PiecewisePolynomial, times_us: FloatArray, limits: FloatArray, bounds_us: FloatArray, step_us: int
) -> FloatArray:
    """Return where the rate first reaches its limit, going from ``times_us`` by ``step_us``, at most to the bound."""
    inside = times_us.copy()
    outside = bounds_us.copy()
    reached = np.zeros(times_us.size, dtype=np.bool_)
    active = np.arange(times_us.size)
    while active.size:
        here = inside[active] + step_us
        past = (here - bounds_us[active]) * step_us >= 0.0
        here = np.where(past, bounds_us[active], here)
        fast = np.abs(rates(here)) >= limits[active]
        reached[active[fast]] = True
        outside[active[fast]] = here[fast]
        inside[active[~fast]] = here[~fast]
        active = active[~(fast | past)]
    ends = outside
    left, right = np.minimum(inside, outside)[reached], np.maximum(inside, outside)[reached]
    ends[reached] = refine(lambda at: np.abs(rates(at)) - limits[reached], left, right, tolerance_us=500_000.0)
    return ends
