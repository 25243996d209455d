"""Single values that are no level of the sea: out of range, spikes, a gauge that stands still, changes too fast.

The tests are QARTOD's, held against what the tide leaves of a record, so that one threshold serves a place of half a
metre of tide and one of twelve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tidecore.gauges.record import FAIL, GOOD, NOT_EVALUATED, SUSPECT
from tidecore.quality import qartod
from tidecore.quality.hourly import robust_deviation
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray

#: Beyond the tide by this much, or by so many deviations of what it leaves, is no level of the sea [m].
_FAR_M, _FAR_DEVIATIONS = 3.0, 15.0
#: A spike stands out from the median of the values about it by so many deviations, and at least so much [m].
_SPIKE_DEVIATIONS, _SPIKE_M = 8.0, 0.05
_SPIKE_ABOUT = 7
#: A change an hour that is looked at with suspicion, in deviations of such changes, and at least [m/h].
_FAST_DEVIATIONS, _FAST_M = 15.0, 0.5
#: Equal levels over so long are a gauge that stands still if the tide has moved, or chance rules it out [h].
_STILL_H = 3.0
#: Whatever the tide does, no sea stands still so long [h].
_STILL_EVER_H = 24.0
_CHANCE = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class ValueFlags:
    """QARTOD flags of each value by test, and the worst of them."""

    by_test: Mapping[str, qartod.Flags]

    @property
    def worst(self) -> qartod.Flags:
        """Flags of all tests together: fail before suspect before good, not evaluated where no test was."""
        stacked = np.stack(list(self.by_test.values()))
        rank = np.array([0, 1, 0, 2, 3], dtype=np.uint8)[stacked].max(axis=0)
        worst: qartod.Flags = np.array([NOT_EVALUATED, GOOD, SUSPECT, FAIL], dtype=np.uint8)[rank]
        return worst


def test_names() -> tuple[str, ...]:
    """Return the tests of single values."""
    return ("range", "spike", "rate_of_change", "flat_line")


def flag_values(
    times_us: IntArray,
    levels: FloatArray,
    tide: FloatArray | None,
    level_range: tuple[float, float] | None = None,
) -> ValueFlags:
    """Return the flags of valid levels.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending [microseconds since 1970].
    levels : array, shape (n,)
        [m], none missing.
    tide : array, shape (n,), or None
        What the tide is at the same [m]; None where it is not known, and the tests that need it are not evaluated.
    level_range : tuple, optional
        Lowest and highest level that the gauge can measure [m].
    """
    blank = np.full(levels.shape, NOT_EVALUATED, dtype=np.uint8)
    flags = {name: blank.copy() for name in test_names()}
    if level_range is not None:
        flags["range"] = qartod.gross_range(levels, level_range)
    flags["flat_line"] = _still(times_us, levels, tide)
    if tide is not None:
        left = levels - tide
        left = left - np.median(left)
        far = max(_FAR_M, _FAR_DEVIATIONS * robust_deviation(left))
        flags["range"] = np.maximum(np.minimum(flags["range"], GOOD), qartod.gross_range(left, (-far, far)))
        if level_range is not None:
            flags["range"][(levels < level_range[0]) | (levels > level_range[1])] = FAIL
        # What a gauge that stands still leaves of the tide is no spike.
        moving = flags["flat_line"] != FAIL
        flags["spike"][moving] = _spikes(times_us[moving], left[moving])
        kept = np.where((flags["spike"] == FAIL) | ~moving, np.nan, left)
        flags["rate_of_change"] = _fast(times_us, kept)
    return ValueFlags(flags)


def runs_of(marked: BoolArray) -> list[tuple[int, int]]:
    """Return the runs of marked places as pairs of first and last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], marked.astype(np.int8), [0]))))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _spikes(times_us: IntArray, left: FloatArray) -> qartod.Flags:
    flags = np.full(left.shape, NOT_EVALUATED, dtype=np.uint8)
    if len(left) < 2 * _SPIKE_ABOUT:
        return flags
    half = _SPIKE_ABOUT // 2
    padded = np.concatenate((left[half:0:-1], left, left[-2 : -half - 2 : -1]))
    about = np.median(np.lib.stride_tricks.sliding_window_view(padded, _SPIKE_ABOUT), axis=1)
    out = np.abs(left - about)
    flags[:] = GOOD
    least = np.maximum(_SPIKE_DEVIATIONS * _unrest(times_us, left - about), _SPIKE_M)
    # What is left of the tide bends: a spike stands out from a cubic through the values beside its own neighbours too.
    wide = np.concatenate((np.repeat(left[0], half), left, np.repeat(left[-1], half)))
    curve = 0.9 * (wide[1:-5] + wide[5:-1]) - 0.4 * (wide[:-6] + wide[6:])
    flags[(out > least) & (np.abs(left - curve) > 0.5 * least)] = FAIL
    return flags


def _unrest(times_us: IntArray, values: FloatArray) -> FloatArray:
    """Return the deviation of ``values`` in the thirty days about each, never below that of the whole record."""
    whole = robust_deviation(values)
    block = (times_us - times_us[0]) // (15 * 24 * US_PER_HOUR)
    scale = np.full(int(block[-1]) + 1, whole)
    for number in np.unique(block):
        part = values[block == number]
        if len(part) >= 48:
            scale[number] = max(whole, robust_deviation(part))
    wide = np.concatenate((scale[:1], scale, scale[-1:]))
    deviation: FloatArray = np.max([wide[:-2], wide[1:-1], wide[2:]], axis=0)[block]
    return deviation


def _fast(times_us: IntArray, left: FloatArray) -> qartod.Flags:
    hours = np.diff(times_us) / US_PER_HOUR
    rates = np.diff(left) / hours
    known = rates[np.isfinite(rates)]
    if len(known) < 48:
        return np.full(left.shape, NOT_EVALUATED, dtype=np.uint8)
    flags = qartod.rate_of_change(times_us, left, max(_FAST_M, _FAST_DEVIATIONS * robust_deviation(known)))
    flags[np.isnan(left)] = NOT_EVALUATED
    return flags


def _still(times_us: IntArray, levels: FloatArray, tide: FloatArray | None) -> qartod.Flags:
    """Flag every value of a run of equal ones that the tide, its length or chance rule out."""
    flags = np.full(levels.shape, GOOD, dtype=np.uint8)
    if len(levels) < 4:
        return np.full(levels.shape, NOT_EVALUATED, dtype=np.uint8)
    same = np.diff(levels) == 0.0
    # Levels repeat most about high and low water; three times the common share stands for that.
    share = min(3.0 * float(same.mean()), 1.0)
    unlike = robust_deviation(np.diff(levels)) if tide is None else robust_deviation(np.diff(levels - tide))
    for first, last in runs_of(same):
        end = last + 1
        hours = float(times_us[end] - times_us[first]) / US_PER_HOUR
        if hours < _STILL_H or end - first < 3:
            continue
        moved = 0.0 if tide is None else float(np.ptp(tide[first : end + 1]))
        by_chance = len(levels) * share ** (end - first)
        if hours >= _STILL_EVER_H or moved > 4.0 * unlike or by_chance < _CHANCE:
            flags[first : end + 1] = FAIL
        elif by_chance < 1.0:
            flags[first : end + 1] = SUSPECT
    return flags
