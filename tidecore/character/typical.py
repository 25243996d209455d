"""A fortnight that shows the tide of a station as it usually is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.datums.range_cycle import EPOCH, RangeCycle
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY, from_microseconds


@dataclass(frozen=True, slots=True)
class TypicalFortnight:
    """Springs and the neaps after them (tropic and equatorial tides) with daily ranges nearest to their means.

    Parameters
    ----------
    springs_us, neaps_us : int or None
        Instants of the largest and least daily range [microseconds since 1970]; None where the range doesn't vary.
    spring_high_us, neap_high_us : int or None
        The high water nearest to each that is the higher of its lunar day; None where there is none within a day.
    """

    springs_us: int | None
    neaps_us: int | None
    spring_high_us: int | None
    neap_high_us: int | None


def typical_fortnight(harmonics: Harmonics, cycle: RangeCycle) -> TypicalFortnight:
    """Return the most usual fortnight of the 6798 days from 2001-01-01, whose ``cycle`` is given."""
    springs, neaps = cycle.inside(cycle.springs_us, EPOCH), cycle.inside(cycle.neaps_us, EPOCH)
    if springs.size and neaps.size:
        after = np.searchsorted(neaps, springs)
        springs, after = springs[after < neaps.size], after[after < neaps.size]
    if not (springs.size and neaps.size):
        return TypicalFortnight(None, None, None, None)
    large, small = cycle.daily_range_at(springs), cycle.daily_range_at(neaps)
    unusual = np.abs(large - large.mean()) + np.abs(small[after] - small.mean())
    # Neaps that were passed over, for they did not stand out, would make a month of the fortnight.
    unusual[neaps[after] - springs > 12 * US_PER_DAY] = np.inf
    best = int(np.argmin(unusual))
    at, least = int(springs[best]), int(neaps[after[best]])
    return TypicalFortnight(at, least, _high_near(harmonics, at), _high_near(harmonics, least))


def _high_near(harmonics: Harmonics, instant_us: int) -> int | None:
    """Return the high water nearest to an instant, of those that are not the lower of their lunar day."""
    ends = np.array([instant_us - US_PER_DAY, instant_us + US_PER_DAY])
    start, end = from_microseconds(ends)
    highs = find_extremes(harmonics, start, end).primaries().highs()
    highs = highs.select(highs.rank != "LH")
    if not len(highs):
        return None
    times = highs.times_us()
    return int(times[np.argmin(np.abs(times - instant_us))])
