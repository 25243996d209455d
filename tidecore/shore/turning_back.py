"""The way back: when the water comes over its lowest sill, and when to turn back for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from tidecore.roots.brackets import TimeFunction, maxima, sample_times
from tidecore.roots.passages import passages
from tidecore.shore.beds import walking_minutes
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.units import FloatArray, IntArray

#: A sill is taken for covered when the upper level is so far below it [m].
SILL_MARGIN_M = 0.3
#: Minutes to pack up, and to spare. Common practice.
PACK_UP_MIN, SPARE_MIN = 15.0, 10.0
#: Turning back is told from so long before it is due [min], to the end of the walk out.
NAMED_MIN = 180.0
#: Longest walk, pack-up and spare time together that a turn-back is told for [min].
LONGEST_LEAD_MIN = 720.0

_STEP_US = 10 * US_PER_MINUTE
_TOLERANCE_US = 0.05 * US_PER_SECOND


class LegOfWay(Protocol):
    """What is asked of a leg: its lowest sill [m above the zero of the ground], and what tells how long it takes."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def lowest_sill_m(self) -> float:
        """Its lowest ground [m above the zero of the ground]."""

    @property
    def bed(self) -> str | None:
        """What it leads over."""

    @property
    def length_m(self) -> float | None:
        """How long it is [m]."""

    @property
    def minutes(self) -> float | None:
        """How long it takes, where somebody has walked it."""


class Allowances(NamedTuple):
    """What is allowed for in turning back.

    The sill counts as covered ``sill_margin_m`` below it, ``spare_min`` are spared, packing up takes ``pack_up_min``,
    and the way ``pace`` times as long as stated.
    """

    sill_margin_m: float = SILL_MARGIN_M
    spare_min: float = SPARE_MIN
    pack_up_min: float = PACK_UP_MIN
    pace: float = 1.0


#: What is allowed for where nobody says more.
USUAL = Allowances()


@dataclass(frozen=True, slots=True)
class WayBack:
    """The lowest sill of a way, and its walk [min], which is None where it is unknown: ``why`` then says so."""

    sill_m: float
    sill_name: str
    walk_min: float | None
    why: str = ""

    @property
    def lead_min(self) -> float | None:
        """Minutes from turning back to the sill: the walk, packing up and what is spared; None where unknown."""
        return self.lead_with(USUAL)

    def lead_with(self, allowances: Allowances) -> float | None:
        """Return the same with other allowances [min]."""
        if self.walk_min is None:
            return None
        return self.walk_min * allowances.pace + allowances.pack_up_min + allowances.spare_min


def way_back(legs: Sequence[LegOfWay], trough_behind_m: float | None = None) -> WayBack | None:
    """Return the way back over legs; None where there is none.

    Parameters
    ----------
    legs : sequence
        From the peg to safety.
    trough_behind_m : float, optional
        Lowest ground between the peg and the land, where it lies lower than the peg: a sill of its own.

    Notes
    -----
    The whole walk counts, wherever on it the lowest sill lies. A leg without minutes takes its length at the pace of
    its bed with kit (common practice).
    """
    if not legs:
        return None
    lowest = min(legs, key=lambda leg: leg.lowest_sill_m)
    sill, name = lowest.lowest_sill_m, lowest.name
    if trough_behind_m is not None and trough_behind_m < sill:
        sill, name = trough_behind_m, "the ground behind the peg"
    total = 0.0
    for leg in legs:
        walked = leg.minutes if leg.minutes is not None else walking_minutes(leg.length_m or np.nan, leg.bed)
        if walked is None or not np.isfinite(walked):
            return WayBack(sill, name, None, f"how long {leg.name} takes is not known")
        total += walked
    way = WayBack(sill, name, total)
    if way.lead_min is not None and way.lead_min > LONGEST_LEAD_MIN:
        return WayBack(sill, name, None, f"the way back takes {total:.0f} min, longer than a turn-back is told for")
    return way


def covered_spans(level: TimeFunction, sill: float, start_us: int, end_us: int) -> IntArray:
    """Return when a level stands at a sill or over it.

    Parameters
    ----------
    level : callable
        Array of microseconds since 1970 -> level [m], smooth over tens of minutes.
    sill : float
        The sill [m above the same zero].
    start_us, end_us : int
        Span to look at, at least some minutes long [microseconds since 1970].

    Returns
    -------
    int64 array, shape ``(n, 2)``
        Spans ``[start, end)`` in ascending order, to 0.05 s, cut at the ends of the span looked at. A tide that tops
        the sill for moments between two samples is found by its peak.
    """
    return spans_over(level, look_along(level, start_us, end_us), sill)


class LookedAlong(NamedTuple):
    """A level at instants [microseconds since 1970] between two of which it goes one way; the ends are among them."""

    times_us: FloatArray
    levels: FloatArray


def look_along(level: TimeFunction, start_us: int, end_us: int) -> LookedAlong:
    """Return a level along a span, with its peaks and dips; made once for all sills that it is held against."""
    even = sample_times(start_us, end_us, _STEP_US)
    tops = maxima(level, start_us, end_us, _STEP_US).times_us
    dips = maxima(lambda at: -level(at), start_us, end_us, _STEP_US).times_us
    times = np.unique(np.concatenate((even, tops, dips)))
    return LookedAlong(times, level(times))


def spans_over(level: TimeFunction, along: LookedAlong, sill: float) -> IntArray:
    """Return when a level that was looked along stands at a sill or over it, as `covered_spans` does."""
    times, over = along.times_us, along.levels - sill
    covered = over >= 0.0
    start_us, end_us = round(times[0]), round(times[-1])
    k = np.flatnonzero(covered[1:] != covered[:-1])
    ends = over[k], over[k + 1]
    borders = passages(lambda at: level(at) - sill, times[k], times[k + 1], ends, _TOLERANCE_US)
    whole = np.rint(borders).astype(np.int64)
    if covered[0]:
        whole = np.concatenate(([start_us], whole))
    if covered[-1]:
        whole = np.concatenate((whole, [end_us]))
    return whole.reshape(-1, 2)


@dataclass(frozen=True, slots=True)
class TurnBack:
    """When to turn back: ``time_us``, for the sill is covered at ``covered_us``; both None where it stays dry
    until ``looked_us``, as far as was looked.

    Where ``already`` the sill is under water as far back as was looked: both are no later than told, but not known.
    """

    way: WayBack
    time_us: int | None
    covered_us: int | None
    already: bool = False
    looked_us: int | None = None


def turn_back(upper: TimeFunction, way: WayBack, start_us: int, end_us: int) -> TurnBack:
    """Return when to turn back in an outing.

    Parameters
    ----------
    upper : callable
        Array of microseconds since 1970 -> upper level of the water [m above the zero of the ground]: tide, surge and
        the upper bound of their interval, as far as an hour past the end.
    way : WayBack
        With a walk that is known.
    start_us, end_us : int
        The outing [microseconds since 1970].

    Returns
    -------
    TurnBack
        The first instant from ``start_us`` on at which the upper level is within 0.3 m of the lowest sill, less walk,
        pack-up and ten minutes; before the start if it is too late by then. None where the sill stays dry until the
        end and as long after it as the way back takes.
    """
    lead_min = way.lead_min
    if lead_min is None:
        return TurnBack(way, None, None)
    lead = round(lead_min * US_PER_MINUTE)
    spans = covered_spans(upper, way.sill_m - SILL_MARGIN_M, start_us, end_us + lead)
    if not len(spans):
        return TurnBack(way, None, None)
    first = int(spans[0, 0])
    return TurnBack(way, first - lead, first, first <= start_us)


def minutes_to_turn_back(times_us: IntArray, covered: IntArray, lead_min: float, most_min: float) -> FloatArray:
    """Return the minutes left until turning back.

    Parameters
    ----------
    times_us : int64 array, shape ``(n,)``
        Instants [microseconds since 1970].
    covered : int64 array, shape ``(m, 2)``
        When the sill is covered, ascending, see `covered_spans`.
    lead_min : float
        Minutes from turning back to the sill.
    most_min : float
        Longest time that is told, either way.

    Returns
    -------
    float64 array, shape ``(n,)``
        Negative once it is too late and until the sill is dry again; held between ``-most_min`` and ``most_min``.
    """
    if not len(covered):
        return np.full(times_us.shape, most_min)
    k = np.searchsorted(covered[:, 1], times_us, side="right")
    ahead = covered[np.minimum(k, len(covered) - 1), 0] - times_us
    minutes = np.where(k < len(covered), ahead / US_PER_MINUTE - lead_min, most_min)
    return np.clip(minutes, -most_min, most_min)
