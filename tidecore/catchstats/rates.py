"""Catch per rod-hour: pooled over trips, with exact limits, and what the evidence is worth."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.catchstats.poisson import dispersion_of_trips, rate_limits
from tidecore.errors import Fault, InvalidInput
from tidecore.units import FloatArray

#: Evidence of fewer events, or of fewer trips, is thin; a choice of ours.
THIN_EVENTS, THIN_TRIPS = 10, 5
#: Over-dispersion from which on it is said in words: less is 1.0 when told to a tenth.
_TOLD_DISPERSION = 1.05

Evidence = Literal["none", "thin", "fair"]


@dataclass(frozen=True, slots=True)
class TripCount:
    """What one trip adds: how many were counted in how much effort [h]; neither where it was not fished.

    ``count`` and ``effort_h`` may be those of a part of the trip, as of one bin of a factor. A trip whose effort is not
    known has NaN: what it counted is told, and left out of the rate.
    """

    trip: Hashable
    count: int
    effort_h: float
    fished: bool = True


@dataclass(frozen=True, slots=True)
class CatchRate:
    """A pooled rate.

    ``per_hour`` with exact Poisson limits ``lower`` and ``upper``, as if every fish came for itself;
    ``wide_lower`` and ``wide_upper`` are scaled by ``dispersion``, and NaN where that is not known. ``trips`` were
    fished with effort known, ``blanks`` of them with nothing counted; ``not_fished`` and ``effort_unknown`` stand
    apart, with ``uncounted`` events of the latter. ``words`` say what the evidence is worth.
    """

    count: int
    effort_h: float
    per_hour: float
    lower: float
    upper: float
    dispersion: float
    wide_lower: float
    wide_upper: float
    level: float
    trips: int
    blanks: int
    not_fished: int
    effort_unknown: int
    uncounted: int
    evidence: Evidence
    words: str


def catch_rate(trips: Sequence[TripCount], level: float = 0.95, dispersion: float | None = None) -> CatchRate:
    """Return the rate of several trips together.

    Parameters
    ----------
    trips : sequence of TripCount
        One entry a trip.
    level : float
        Confidence of the limits.
    dispersion : float, optional
        The over-dispersion to use where these trips are too few to tell theirs: that of more of them.

    Raises
    ------
    InvalidInput
        With every trip that is there twice, has a count or effort below 0, or either without having been fished.
    """
    _refuse(trips)
    fished = [trip for trip in trips if trip.fished]
    counts, efforts = (np.array(column, dtype=np.float64) for column in _columns(fished))
    return rate_of_counts(counts, efforts, level, dispersion, not_fished=len(trips) - len(fished))


def rate_of_counts(
    counts: FloatArray,
    efforts_h: FloatArray,
    level: float = 0.95,
    dispersion: float | None = None,
    *,
    not_fished: int = 0,
) -> CatchRate:
    """Return the rate of many trips that were fished, as `catch_rate` does, from columns of the same length.

    Parameters
    ----------
    counts : float64 array, shape ``(n,)``
        What each trip counted.
    efforts_h : float64 array, shape ``(n,)``
        In how much effort [h]; NaN where that is not known.
    level, dispersion
        As of `catch_rate`.
    not_fished : int
        Trips beside these that were not fished.
    """
    told = efforts_h > 0.0
    known, efforts = counts[told], efforts_h[told]
    count, effort_h, trips = int(known.sum()), float(efforts.sum()), int(told.sum())
    own = dispersion_of_trips(known, efforts)
    used = own if not math.isnan(own) or dispersion is None else dispersion
    lower, upper = rate_limits(count, effort_h, level)
    wide = (math.nan, math.nan) if math.isnan(used) else rate_limits(count, effort_h, level, used)
    evidence, words = _worth(count, effort_h, trips, used)
    return CatchRate(
        count=count,
        effort_h=effort_h,
        per_hour=count / effort_h if effort_h else math.nan,
        lower=lower,
        upper=upper,
        dispersion=used,
        wide_lower=wide[0],
        wide_upper=wide[1],
        level=level,
        trips=trips,
        blanks=int((known == 0).sum()),
        not_fished=not_fished,
        effort_unknown=counts.size - trips,
        uncounted=int(counts[~told].sum()),
        evidence=evidence,
        words=words,
    )


def rates_by_bin(bins: Mapping[str, Sequence[TripCount]], level: float = 0.95) -> dict[str, CatchRate]:
    """Return the rate in each bin of one factor; raises as `catch_rate`.

    A bin of too few trips to tell its over-dispersion is given the largest that another bin has.
    """
    known = []
    for trips in bins.values():
        own = catch_rate(trips, level).dispersion
        if not math.isnan(own):
            known.append(own)
    return {name: catch_rate(trips, level, max(known, default=None)) for name, trips in bins.items()}


def _columns(trips: Sequence[TripCount]) -> tuple[list[int], list[float]]:
    return [trip.count for trip in trips], [trip.effort_h for trip in trips]


def _worth(count: int, effort_h: float, trips: int, dispersion: float) -> tuple[Evidence, str]:
    """Return what the evidence is worth, and say so."""
    if not effort_h:
        return "none", "no effort on record: the rate is unknown"
    said = f"{count} in {effort_h:.1f} rod-hours of {trips} {'trip' if trips == 1 else 'trips'}"
    if math.isnan(dispersion):
        said += "; how much trips differ is not known, so the limits are as if every fish came for itself"
    elif dispersion >= _TOLD_DISPERSION:
        said += f"; trips differ more than chance alone makes them ({dispersion:.1f} times)"
    if count < THIN_EVENTS or trips < THIN_TRIPS:
        return "thin", f"thin evidence: {said}"
    return "fair", said


def _refuse(trips: Sequence[TripCount]) -> None:
    faults, seen = [], set()
    for place, trip in enumerate(trips):
        if trip.trip in seen:
            faults.append(Fault(f"{place}.trip", f"is {trip.trip!r} again", "every trip once"))
        seen.add(trip.trip)
        if trip.count < 0:
            faults.append(Fault(f"{place}.count", f"is {trip.count}", "0 or more"))
        if trip.effort_h < 0.0 or math.isinf(trip.effort_h):
            faults.append(Fault(f"{place}.effort_h", f"is {trip.effort_h}", "0 or more hours, NaN where not known"))
        if not trip.fished and (trip.count or trip.effort_h):
            faults.append(Fault(f"{place}.fished", "is false of a trip with a count or effort", "true, or 0 of both"))
    if faults:
        raise InvalidInput(faults)
