"""When a factor passes a threshold, near peaks too: the instants at which a category made of it jumps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tidecore.roots.brackets import TimeFunction, refine, sample_times, summits
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE
from tidecore.timeline.frame import Frame
from tidecore.timeline.sources import Sources
from tidecore.units import FloatArray, IntArray

#: Distance of samples, and how far beyond the span of a timeline factors may be asked for [microseconds].
_STEP_US, _MARGIN_US = 10 * US_PER_MINUTE, US_PER_DAY
#: Passages and peaks are found to these [microseconds].
_TOLERANCE_US, _PEAK_TOLERANCE_US = 1000.0, 500_000.0


def value_passes(
    sources: Sources, value: Callable[[Frame], FloatArray], thresholds: tuple[float, ...], breaks_us: IntArray
) -> IntArray:
    """Return when a quantity passes thresholds, in any order [microseconds since 1970].

    Parameters
    ----------
    value : callable
        Of a frame: the quantity, NaN where it is unknown; what is unknown passes nothing.
    breaks_us : int64 array
        When it jumps or turns a corner; both sides of these are samples.

    Notes
    -----
    Each passage is told twice, as it is found and a hair later: from the later on the quantity has passed for certain.
    A peak over a threshold between two samples that stay under it is looked for where the samples come near, and so
    is a dip under it.
    """

    def function(at: FloatArray) -> FloatArray:
        return value(Frame(sources, np.rint(at).astype(np.int64)))

    first, last = sources.span.start_us - _MARGIN_US, sources.span.end_us + _MARGIN_US
    inside = breaks_us[(breaks_us > first) & (breaks_us < last)]
    even = sample_times(first, last, _STEP_US)
    times: FloatArray = np.unique(np.concatenate((even, inside, inside - 1)).astype(np.float64))
    values = function(times)
    found = [np.empty(0)]
    for threshold in thresholds:
        found.append(_passed(function, times, values, threshold))
        for sign in (1.0, -1.0):
            peaks = _hidden(function, times, values, threshold, sign)
            if peaks.size:
                at, seen = np.concatenate((times, peaks)), np.concatenate((values, function(peaks)))
                order = np.argsort(at)
                found.append(_passed(function, at[order], seen[order], threshold))
    passed = np.concatenate(found)
    return np.unique(np.rint(np.concatenate((passed, passed + _TOLERANCE_US + 1.0))).astype(np.int64))


def _passed(function: TimeFunction, times: FloatArray, values: FloatArray, threshold: float) -> FloatArray:
    over, known = values > threshold, ~np.isnan(values)
    k = np.flatnonzero((over[1:] != over[:-1]) & known[1:] & known[:-1] & (np.diff(times) > 1.5))
    return refine(lambda at: function(at) - threshold, times[k], times[k + 1], _TOLERANCE_US)


def _hidden(function: TimeFunction, times: FloatArray, values: FloatArray, threshold: float, sign: float) -> FloatArray:
    """Return the peaks (for sign -1 the dips) beyond the threshold around samples that stay short of it."""
    height, level = sign * values, sign * threshold
    before, after = height[1:-1] - height[:-2], height[1:-1] - height[2:]
    short = (height[1:-1] < level) & (height[1:-1] + 2.0 * np.maximum(before, after) >= level)
    k = np.flatnonzero((before >= 0.0) & (after >= 0.0) & short)
    tops = summits(lambda at: sign * function(at), times[k], times[k + 2], _PEAK_TOLERANCE_US)
    return tops.times_us[tops.values > level]
