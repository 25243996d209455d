"""The tests of QARTOD for water levels, on plain arrays: range, spike, rate of change, flat line, gap.

Each returns one flag a value, `GOOD`, `NOT_EVALUATED`, `SUSPECT`, `FAIL` or `MISSING`, and changes nothing.

References
----------
U.S. Integrated Ocean Observing System, Manual for Real-Time Quality Control of Water Level Data, version 2.0 (2016),
doi:10.7289/V5QC01Q7: tests 1 (gap), 4 (gross range), 6 (spike), 7 (rate of change), 8 (flat line).
"""

from __future__ import annotations

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.gauges.record import FAIL, GOOD, MISSING, NOT_EVALUATED, SUSPECT
from tidecore.timebase import US_PER_HOUR
from tidecore.units import AnyArray, FloatArray, IntArray

Flags = AnyArray


def gross_range(levels: FloatArray, fail: tuple[float, float], suspect: tuple[float, float] | None = None) -> Flags:
    """Flag levels outside of what the gauge can measure, or outside of what the place is known to show.

    Parameters
    ----------
    levels : array, shape (n,)
        [m]; NaN is missing.
    fail : (lowest, highest)
        Bounds that a true level cannot pass [m].
    suspect : (lowest, highest), optional
        Narrower bounds [m].

    Raises
    ------
    InvalidInput
        Where bounds are reversed or the suspect ones are wider.
    """
    inner = fail if suspect is None else suspect
    if not fail[0] <= inner[0] <= inner[1] <= fail[1]:
        raise InvalidInput(Fault("suspect", f"is {inner} with fail={fail}", "ascending bounds, suspect within fail"))
    flags = np.full(levels.shape, GOOD, dtype=np.uint8)
    flags[(levels < inner[0]) | (levels > inner[1])] = SUSPECT
    flags[(levels < fail[0]) | (levels > fail[1])] = FAIL
    flags[np.isnan(levels)] = MISSING
    return flags


def spike(levels: FloatArray, suspect: float | FloatArray, fail: float | FloatArray) -> Flags:
    """Flag values that stand out from the mean of the values before and after by more than a threshold [m].

    The first and last value, and those beside a missing one, are not evaluated. Thresholds are numbers or arrays of
    one a value.
    """
    flags = np.full(levels.shape, NOT_EVALUATED, dtype=np.uint8)
    if len(levels) > 2:
        out = np.full(levels.shape, np.nan)
        out[1:-1] = np.abs(levels[1:-1] - (levels[:-2] + levels[2:]) / 2.0)
        flags[np.isfinite(out)] = GOOD
        flags[out > suspect] = SUSPECT
        flags[out > fail] = FAIL
    flags[np.isnan(levels)] = MISSING
    return flags


def rate_of_change(times_us: IntArray, levels: FloatArray, threshold: float) -> Flags:
    """Flag as suspect each value that differs from the one before by more than ``threshold`` [m/h].

    The first value is good, as there is nothing to hold against it; so is one after a missing value.
    """
    flags = np.full(levels.shape, GOOD, dtype=np.uint8)
    hours = np.diff(times_us) / US_PER_HOUR
    flags[1:][np.abs(np.diff(levels)) > threshold * hours] = SUSPECT
    flags[np.isnan(levels)] = MISSING
    return flags


def flat_line(times_us: IntArray, levels: FloatArray, suspect_h: float, fail_h: float, tolerance: float) -> Flags:
    """Flag values at the end of a span of ``suspect_h`` or ``fail_h`` hours in which no level moved by ``tolerance``.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending [microseconds since 1970], one a level.
    levels : array, shape (n,)
        [m]; NaN is missing, and takes no part.
    suspect_h, fail_h : float
        Spans [h]; what is shorter than a step flags nothing.
    tolerance : float
        A span whose range is below this is flat [m].

    Notes
    -----
    As many values as the span holds of the most frequent step are looked at, as ioos_qc does.
    """
    flags = np.full(levels.shape, GOOD, dtype=np.uint8)
    if len(levels) > 1:
        step_h = float(np.median(np.diff(times_us))) / US_PER_HOUR
        for hours, flag in ((suspect_h, SUSPECT), (fail_h, FAIL)):
            steps = int(hours / step_h)
            if not 1 <= steps < len(levels):
                continue
            windows = np.lib.stride_tricks.sliding_window_view(levels, steps + 1)
            highest, lowest = np.fmax.reduce(windows, axis=1), np.fmin.reduce(windows, axis=1)
            flags[steps:][highest - lowest < tolerance] = flag
    flags[np.isnan(levels)] = MISSING
    return flags


def gaps(times_us: IntArray, step_us: int) -> IntArray:
    """Return the places after which a record is silent for at least one and a half steps, shape ``(g,)``."""
    return np.flatnonzero(np.diff(times_us) * 2 >= 3 * step_us)
