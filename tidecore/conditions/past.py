"""What was before: since when something last held, on instants ten minutes apart, as far back as the past is known.

A gap of up to 12 h is bridged by a straight line for looking back over it; in the gap itself nothing is told. The
instants are whole multiples of ten minutes since 1970, so that an answer hangs on no query; and it rests on what was
before it alone, so that what is issued for later changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from tidecore.conditions.pieces import Pieces
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray

#: Distance of the instants [microseconds].
STEP_US = 10 * US_PER_MINUTE
#: Longest gap that is bridged for looking back over it [h].
BRIDGED_H = 12.0
_DAY_SAMPLES = 24 * 6 + 1
#: What a value may lack of a bound by rounding alone.
_ROUNDING = 1e-9

#: Where something held, of values ten minutes apart.
Test = Callable[[FloatArray], BoolArray]


@dataclass(frozen=True, slots=True, eq=False)
class Past:
    """Spans in which something held, and spans of which it is known whether it did; both closed and ascending.

    Four int64 arrays of instants [microseconds since 1970].
    """

    start_us: IntArray
    end_us: IntArray
    known_from_us: IntArray
    known_to_us: IntArray

    @classmethod
    def of(cls, pieces: Pieces, test: Test) -> Past:
        """Return when ``test`` held of a quantity; a test gets the values of one stretch, ten minutes apart."""
        starts, ends, known_from, known_to = [], [], [], []
        for first_us, last_us, values in _stretches(pieces):
            held = test(values)
            edges = np.diff(np.concatenate(([0], held.astype(np.int8), [0])))
            starts.append(first_us + np.flatnonzero(edges == 1) * STEP_US)
            ends.append(first_us + (np.flatnonzero(edges == -1) - 1) * STEP_US)
            known_from.append(first_us)
            known_to.append(last_us)
        nothing = np.empty(0, dtype=np.int64)
        return cls(
            np.concatenate([nothing, *starts]),
            np.concatenate([nothing, *ends]),
            np.array(known_from, dtype=np.int64),
            np.array(known_to, dtype=np.int64),
        )

    def told(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return `since_h` and `known_h` at once."""
        unknown = np.full(times_us.shape, np.nan)
        if not self.known_from_us.size:
            return unknown, unknown
        stretch = np.maximum(np.searchsorted(self.known_from_us, times_us, side="right") - 1, 0)
        begun = self.known_from_us[stretch]
        inside = (times_us >= begun) & (times_us <= self.known_to_us[stretch])
        known_h = np.where(inside, (times_us - begun) / US_PER_HOUR, np.nan)
        if not self.start_us.size:
            return unknown, known_h
        last = np.maximum(np.searchsorted(self.start_us, times_us, side="right") - 1, 0)
        known = inside & (self.start_us[last] >= begun) & (self.start_us[last] <= times_us)
        return np.where(known, np.maximum(times_us - self.end_us[last], 0) / US_PER_HOUR, np.nan), known_h

    def known_h(self, times_us: IntArray) -> FloatArray:
        """Return for how long before each instant the past is known [h], NaN where it is not."""
        return self.told(times_us)[1]

    def since_h(self, times_us: IntArray) -> FloatArray:
        """Return for how long it has not held [h]: 0 while it holds, NaN where nothing is known of it since."""
        return self.told(times_us)[0]

    def breaks_us(self, *later_h: float) -> IntArray:
        """Return the instants at which the answers jump or turn, and those ``later_h`` after.

        Later than the end of what held or than the first that is known; ascending microseconds since 1970.
        """
        ahead = [round(hours * US_PER_HOUR) for hours in later_h]
        found = [self.start_us, self.end_us, self.end_us + 1, self.known_from_us, self.known_to_us + 1]
        found += [self.end_us + after for after in ahead] + [self.known_from_us + after for after in ahead]
        return np.unique(np.concatenate(found))


def _stretches(pieces: Pieces) -> Iterator[tuple[int, int, FloatArray]]:
    """Yield first instant, last instant and values ten minutes apart, of each stretch without a longer gap."""
    starts, ends = pieces.runs()
    if not starts.size:
        return
    knots = np.stack((pieces.start_us, pieces.end_us - 1), axis=1).ravel()
    heights = pieces.at(knots)
    wide = starts[1:] - (ends[:-1] - 1) > round(BRIDGED_H * US_PER_HOUR)
    firsts, lasts = starts[np.append(True, wide)], ends[np.append(wide, True)] - 1
    for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
        times = np.arange(-(-first // STEP_US), last // STEP_US + 1, dtype=np.int64) * STEP_US
        if times.size:
            values = pieces.at(times)
            gaps = np.isnan(values)
            if gaps.any():
                values[gaps] = np.interp(times[gaps], knots, heights)
            yield int(times[0]), last, values


def over(least: float) -> Test:
    """Return the test whether a value is at least so much."""
    return lambda values: values >= least - _ROUNDING


def day_sum_over(least: float) -> Test:
    """Return the test whether a rate an hour has come to at least so much in the 24 h before."""

    def test(rates: FloatArray) -> BoolArray:
        total = np.append(0.0, np.cumsum(0.5 * (rates[1:] + rates[:-1]) * STEP_US / US_PER_HOUR))
        # At the beginning of what is known the sum is over less than a day, and is that at least.
        before = np.concatenate((np.zeros(min(_DAY_SAMPLES - 1, total.size)), total[: 1 - _DAY_SAMPLES]))
        return np.asarray(total - before[: total.size] >= least - _ROUNDING)

    return test


def highest_of_day(least: float, growth: float) -> Test:
    """Return the test whether a value is the highest of the 24 h before it and ``growth`` times their lowest.

    It must be at least ``least``, and the 24 h known.
    """

    def test(values: FloatArray) -> BoolArray:
        highest, lowest = _trailing(values, np.maximum), _trailing(values, np.minimum)
        bound = np.maximum(np.maximum(highest, growth * lowest), least)
        held = values >= bound - _ROUNDING
        held[: _DAY_SAMPLES - 1] = False
        return np.asarray(held)

    return test


def _trailing(values: FloatArray, pick: np.ufunc) -> FloatArray:
    """Return the highest (lowest) of the 24 h that end with each value, both ends included."""
    found, width = values, 1
    while width < _DAY_SAMPLES:
        shift = min(width, _DAY_SAMPLES - width)
        found = np.concatenate((found[:shift], pick(found[shift:], found[:-shift])))
        width += shift
    return found
