"""From patterns of the wall clock to UTC."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tidecore.calendars.changes import changes_between, offset_us
from tidecore.calendars.patterns import WeeklyHours
from tidecore.calendars.sets import NOTHING, clipped, merged
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE, TimeSpan
from tidecore.units import IntArray


def spans(patterns: WeeklyHours | Sequence[WeeklyHours], zone: zoneinfo.ZoneInfo, span: TimeSpan) -> IntArray:
    """Return the instants of ``span`` at which the clocks of ``zone`` show what one of the ``patterns`` says.

    Parameters
    ----------
    patterns : WeeklyHours or sequence of them
        What the clocks show; a time that several hold at counts once. None of them is never.
    zone : ZoneInfo
        Whose clocks.
    span : TimeSpan
        Half-open span of UTC.

    Returns
    -------
    int64 array, shape ``(n, 2)``
        Half-open spans ``[start, end)`` [microseconds since 1970], ascending and apart.

    Notes
    -----
    A time that the clocks skip when they go forward is in no span; one that they show twice when they go back is in
    the answer twice. `clock_changes` lists where that happens.
    """
    some = (patterns,) if isinstance(patterns, WeeklyHours) else tuple(patterns)
    changes = changes_between(zone, span.start_us + 1, span.end_us)
    edges = [span.start_us, *(change.time_us for change in changes), span.end_us]
    offsets = [offset_us(zone, edge) for edge in edges[:-1]]
    if not some:
        return NOTHING.copy()
    wall = merged(np.concatenate([wall_spans(one, edges[0] + min(offsets), edges[-1] + max(offsets)) for one in some]))
    # Between two changes the clocks run evenly, so that what they show and UTC lie a fixed offset apart.
    return merged(
        np.concatenate(
            [
                clipped(wall, start + offset, end + offset) - offset
                for (start, end), offset in zip(pairwise(edges), offsets, strict=True)
            ]
        )
    )


def wall_spans(pattern: WeeklyHours, start_us: int, end_us: int) -> IntArray:
    """Return when clocks show what a ``pattern`` says, from ``start_us`` to ``end_us`` of their own running.

    Parameters
    ----------
    pattern : WeeklyHours
        What the clocks show.
    start_us, end_us : int
        Half-open span of the wall clock [microseconds since its 1 January 1970].

    Returns
    -------
    int64 array, shape ``(n, 2)``
        Half-open spans of the wall clock, ascending and apart.
    """
    # The day before may reach in, past midnight.
    first, last = start_us // US_PER_DAY - 1, -(-end_us // US_PER_DAY)
    days = np.arange(first, last, dtype=np.int64)
    midnights = days[pattern.holds_on(days.view("datetime64[D]"))] * US_PER_DAY
    start_min, end_min = (0, 1440) if pattern.hours is None else pattern.hours.minutes
    end_min += 1440 if end_min <= start_min else 0
    found = np.column_stack((midnights + start_min * US_PER_MINUTE, midnights + end_min * US_PER_MINUTE))
    return clipped(merged(found), start_us, end_us)
