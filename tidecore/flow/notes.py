"""Slack lags from notes of when the stream was seen to turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.errors import Fault, InvalidInput, SlackUndetermined
from tidecore.extremes import Extremes
from tidecore.flow.lags import LONGEST_LAG_MIN, SlackLags
from tidecore.timebase import US_PER_MINUTE, microseconds
from tidecore.units import FloatArray, IntArray, UtcTimes

TurnedTo = Literal["ebb", "flood"]
#: What the stream turned to -> the water after which it does.
WATERS = {"ebb": "high", "flood": "low"}

#: Half width of the interval that is never gone below with notes of this many tides: it shrinks with the root of them.
BEST_HALF_WIDTH_MIN, BEST_OF_TIDES = 20.0, 3
#: A bell curve's deviation over its median absolute deviation; the scatter of a median over that of a mean; the part
#: of deviations that 90% of a bell curve lies within.
_OF_MAD, _OF_MEDIAN, _OF_90 = 1.4826, 1.2533, 1.6449


@dataclass(frozen=True, slots=True)
class LagEstimate:
    """One slack lag and its nominal 90% interval, all in minutes, from ``notes`` notes of ``tides`` tides."""

    lag_min: float
    low_min: float
    high_min: float
    notes: int
    tides: int


@dataclass(frozen=True, slots=True)
class NotedLags:
    """Slack lags as notes tell them; ``unused`` are the places of notes that lie near no water of their kind.

    ``one_tide`` is true where the notes of a side are all of one tide: they count as one, and the interval says so.
    """

    after_hw: LagEstimate
    after_lw: LagEstimate
    unused: tuple[int, ...]
    one_tide: bool

    @property
    def lags(self) -> SlackLags:
        """The lags alone."""
        return SlackLags(self.after_hw.lag_min, self.after_lw.lag_min)


def lags_from_notes(times: UtcTimes, turned_to: Sequence[TurnedTo], tides: Extremes) -> NotedLags:
    """Return the slack lags that notes tell.

    Parameters
    ----------
    times : datetime64 array, shape ``(n,)``
        When the stream was seen to turn [UTC], in any order.
    turned_to : sequence of "ebb" or "flood", length n
        What it turned to: the ebb after high water, the flood after low water.
    tides : Extremes
        High and low waters of the mark, from 4 h before the first note to 4 h after the last.

    Returns
    -------
    NotedLags
        Each lag is the median over tides of the median note of a tide.

    Raises
    ------
    SlackUndetermined
        If the usable notes are all of one side: the lag of the other can't be guessed from it.
    InvalidInput
        If the columns differ in length, or a note turned to neither.

    Notes
    -----
    A note belongs to the nearest primary water of its kind, at most 240 min away. The half width of the interval is
    1.6449 x 1.2533 x 1.4826 x the median absolute deviation over the root of the number of tides, which a single bad
    note hardly moves, and never less than 20 min x sqrt(3 / tides): with few notes the deviation itself is not known.
    Three notes of three tides are never claimed better than 20 min either way, three of one tide than 35.
    """
    ticks = microseconds(times).reshape(-1)
    if ticks.size != len(turned_to):
        raise InvalidInput(Fault("turned_to", f"has {len(turned_to)} values", f"one for each of {ticks.size} notes"))
    for place, word in enumerate(turned_to):
        if word not in WATERS:
            raise InvalidInput(Fault(f"turned_to.{place}", f"is {word!r}", "'ebb' or 'flood'"))
    words = np.array(turned_to, dtype="<U5")
    primary, used = tides.primaries(), np.zeros(ticks.size, dtype=np.bool_)
    found: dict[str, tuple[FloatArray, IntArray]] = {}
    for side, kind in WATERS.items():
        rows = np.flatnonzero(words == side)
        waters = primary.select(primary.kind == kind)
        minutes, tide = _since_nearest(ticks[rows], waters)
        near = np.abs(minutes) <= LONGEST_LAG_MIN
        used[rows[near]] = True
        found[side] = (minutes[near], tide[near])
    for side, other in (("ebb", "flood"), ("flood", "ebb")):
        if not found[side][0].size:
            raise SlackUndetermined(_one_sided(side, other, found[other][0].size, int((~used).sum())))
    ebb, flood = _estimate(*found["ebb"]), _estimate(*found["flood"])
    alone = any(one.notes > 1 and one.tides == 1 for one in (ebb, flood))
    return NotedLags(ebb, flood, tuple(np.flatnonzero(~used).tolist()), alone)


def _since_nearest(times_us: IntArray, waters: Extremes) -> tuple[FloatArray, IntArray]:
    """Return minutes since the nearest water, infinite where there is none, and its tide."""
    if not len(waters):
        return np.full(times_us.size, np.inf), np.zeros(times_us.size, dtype=np.int64)
    at = waters.times_us()
    nearest = np.searchsorted((at[1:] + at[:-1]) // 2, times_us)
    minutes: FloatArray = (times_us - at[nearest]) / US_PER_MINUTE
    return minutes, waters.tide_id[nearest]


def _estimate(minutes: FloatArray, tide: IntArray) -> LagEstimate:
    of_tides = np.array([np.median(minutes[tide == one]) for one in np.unique(tide)])
    lag = float(np.median(of_tides))
    spread = _OF_MAD * float(np.median(np.abs(of_tides - lag)))
    least = BEST_HALF_WIDTH_MIN * np.sqrt(BEST_OF_TIDES / of_tides.size)
    half = float(max(least, _OF_90 * _OF_MEDIAN * spread / np.sqrt(of_tides.size)))
    return LagEstimate(lag, lag - half, lag + half, int(minutes.size), int(of_tides.size))


def _one_sided(missing: str, other: str, notes: int, unused: int) -> str:
    """Return what is wrong with notes of which none says when the stream turns to ``missing``."""
    water = "high" if missing == "ebb" else "low"
    told = f"none of the notes says when the stream turns to the {missing}, after {water} water"
    if notes:
        told += f" ({notes} say when it turns to the {other}, and one lag is no guide to the other)"
    if unused:
        told += f"; {unused} lie over {LONGEST_LAG_MIN:g} min from any water of their kind"
    return told
