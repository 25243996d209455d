"""The timelines of several marks laid end to end on one axis of instants, so that one search goes over all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import starmap

import numpy as np

from tidecore.timebase import US_PER_DAY
from tidecore.timeline import Frames, KeyTime, Marks, Timeline, find_factor, share_sky_events
from tidecore.units import AnyArray, IntArray
from tidecore.windows.rounds import Columns
from tidecore.windows.tracks import Tracks, Wanted, prepare, tracks_of

#: Timelines are looked at a day beyond their span; as much again keeps marks apart on the axis [microseconds].
_REACH_US = 2 * US_PER_DAY
#: Marks share an axis up to so many samples of a factor, 1 MB: more save few calls, and leave the processor's cache.
_TOGETHER = 100_000

#: Places on an axis, ascending.
Places = tuple[int, ...]


class Axis:
    """Timelines of one span and one step; an instant of the one in place ``k`` lies ``k`` strides later on the axis."""

    def __init__(self, timelines: Sequence[Timeline]) -> None:
        """Lay out the timelines; their tracks are theirs."""
        self.timelines = tuple(timelines)
        self.tracks: tuple[Tracks, ...] = tuple(map(tracks_of, timelines))
        span = self.timelines[0].span
        self._first_us = span.start_us - _REACH_US
        self._stride_us = -(-(span.end_us + _REACH_US - self._first_us) // US_PER_DAY) * US_PER_DAY
        self._joined: dict[tuple[str, Places], AnyArray] = {}
        self._partings: dict[str, list[Places]] = {}
        self._events: dict[int, tuple[tuple[KeyTime, ...], IntArray]] = {}

    def shift_us(self, place: int) -> int:
        """Return by how much the instants of a timeline lie later on the axis [microseconds]."""
        return place * self._stride_us

    def shifted(self, place: int, spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
        """Return spans of a timeline as those of the axis."""
        shift = self.shift_us(place)
        return [(start + shift, end + shift) for start, end in spans]

    def places(self, times_us: IntArray) -> IntArray:
        """Return in which place the timeline of each instant of the axis is."""
        return np.asarray((times_us - self._first_us) // self._stride_us)

    def own(self, times_us: IntArray) -> IntArray:
        """Return instants of the axis as those of their timelines [microseconds since 1970]."""
        return times_us - self.places(times_us) * self._stride_us

    def prepare(self, names: Sequence[tuple[str, ...]]) -> None:
        """Make the tracks of the factors named ready, timeline by timeline."""
        each = zip(self.tracks, self.timelines, names, map(self.shift_us, self.everywhere), strict=True)
        prepare(self.at, list(starmap(Wanted, each)))

    def even_us(self, places: Places) -> IntArray:
        """Return the even steps of some timelines on the axis."""
        key = "", places
        if key not in self._joined:
            self._joined[key] = np.concatenate([self.tracks[k].even_us + self.shift_us(k) for k in places])
        return self._joined[key]

    def even(self, name: str, places: Places) -> AnyArray:
        """Return a factor at the even steps of some timelines."""
        key = name, places
        if key not in self._joined:
            self._joined[key] = np.concatenate([self.tracks[k].even(name) for k in places])
        return self._joined[key]

    def events(self, place: int) -> tuple[tuple[KeyTime, ...], IntArray]:
        """Return the key times of the span of a timeline, and their instants [microseconds since 1970]."""
        if place not in self._events:
            events = self.timelines[place].events()
            times = np.array([event.time for event in events], dtype="datetime64[us]").view(np.int64)
            self._events[place] = events, times
        return self._events[place]

    def at(self, times_us: IntArray, names: Sequence[str]) -> Columns:
        """Return factors at instants of the axis, in any order; timelines share what one cause makes of a factor."""
        if len(self.timelines) == 1:
            return self.timelines[0].at(times_us, names)
        asked, back = _each_once(times_us)
        places = self.places(asked)
        own = asked - places * self._stride_us
        counts = np.bincount(places, minlength=len(self.timelines)).tolist()
        found: dict[str, AnyArray] = {}
        together = {name: make for name in names if (make := find_factor(name).together) is not None}
        if together and self._marks is not None:
            frames = Frames(self._marks, counts, own)
            found = {name: make(frames) for name, make in together.items()}
        rest = [name for name in names if name not in found]
        found |= self._by_cause(own, np.cumsum([0, *counts]).tolist(), rest) if rest else {}
        return {name: found[name][back] for name in names}

    def _by_cause(self, own_us: IntArray, bounds: list[int], names: Sequence[str]) -> dict[str, AnyArray]:
        """Return factors at instants of the timelines, one after another; those of one cause are asked for at once."""
        asked: dict[Places, list[str]] = {}
        for name in names:
            for sharing in self._parted(name):
                asked.setdefault(sharing, []).append(name)
        parts: dict[str, list[tuple[Places, AnyArray]]] = {name: [] for name in names}
        for sharing, some in asked.items():
            here = np.concatenate([own_us[bounds[k] : bounds[k + 1]] for k in sharing])
            if own_us.size > here.size == 0:
                continue
            columns = self.timelines[sharing[0]].at(here, some)
            for name in some:
                parts[name].append((sharing, columns[name]))
        return {name: _in_order(each, bounds) for name, each in parts.items()}

    def _parted(self, name: str) -> list[Places]:
        """Return the places of timelines by what a factor hangs on; each its own where that is the mark."""
        if name not in self._partings:
            cause = find_factor(name).hangs_on
            parted: dict[object, list[int]] = {}
            for k, timeline in enumerate(self.timelines):
                # What is no timeline proper may have its factors from anywhere.
                shared = None if cause is None or type(timeline) is not Timeline else cause(timeline.sources)
                parted.setdefault(("own", k) if shared is None else id(shared), []).append(k)
            self._partings[name] = [tuple(some) for some in parted.values()]
        return self._partings[name]

    @cached_property
    def _marks(self) -> Marks | None:
        """The marks; None where one is no timeline proper, which may have its factors from anywhere."""
        proper = all(type(one) is Timeline for one in self.timelines)
        return Marks([one.sources for one in self.timelines]) if proper else None

    @cached_property
    def everywhere(self) -> Places:
        """All places."""
        return tuple(range(len(self.timelines)))


def _in_order(parts: Sequence[tuple[Places, AnyArray]], bounds: list[int]) -> AnyArray:
    """Return columns of timelines in the order of their places."""
    found = np.empty(bounds[-1], dtype=np.result_type(*(column for _, column in parts)))
    for sharing, column in parts:
        first = 0
        for k in sharing:
            last = first + bounds[k + 1] - bounds[k]
            found[bounds[k] : bounds[k + 1]] = column[first:last]
            first = last
    return found


def _each_once(times_us: IntArray) -> tuple[IntArray, IntArray]:
    """Return instants in ascending order, each once, and where each of those given is among them.

    A fifth of what the searches of several rules ask for together is asked for by more than one.
    """
    order = np.argsort(times_us, kind="stable")
    ordered = times_us[order]
    fresh = np.append(True, ordered[1:] != ordered[:-1]) if ordered.size else np.empty(0, dtype=np.bool_)
    back = np.empty(times_us.size, dtype=np.int64)
    back[order] = np.cumsum(fresh) - 1
    return ordered[fresh], back


def axes(timelines: Sequence[Timeline]) -> Iterator[tuple[list[int], Axis]]:
    """Lay out timelines on axes, those of one span and one step together; with the places they have in the sequence."""
    alike: dict[tuple[int, int, int], list[int]] = {}
    for k, timeline in enumerate(timelines):
        key = timeline.span.start_us, timeline.span.end_us, timeline.grid.step_us
        alike.setdefault(key, []).append(k)
    for some in alike.values():
        most = max(1, _TOGETHER // tracks_of(timelines[some[0]]).even_us.size)
        for first in range(0, len(some), most):
            part = some[first : first + most]
            laid = [timelines[k] for k in part]
            if len(laid) > 1:
                share_sky_events([one.sources for one in laid if type(one) is Timeline])
            yield part, Axis(laid)
