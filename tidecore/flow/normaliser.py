"""What the flow of a station is measured against."""

from __future__ import annotations

import numpy as np

from tidecore.datums.range_cycle import EPOCH, RangeCycle, epoch_cycle
from tidecore.extremes import find_extremes, peak_rates
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE

#: Half tides whose middle lies so near to springs [us] are spring tides: a day of 24 h 50 min.
_NEAR_SPRINGS_US = 12 * US_PER_HOUR + 25 * US_PER_MINUTE


def flow_normaliser(harmonics: Harmonics, cycle: RangeCycle | None = None) -> float:
    """Return the mean peak rate of a half tide at springs (tropic tides) [m/h], flood and ebb pooled.

    Parameters
    ----------
    harmonics : Harmonics
        The tide.
    cycle : RangeCycle, optional
        The one of `tidecore.datums.epoch_cycle`, if it is there already.

    Returns
    -------
    float
        [m/h], over the 6798 days from 2001-01-01; 0 where there is no tide. Where the range doesn't vary, every half
        tide counts.

    Notes
    -----
    A half tide runs from one primary high or low water to the next; it is one of springs if its middle lies in the
    24 h 50 min around a maximum of the daily range. As flood and ebb are pooled, an ebb stronger than the flood shows
    as an index over 1.
    """
    cycle = epoch_cycle(harmonics) if cycle is None else cycle
    pad = np.timedelta64(2, "D")
    tides = find_extremes(harmonics, EPOCH.start - pad, EPOCH.end + pad).primaries().times_us().astype(np.float64)
    if tides.size < 2:
        return 0.0
    rates = harmonics.pieces(EPOCH.start_us - 2 * US_PER_DAY, EPOCH.end_us + 2 * US_PER_DAY).derivative()
    peaks = peak_rates(rates, tides)
    middles = 0.5 * (tides[1:] + tides[:-1])
    springs = cycle.inside(cycle.springs_us, EPOCH)
    if springs.size:
        borders = 0.5 * (springs[1:] + springs[:-1])
        nearest = springs[np.searchsorted(borders, middles)]
        peaks = peaks[np.abs(middles - nearest) <= _NEAR_SPRINGS_US]
    return float(peaks.mean()) if peaks.size else 0.0
