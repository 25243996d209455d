"""Effort: how long baits were in the water and rods in use, and how much of it fell into which bin."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from tidecore.calendars import merged
from tidecore.catchlog.moments import ticks, us_of
from tidecore.catchlog.trip import Deployment, Outcome
from tidecore.timebase import US_PER_HOUR
from tidecore.units import IntArray


@dataclass(frozen=True, slots=True)
class Effort:
    """Effort in microseconds of rods, exact.

    ``bait_on_us`` is the time that baits were in the water, ``raw_us`` that rods were in use. Rods without casts on
    record add to ``raw_us`` alone, and by as much to ``uncast_us``: it is not known when their bait was in.
    """

    bait_on_us: int = 0
    raw_us: int = 0
    uncast_us: int = 0

    def __add__(self, other: Effort) -> Effort:
        """Return both together."""
        return Effort(self.bait_on_us + other.bait_on_us, self.raw_us + other.raw_us, self.uncast_us + other.uncast_us)

    @property
    def bait_on_h(self) -> float:
        """Hours of bait in the water."""
        return self.bait_on_us / US_PER_HOUR

    @property
    def raw_rod_h(self) -> float:
        """Hours of rods in use."""
        return self.raw_us / US_PER_HOUR

    @property
    def bait_on_known(self) -> bool:
        """Whether the casts of every deployment are on record."""
        return self.uncast_us == 0


def bait_on(deployment: Deployment) -> IntArray:
    """Return when the bait was in the water: spans, shape ``(n, 2)`` [microseconds since 1970], ascending and apart.

    Without casts on record there are none: it is not known.
    """
    return merged(_rows((ticks(cast.out), ticks(cast.in_)) for cast in deployment.casts))


def in_use(deployment: Deployment) -> IntArray:
    """Return when the rod was in use: one span, shape ``(1, 2)`` [microseconds since 1970]."""
    return _rows([(ticks(deployment.start), ticks(deployment.end))])


def effort_of(deployments: Iterable[Deployment]) -> Effort:
    """Return the effort of deployments, each rod counted for itself."""
    bait_on = raw = uncast = timedelta()
    for one in deployments:
        used = one.end - one.start
        raw += used
        if not one.casts:
            uncast += used
        for cast in one.casts:
            # They lie one after the other.
            bait_on += cast.in_ - cast.out
    return Effort(us_of(bait_on), us_of(raw), us_of(uncast))


def effort_is_on_record(outcome: Outcome, rods: int) -> bool:
    """Return whether the effort of a trip with so many rods on record is known.

    That of a trip that was not fished is: there was none. Who fished without a rod on record fished for nobody knows
    how long.
    """
    return outcome == "not_fished" or rods > 0


def effort_of_times(start_us: int, end_us: int, casts_us: Iterable[tuple[int, int]]) -> Effort:
    """Return the effort of one deployment from its times and those of its casts, out and in, in any order.

    All are microseconds since 1970; casts that overlap count once.
    """
    # Plain numbers: for the casts of one rod arrays would cost ten times as much.
    casts = sorted(casts_us)
    covered, reach = 0, casts[0][0] if casts else 0
    for out, in_ in casts:
        covered += max(0, in_ - max(out, reach))
        reach = max(reach, in_)
    raw = end_us - start_us
    return Effort(covered, raw, 0 if casts else raw)


def overlap_us(spans: IntArray, bin_: IntArray) -> int:
    """Return how much of ``spans`` lies in a bin, exactly.

    Parameters
    ----------
    spans : int64 array, shape ``(m, 2)``
        Spans in any order; those that overlap count each.
    bin_ : int64 array, shape ``(n, 2)``
        Spans of the bin, in any order; those that overlap count once.

    Returns
    -------
    int
        In the unit of both.
    """
    held = merged(bin_)
    if not len(held) or not len(spans):
        return 0
    lengths = held[:, 1] - held[:, 0]
    before = np.concatenate(([0], np.cumsum(lengths)))
    place = np.searchsorted(held[:, 0], spans, side="right")
    # Time of the bin that has passed at each edge: whole spans before, and the part of the one that it may stand in.
    last = np.maximum(place - 1, 0)
    part = np.where(place > 0, np.minimum(spans - held[last, 0], lengths[last]), 0)
    passed = before[last] + part
    kept = spans[:, 1] > spans[:, 0]
    return int((passed[:, 1] - passed[:, 0])[kept].sum())


def effort_by_bin(deployments: Iterable[Deployment], bins: Mapping[str, IntArray]) -> dict[str, Effort]:
    """Return the effort in each bin, exactly.

    Parameters
    ----------
    deployments : iterable of Deployment
        Of any rods.
    bins : mapping of str to int64 array, shape ``(n, 2)``
        Spans of time [microseconds since 1970] by the name of their bin: plain ones, or those at which a factor has a
        value (`factor_bins`). Bins may overlap or leave gaps.
    """
    found = tuple(deployments)
    on = _stacked(map(bait_on, found))
    raw, uncast = _stacked(map(in_use, found)), _stacked(in_use(one) for one in found if not one.casts)
    return {
        name: Effort(overlap_us(on, spans), overlap_us(raw, spans), overlap_us(uncast, spans))
        for name, spans in bins.items()
    }


def _stacked(sets: Iterable[IntArray]) -> IntArray:
    return np.concatenate([np.empty((0, 2), dtype=np.int64), *sets])


def _rows(pairs: Iterable[tuple[int, int]]) -> IntArray:
    return np.array(list(pairs), dtype=np.int64).reshape(-1, 2)
