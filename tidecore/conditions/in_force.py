"""Which official warning is in force at a place, as steps in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.conditions.moments import ticks
from tidecore.conditions.warning import SEVERITIES, OfficialWarning
from tidecore.units import IntArray

#: What `WarningSteps.at` counts: no warning, then the severities of the protocol that can be told apart.
WARNING_LEVELS = ("none", *SEVERITIES)


@dataclass(frozen=True, slots=True, eq=False)
class WarningSteps:
    """Places in `WARNING_LEVELS` from each edge on, -1 where nothing is told; before the first edge nothing is."""

    edges_us: IntArray
    levels: IntArray

    def at(self, times_us: IntArray) -> IntArray:
        """Return the level at instants, -1 where no message says whether a warning is in force."""
        return np.append(self.levels, -1)[np.searchsorted(self.edges_us, times_us, side="right") - 1]


def warning_steps(warnings: Sequence[OfficialWarning], latitude: float, longitude: float) -> WarningSteps:
    """Return the gravest warning in force at a point over time.

    A message counts from when it is effective (else sent) to its end. Until what it warns of begins it says that there
    is nothing yet; where no message counts, nothing is told: that there is no warning on file is not that there is
    none. An update or a cancel ends the messages it refers to when it is sent, a cancel says that there is nothing
    until they would have ended. A message whose areas are drawn counts inside them alone, one without shapes wherever
    it is filed.
    """
    ends, counting = _ended(warnings), []
    for one in warnings:
        if one.msg_type == "cancel":
            here = [other for other in _replaced_by(one, warnings) if other.covers(latitude, longitude) is not False]
            if here:
                last = max(ticks(other.in_force_until) for other in here)
                counting.append((ticks(one.sent), last + 1, last + 1, last + 1, 0))
        elif one.covers(latitude, longitude) is not False:
            begun, last = one.in_force_us
            end = min(last + 1, ends.get(_key(one), last + 1))
            level = SEVERITIES.index(one.severity) + 1 if one.severity in SEVERITIES else -1
            # Between the end of the message and what it warns of, if that comes later, nothing is told.
            heard = end if one.expires is None else min(end, ticks(one.expires) + 1)
            counting.append((ticks(one.told_from), heard, min(begun, end), end, level))
    if not counting:
        nothing = np.empty(0, dtype=np.int64)
        return WarningSteps(nothing, nothing)
    table = np.array(counting, dtype=np.int64)
    edges = np.unique(table[:, :4])
    told = (table[:, 0, None] <= edges) & (edges < table[:, 1, None])
    forced = (table[:, 2, None] <= edges) & (edges < table[:, 3, None])
    known = np.max(np.where(forced, table[:, 4, None], 0), axis=0)
    unsaid = np.any(forced & (table[:, 4, None] < 0), axis=0)
    levels = np.where(known > 0, known, np.where(unsaid | ~(told | forced).any(axis=0), -1, 0))
    return WarningSteps(edges, levels)


def _key(one: OfficialWarning) -> tuple[str, str]:
    return one.sender, one.identifier


def _ended(warnings: Sequence[OfficialWarning]) -> dict[tuple[str, str], int]:
    """Return when messages were replaced or cancelled, by sender and identifier [microseconds since 1970]."""
    ends: dict[tuple[str, str], int] = {}
    for one in warnings:
        for reference in one.references if one.msg_type != "alert" else ():
            key = reference.sender, reference.identifier
            ends[key] = min(ends.get(key, ticks(one.sent)), ticks(one.sent))
    return ends


def _replaced_by(one: OfficialWarning, warnings: Sequence[OfficialWarning]) -> list[OfficialWarning]:
    """Return the messages that another refers to."""
    keys = {(reference.sender, reference.identifier) for reference in one.references}
    return [other for other in warnings if _key(other) in keys]
