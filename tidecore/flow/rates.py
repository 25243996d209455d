"""Peak speeds of the stream from those at springs and neaps, by the range of the day."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tidecore.datums.range_cycle import EPOCH, epoch_cycle
from tidecore.harmonics import Harmonics
from tidecore.place import StreamRates
from tidecore.units import FloatArray

#: Where neaps have more than this part of the range of springs, the range says nothing of the rate.
_LEVEL = 0.98
_STATIONS_KEPT = 64


# Harmonics are equal to themselves alone, and so they are keys.
@lru_cache(maxsize=_STATIONS_KEPT)
def neap_ratio(harmonics: Harmonics) -> float:
    """Return the mean daily range at neaps over that at springs, over the 6798 days from 2001-01-01.

    Equatorial over tropic tides where that is the cycle; 1 where the range doesn't vary. Kept for the stations asked
    for last.
    """
    cycle = epoch_cycle(harmonics)
    springs, neaps = cycle.inside(cycle.springs_us, EPOCH), cycle.inside(cycle.neaps_us, EPOCH)
    if not (springs.size and neaps.size):
        return 1.0
    return float(cycle.daily_range_at(neaps).mean() / cycle.daily_range_at(springs).mean())


def day_rates(rates: StreamRates, range_ratio: FloatArray, at_neaps: float) -> tuple[FloatArray, FloatArray]:
    """Return the peak speeds of flood and ebb of a day.

    Parameters
    ----------
    rates : StreamRates
        Peak speeds at mean springs and mean neaps [m/s].
    range_ratio : float64 array, shape ``(n,)``
        Daily range of the day over the mean spring range.
    at_neaps : float
        That of mean neaps, see `neap_ratio`.

    Returns
    -------
    flood, ebb : float64 arrays, shape ``(n,)``
        [m/s], both positive. The spring rates where the range hardly varies.

    Notes
    -----
    Linear in the range, through springs and neaps and on beyond both, not below 0, as tide tables scale the rates
    that charts give; or linear in its square root, for a strait whose speed goes by the root of the head.

    Examples
    --------
    >>> rates = StreamRates(spring_flood_m_per_s=1.5, spring_ebb_m_per_s=1.2, neap_flood_m_per_s=0.7,
    ...                     neap_ebb_m_per_s=0.6)
    >>> flood, ebb = day_rates(rates, np.array([1.0, 0.5, 0.75]), 0.5)
    >>> flood.round(3).tolist(), ebb.round(3).tolist()
    ([1.5, 0.7, 1.1], [1.2, 0.6, 0.9])
    """
    if at_neaps > _LEVEL:
        return np.full(range_ratio.shape, rates.spring_flood_m_per_s), np.full(
            range_ratio.shape, rates.spring_ebb_m_per_s
        )
    if rates.scaled_by == "root_of_range":
        part = (np.sqrt(range_ratio) - np.sqrt(at_neaps)) / (1.0 - np.sqrt(at_neaps))
    else:
        part = (range_ratio - at_neaps) / (1.0 - at_neaps)
    flood = rates.neap_flood_m_per_s + part * (rates.spring_flood_m_per_s - rates.neap_flood_m_per_s)
    ebb = rates.neap_ebb_m_per_s + part * (rates.spring_ebb_m_per_s - rates.neap_ebb_m_per_s)
    return np.maximum(flood, 0.0), np.maximum(ebb, 0.0)
