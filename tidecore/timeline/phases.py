"""Named phases of the tide, as anglers call them: by the stream where the slack lags are known, else by the level.

The names and their hours are common practice. Where the hours of two names overlap, the top and the bottom of the
tide go before the others, and of these two the nearer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tidecore.timebase import US_PER_HOUR
from tidecore.timeline.factor import pick
from tidecore.units import AnyArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

PHASES = (
    "first_of_the_flood",
    "mid_flood",
    "top_of_the_tide",
    "first_of_the_ebb",
    "mid_ebb",
    "last_of_the_ebb",
    "bottom_of_the_tide",
)
BASES = ("stream", "level")

_FIRST_FLOOD, _MID_FLOOD, _TOP, _FIRST_EBB, _MID_EBB, _LAST_EBB, _BOTTOM = range(7)
#: The first of flood and ebb, and the last of the ebb, last so long from or to slack [microseconds].
_FIRST_US = 2 * US_PER_HOUR
#: The top and bottom of the tide reach so far on both sides of high and low water [h].
_STAND_H = 1.0


def named_phase(frame: Frame) -> AnyArray:
    """Return the name of the phase at each instant.

    Notes
    -----
    First of the flood (ebb): slack at low (high) water to 2 h after. Top (bottom) of the tide: high (low) water
    within 1 h, and on until the stream turns where it turns later than that. Last of the ebb: the last 2 h before
    slack at low water. What remains is mid flood and mid ebb. Without slack lags the slacks are high and low water
    themselves.
    """
    turns, slacks_us = frame.sources.turns, frame.sources.slacks_us
    known = frame.half_tide.known
    if len(turns) < 2:
        return pick(PHASES, np.full(len(frame), -1))
    k = np.searchsorted(slacks_us, frame.times_us, side="right") - 1
    known = known & (k >= 0) & (k < len(turns) - 1)
    k = np.clip(k, 0, len(turns) - 2)
    flood = turns.high[k + 1]
    since, until = frame.times_us - slacks_us[k], slacks_us[k + 1] - frame.times_us
    ebb_codes = np.where(since < _FIRST_US, _FIRST_EBB, np.where(until <= _FIRST_US, _LAST_EBB, _MID_EBB))
    codes = np.where(flood, np.where(since < _FIRST_US, _FIRST_FLOOD, _MID_FLOOD), ebb_codes)
    # The level has turned, the stream has not.
    codes = np.where(frame.times_us >= turns.times_us[k + 1], np.where(flood, _TOP, _BOTTOM), codes)
    from_hw, from_lw = frame.hours_from_hw, frame.hours_from_lw
    top = (from_hw >= -_STAND_H) & (from_hw < _STAND_H)
    bottom = (from_lw >= -_STAND_H) & (from_lw < _STAND_H)
    nearer_top = top & ~(bottom & (np.abs(from_lw) < np.abs(from_hw)))
    codes = np.where(nearer_top, _TOP, np.where(bottom, _BOTTOM, codes))
    return pick(PHASES, np.where(known, codes, -1))


def named_phase_basis(frame: Frame) -> AnyArray:
    """Return by what the phase is named: the stream, where the mark's slack lags are known, else the level."""
    basis = 0 if frame.sources.mark.flow_reliable else 1
    return pick(BASES, np.where(named_phase(frame) == "", -1, basis))


def phase_breaks(sources: Sources) -> IntArray:
    """Return every instant at which the named phase may change."""
    turns, slacks, hour = sources.turns.times_us, sources.slacks_us, US_PER_HOUR
    return np.concatenate((turns, turns - hour, turns + hour, slacks, slacks - 2 * hour, slacks + 2 * hour))
