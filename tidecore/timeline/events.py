"""Key times of a span at a mark: high and low water, slack, risings and settings, phases of the moon."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from tidecore.sky import EVENT_KINDS, PHASE_NAMES, MoonPhases, SkyPositions, moon_phases, sky_events_many
from tidecore.timebase import TimeSpan, from_microseconds
from tidecore.timeline.sources import Sources
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

PHASE_KINDS = tuple(name if name.endswith("quarter") else f"{name}_moon" for name in PHASE_NAMES)
#: Every kind of key time.
KEY_KINDS = ("high_water", "low_water", "slack_after_hw", "slack_after_lw", *EVENT_KINDS, *PHASE_KINDS)
_PLACE = {kind: place for place, kind in enumerate(KEY_KINDS)}
_HIGH, _LOW, _AFTER_HIGH, _AFTER_LOW = range(4)
_PHASE_KIND = dict(zip(PHASE_NAMES, PHASE_KINDS, strict=True))


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
    return _in_order(sources, span).told(slice(None))


def key_times_of_parts(
    sources: Sources, span: TimeSpan, parts_us: Sequence[tuple[int, int]]
) -> list[tuple[KeyTime, ...]]:
    """Return those of the key times in ``span`` that lie in each of its parts [microseconds since 1970]."""
    found = _in_order(sources, span)
    bounds = np.searchsorted(found.times_us, np.array(parts_us, dtype=np.int64).reshape(-1, 2)).tolist()
    return [found.told(slice(first, last)) for first, last in bounds]


class _Columns(NamedTuple):
    """Key times as columns; kinds are their places in `KEY_KINDS`, heights those of high and low water alone."""

    times_us: IntArray
    kinds: IntArray
    heights: FloatArray
    grazing: BoolArray
    held: BoolArray

    @classmethod
    def of(cls, times_us: IntArray, kinds: IntArray, **known: AnyArray) -> _Columns:
        """Return key times of which some things are known."""
        none, no = np.full(times_us.size, np.nan), np.zeros(times_us.size, dtype=np.bool_)
        return cls(times_us, kinds, known.get("heights", none), known.get("grazing", no), known.get("held", no))

    def told(self, part: slice) -> tuple[KeyTime, ...]:
        """Return some of them."""
        kinds = self.kinds[part].tolist()
        return tuple(
            map(
                KeyTime,
                from_microseconds(self.times_us[part]),
                [KEY_KINDS[kind] for kind in kinds],
                [one if kind <= _LOW else None for kind, one in zip(kinds, self.heights[part].tolist(), strict=True)],
                self.grazing[part].tolist(),
                self.held[part].tolist(),
            )
        )


_NONE = _Columns.of(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))


def _in_order(sources: Sources, span: TimeSpan) -> _Columns:
    """Return the key times in ``span``, those of one instant in the order of `KEY_KINDS`."""
    each = (_tide(sources, span), _slacks(sources, span), _risings(sources, span), _moons(sources, span))
    columns = [np.concatenate(some) for some in zip(*each, strict=True)]
    order = np.lexsort((columns[1], columns[0]))
    return _Columns(*(column[order] for column in columns))


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


def _tide(sources: Sources, span: TimeSpan) -> _Columns:
    turns, here = sources.turns, _inside(sources.turns.times_us, span)
    kinds = np.where(turns.high[here], _HIGH, _LOW)
    held = sources.tables.held_turns[here]
    return _Columns.of(turns.times_us[here], kinds, heights=turns.heights[here], held=held)


def _slacks(sources: Sources, span: TimeSpan) -> _Columns:
    if sources.lags is None:
        return _NONE
    here = _inside(sources.slacks_us, span)
    return _Columns.of(sources.slacks_us[here], np.where(sources.turns.high[here], _AFTER_HIGH, _AFTER_LOW))


def _risings(sources: Sources, span: TimeSpan) -> _Columns:
    events = sources.sky_events
    times_us = events.time.view(np.int64)
    here = _inside(times_us, span)
    return _Columns.of(times_us[here], _numbered(events.kind[here]), grazing=events.grazing[here])


def _moons(sources: Sources, span: TimeSpan) -> _Columns:
    phases = _phases(sources.sky, span.start_us, span.end_us)
    return _Columns.of(phases.time.view(np.int64), _numbered(_PHASE_KIND[str(name)] for name in phases.name))


def _inside(times_us: IntArray, span: TimeSpan) -> slice:
    return slice(*np.searchsorted(times_us, (span.start_us, span.end_us)).tolist())


def _numbered(kinds: Iterable[str]) -> IntArray:
    return np.array([_PLACE[kind] for kind in kinds], dtype=np.int64)
