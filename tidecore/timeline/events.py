"""Key times of a span at a mark: high and low water, slack, risings and settings, phases of the moon."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from tidecore.sky import EVENT_KINDS, PHASE_NAMES, MoonPhases, SkyPositions, moon_phases, sky_events_many
from tidecore.timebase import TimeSpan, from_microseconds
from tidecore.timeline.sources import Sources

PHASE_KINDS = tuple(name if name.endswith("quarter") else f"{name}_moon" for name in PHASE_NAMES)
#: Every kind of key time.
KEY_KINDS = ("high_water", "low_water", "slack_after_hw", "slack_after_lw", *EVENT_KINDS, *PHASE_KINDS)
_RANK = {kind: place for place, kind in enumerate(KEY_KINDS)}


class KeyTime(NamedTuple):
    """Something that happens at an instant: ``time`` [UTC], ``kind``, and the ``height`` [m] of a high or low water.

    ``grazing`` is true of a rising or setting so slow that its instant hangs on the air of the day.
    ``held`` is true of a high or low water at a mark with offsets whose height lies so far outside the table of their
    differences that the outermost one is kept.
    """

    time: np.datetime64
    kind: str
    height: float | None = None
    grazing: bool = False
    held: bool = False


def key_times(sources: Sources, span: TimeSpan) -> tuple[KeyTime, ...]:
    """Return the key times in ``span``, in time order.

    Notes
    -----
    Primary high and low waters, named also where their range is under 5 cm; slack only where the mark's slack lags
    are known.
    """
    found = [*_tide(sources, span), *_slacks(sources, span), *_sky(sources, span)]
    ticks = np.array([event.time for event in found], dtype="datetime64[us]").view(np.int64)
    order = np.lexsort((np.array([_RANK[event.kind] for event in found], dtype=np.int64), ticks))
    return tuple([found[k] for k in order.tolist()])


def share_sky_events(each: Sequence[Sources]) -> None:
    """Work out the risings, settings and twilights of several marks in one go, where they share positions of the sky.

    Each then has what it would have worked out alone.
    """
    together: dict[tuple[int, np.datetime64, np.datetime64], list[Sources]] = {}
    for one in each:
        if not one.has_sky_events:
            together.setdefault((id(one.sky), *one.padded), []).append(one)
    for (_, start, end), some in together.items():
        places = [(one.mark.latitude, one.mark.longitude) for one in some]
        for one, events in zip(some, sky_events_many(some[0].sky, places, start, end), strict=True):
            one.keep_sky_events(events)


# Marks that share positions of the moon share its phases.
@lru_cache(maxsize=16)
def _phases(sky: SkyPositions, start_us: int, end_us: int) -> MoonPhases:
    start, end = from_microseconds(np.array([start_us, end_us]))
    return moon_phases(sky, start, end)


def _tide(sources: Sources, span: TimeSpan) -> list[KeyTime]:
    turns = sources.turns
    first, last = np.searchsorted(turns.times_us, (span.start_us, span.end_us))
    here = slice(int(first), int(last))
    high, heights = turns.high[here].tolist(), turns.heights[here].tolist()
    each = zip(
        from_microseconds(turns.times_us[here]), high, heights, sources.tables.held_turns[here].tolist(), strict=True
    )
    return [KeyTime(time, "high_water" if up else "low_water", height, held=held) for time, up, height, held in each]


def _slacks(sources: Sources, span: TimeSpan) -> list[KeyTime]:
    if sources.lags is None:
        return []
    slacks_us, high = sources.slacks_us, sources.turns.high
    first, last = np.searchsorted(slacks_us, (span.start_us, span.end_us))
    times = from_microseconds(slacks_us)
    return [KeyTime(times[k], "slack_after_hw" if high[k] else "slack_after_lw") for k in range(first, last)]


def _sky(sources: Sources, span: TimeSpan) -> list[KeyTime]:
    events = sources.sky_events
    first, last = np.searchsorted(events.time, (span.start, span.end))
    here = slice(int(first), int(last))
    each = zip(events.time[here], events.kind[here].tolist(), events.grazing[here].tolist(), strict=True)
    found = [KeyTime(time, kind, grazing=grazing) for time, kind, grazing in each]
    phases = _phases(sources.sky, span.start_us, span.end_us)
    names = dict(zip(PHASE_NAMES, PHASE_KINDS, strict=True))
    return found + [KeyTime(time, names[str(name)]) for time, name in zip(phases.time, phases.name, strict=True)]
