"""How hard the stream runs, and which way."""

from __future__ import annotations

import numpy as np

from tidecore.errors import Fault, InvalidInput, InvalidSpan
from tidecore.extremes import Extremes, find_extremes
from tidecore.flow.lags import SlackLags, station_times
from tidecore.harmonics import Harmonics
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.timebase import US_PER_DAY, TimeGrid, from_microseconds, microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: High and low waters are sought so far [us] around the times, further if none are there.
_PADS_US = (3 * US_PER_DAY, 12 * US_PER_DAY, 48 * US_PER_DAY)


def flow_index(
    harmonics: Harmonics,
    normaliser: float,
    times: TimeGrid | UtcTimes,
    lags: SlackLags | None = None,
    tides: Extremes | None = None,
    slope: PiecewisePolynomial | None = None,
    station_us: IntArray | None = None,
) -> FloatArray:
    """Return the flow index: signed run of the tide, + flood and - ebb, 1 at a mean spring peak.

    Parameters
    ----------
    harmonics : Harmonics
        The tide.
    normaliser : float
        The station's `flow_normaliser` [m/h].
    times : TimeGrid or datetime64 array
        Instants [UTC], in any order.
    lags : SlackLags, optional
        When the stream turns at the mark. Without them the stream follows the level, which is not to be relied on.
    tides : Extremes, optional
        High and low waters from before the first instant to after the last, if they are there already.
    slope : PiecewisePolynomial, optional
        Rate of rise [m/h] over all of ``tides``, if it is there already: many calls then share it.
    station_us : int64 array, optional
        Where ``tides`` are those of a place with offsets: when its primary waters come at the station, whose tide
        ``harmonics`` and ``slope`` are [microseconds since 1970].

    Returns
    -------
    float64 array, of the shape of ``times``
        NaN where no high and low water lie before and after, and where the normaliser is 0: there is no tide.

    Raises
    ------
    InvalidInput
        If the normaliser is negative or not a number, or lags would put one slack past the next.
    InvalidSpan
        If ``tides`` don't reach over all instants.

    Notes
    -----
    The rate of the level is read at a warped time: linear between the instants at which the stream turns, each of which
    stands for its own high or low water. Its magnitude is that of the curve, its sign that of the half tide between
    primary extremes, so that a second high or low water stops the stream without turning it.
    """
    if not (np.isfinite(normaliser) and normaliser >= 0.0):
        raise InvalidInput(Fault("normaliser", f"is {normaliser!r}", "metres an hour, 0 or more"))
    ticks = times.times_us() if isinstance(times, TimeGrid) else microseconds(times)
    flat = ticks.reshape(-1)
    if not flat.size or normaliser == 0.0:
        return np.full(ticks.shape, np.nan)
    applied = SlackLags(0.0, 0.0) if lags is None else lags
    turns, extremes, rising = _turns(harmonics, flat, applied, tides)
    extremes = extremes if station_us is None else station_us
    if lags is None and station_us is None:
        speed = np.abs(slope(flat) if slope is not None else harmonics.rates(times))
        speed = speed.reshape(-1)
        speed[_outside(flat, turns)] = np.nan
    else:
        speed = _warped_speed(harmonics, slope, station_times(flat, turns, extremes))
    half = np.searchsorted(turns, flat, side="right") - 1
    sign = np.where(rising[np.maximum(half, 0)], 1.0, -1.0) if turns.size else np.ones(flat.size)
    index: FloatArray = sign * speed / normaliser
    return index.reshape(ticks.shape)


def _outside(times_us: IntArray, turns_us: IntArray) -> BoolArray:
    """Return which instants lie before the first turn or after the last."""
    if not turns_us.size:
        return np.ones(times_us.size, dtype=np.bool_)
    outside: BoolArray = (times_us < turns_us[0]) | (times_us > turns_us[-1])
    return outside


def _warped_speed(harmonics: Harmonics, slope: PiecewisePolynomial | None, warped_us: FloatArray) -> FloatArray:
    """Return \\|rate\\| at instants of which some are NaN [m/h]."""
    speed = np.full(warped_us.size, np.nan)
    known = np.flatnonzero(~np.isnan(warped_us))
    if known.size:
        at = warped_us[known]
        speed[known] = np.abs(slope(at) if slope is not None else harmonics.rates(from_microseconds(at)))
    return speed


def _turns(
    harmonics: Harmonics, times_us: IntArray, lags: SlackLags, tides: Extremes | None
) -> tuple[IntArray, IntArray, BoolArray]:
    """Return turns of the stream around the times, their extremes, and whether the stream floods after each."""
    first, last = int(times_us.min()), int(times_us.max())
    if tides is not None:
        turns = lags.turning_us(tides)
        if not (turns.size and turns[0] <= first and turns[-1] >= last):
            problem = (
                f"{turns.size} slacks do not reach over {np.datetime64(first, 'us')}Z to {np.datetime64(last, 'us')}Z"
            )
            raise InvalidSpan(Fault("tides", problem, "high and low waters before the first and after the last time"))
        primaries = tides.primaries()
        return turns, primaries.times_us(), primaries.kind == "low"
    for pad in _PADS_US:
        found = find_extremes(harmonics, np.datetime64(first - pad, "us"), np.datetime64(last + pad, "us"))
        turns = lags.turning_us(found)
        if turns.size and turns[0] <= first and turns[-1] >= last:
            break
    primaries = found.primaries()
    return turns, primaries.times_us(), primaries.kind == "low"
