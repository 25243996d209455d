"""Factors along a whole timeline, sampled so that nothing hides between two samples; made once for all rules."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import numpy as np

from tidecore.rules import Leaf
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import Timeline, find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Samples lie no further apart than this, whatever the step of the timeline [microseconds].
LONGEST_STEP_US = 10 * US_PER_MINUTE
#: Samples nearer than this are two sides of a jump, not a slope [microseconds].
JUMP_US = US_PER_SECOND
_NEARLY = 1e-9
#: Tracks that one object keeps for the marks which share it, of so many samples at most; some 2 MB.
_TRACKS_SHARED, _SAMPLES_SHARED = 32, 6000
#: What a track keeps of leaves: small arrays and numbers.
_LEAVES_KEPT = 256
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Track:
    """One factor: instants in ascending order, and its values there.

    The instants are even steps, both sides of every break of the factor, and the extremes of a number: between two of
    them a number goes one way. ``extras_us`` are those that are no even step, ``even`` the values at those that are.
    """

    times_us: IntArray
    values: AnyArray
    extras_us: IntArray
    number: bool
    even: AnyArray

    def once(self, leaf: Leaf, what: Hashable, make: Callable[[], T]) -> T:
        """Return what ``make`` makes of this track for a leaf, worked out when it is first asked for."""
        key = id(leaf), what
        # The leaf is kept beside it, so that no other can come by its number.
        found = self._kept.get(key)
        if found is None:
            found = leaf, make()
            if len(self._kept) >= _LEAVES_KEPT:
                self._kept.clear()
            self._kept[key] = found
        kept: T = found[1]
        return kept

    @cached_property
    def _kept(self) -> dict[Hashable, tuple[Leaf, Any]]:
        return {}

    def passing(self, corner: float) -> FloatArray:
        """Return about when the factor passes a value between two samples [microseconds since 1970].

        By the parabola through the samples on both sides: within a second where the factor bends over hours.
        """
        times = self.times_us
        above = self.values - corner
        # What meets a corner to the last digits has passed it already.
        above[np.abs(above) < _NEARLY * max(1.0, abs(corner))] = 0.0
        k = np.flatnonzero((above[:-1] * above[1:] < 0.0) & self._smooth)
        rise, gap = above[k + 1] - above[k], self.gaps[k]
        part = -above[k] / rise
        part = np.clip(part + 0.5 * self.bends[k] * gap * gap * part * (1.0 - part) / rise, 0.0, 1.0)
        found: FloatArray = times[k] + gap * part
        return found

    def meets(self, corners: tuple[float, ...]) -> bool:
        """Return whether the factor comes to one of the values, be it between two samples."""
        if not (self.number and corners):
            return False
        low, high = self._reach
        return any(low <= corner <= high for corner in corners)

    @cached_property
    def _reach(self) -> tuple[float, float]:
        return float(np.nanmin(self.values)), float(np.nanmax(self.values))

    @cached_property
    def gaps(self) -> FloatArray:
        """Distances of the samples [microseconds]."""
        return np.diff(self.times_us).astype(np.float64)

    @cached_property
    def _smooth(self) -> BoolArray:
        return self.gaps > JUMP_US

    @cached_property
    def bends(self) -> FloatArray:
        """Second derivative between two samples, the mean of both ends; 0 beside a jump."""
        slopes = np.where(self._smooth, np.diff(self.values) / self.gaps, np.nan)
        inner = 2.0 * np.diff(slopes) / (self.gaps[1:] + self.gaps[:-1])
        padded = np.concatenate(([np.nan], inner, [np.nan]))
        known = ~np.isnan(padded)
        filled = np.where(known, padded, 0.0)
        count = known[:-1].astype(np.int64) + known[1:]
        return np.asarray((filled[:-1] + filled[1:]) / np.maximum(count, 1))


_SHARED: WeakKeyDictionary[Any, dict[Hashable, Track]] = WeakKeyDictionary()
_SHARING = Lock()


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Where the marks that share an object share a track: kept as long as the object is, the oldest go first."""

    owner: Any
    key: Hashable

    def get(self) -> Track | None:
        with _SHARING:
            return _SHARED.get(self.owner, {}).get(self.key)

    def put(self, track: Track) -> None:
        for array in (track.times_us, track.values, track.extras_us, track.even):
            array.flags.writeable = False
        with _SHARING:
            kept = _SHARED.setdefault(self.owner, {})
            while len(kept) >= _TRACKS_SHARED:
                del kept[next(iter(kept))]
            kept[self.key] = track


class Tracks:
    """The tracks of a timeline's factors, from a day before its span to a day after it."""

    def __init__(self, timeline: Timeline) -> None:
        """Lay out the even steps; tracks are made by `prepare`."""
        first, last = timeline.span.start_us - US_PER_DAY, timeline.span.end_us + US_PER_DAY
        step = min(timeline.grid.step_us, LONGEST_STEP_US)
        even = np.arange(-(-first // step), last // step + 1, dtype=np.int64) * step
        ends = np.array([first, timeline.span.start_us, timeline.span.end_us, last], dtype=np.int64)
        self.even_us: IntArray = distinct(np.concatenate((even, ends)))
        self._tracks: dict[str, Track] = {}

    def prepare(self, timeline: Timeline, names: tuple[str, ...]) -> None:
        """Sample the factors named that are not there yet."""
        missing = [name for name in names if name not in self._tracks]
        shared = {name: shelf for name in missing if (shelf := self._shelf(timeline, name)) is not None}
        self._tracks |= {name: track for name, shelf in shared.items() if (track := shelf.get()) is not None}
        missing = [name for name in missing if name not in self._tracks]
        columns = timeline.at(self.even_us, missing) if missing else {}
        for name in missing:
            track = self._tracks[name] = self._made(timeline, name, columns[name])
            if name in shared:
                shared[name].put(track)

    def track(self, name: str) -> Track:
        """Return the track of a factor that was prepared."""
        return self._tracks[name]

    def even(self, name: str) -> AnyArray:
        """Return a factor at the even steps."""
        return self._tracks[name].even

    def _shelf(self, timeline: Timeline, name: str) -> _Shelf | None:
        """Return where marks share the track of a factor; None where it is the mark's own."""
        factor = find_factor(name)
        # What is no timeline proper may have its factors from anywhere.
        if type(timeline) is not Timeline or factor.hangs_on is None or self.even_us.size > _SAMPLES_SHARED:
            return None
        owner = factor.hangs_on(timeline.sources)
        if owner is None:
            return None
        span = timeline.span
        return _Shelf(owner, (factor, span.start_us, span.end_us, min(timeline.grid.step_us, LONGEST_STEP_US)))

    def _made(self, timeline: Timeline, name: str, even: AnyArray) -> Track:
        breaks = timeline.breaks_us([name])
        values, number = even, find_factor(name).kind == "number"
        nowhere = np.empty(0, dtype=np.int64)
        if number and np.isnan(values).all():
            return Track(self.even_us, values, nowhere, number, even)
        sides = distinct(np.concatenate((breaks, breaks - 1)))
        sides = sides[(sides >= self.even_us[0]) & (sides <= self.even_us[-1])]
        times, values, extras = self._joined(timeline, name, self.even_us, values, sides)
        if number:
            tops = distinct(np.rint(_extremes(times, values)).astype(np.int64))
            times, values, more = self._joined(timeline, name, times, values, tops)
            extras = np.concatenate((extras, more))
        return Track(times, values, extras, number, even)

    @staticmethod
    def _joined(
        timeline: Timeline, name: str, times: IntArray, values: AnyArray, more: IntArray
    ) -> tuple[IntArray, AnyArray, IntArray]:
        """Return a track with more instants on it, and which of them are new."""
        place = np.minimum(np.searchsorted(times, more), times.size - 1)
        new = more[times[place] != more]
        if not new.size:
            return times, values, new
        place = np.searchsorted(times, new)
        return np.insert(times, place, new), np.insert(values, place, timeline.at(new, [name])[name]), new


_KEPT: WeakKeyDictionary[Timeline, Tracks] = WeakKeyDictionary()


def tracks_of(timeline: Timeline) -> Tracks:
    """Return the tracks of a timeline, kept as long as it is."""
    kept = _KEPT.get(timeline)
    if kept is None:
        kept = _KEPT[timeline] = Tracks(timeline)
    return kept


def distinct(times: IntArray) -> IntArray:
    """Return instants in ascending order, each once."""
    # Most often some ascending rows end to end: a stable sort merges them.
    ordered = np.sort(times, kind="stable")
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if ordered.size else ordered


def slopes(times: IntArray) -> BoolArray:
    """Return for each inner sample whether it has a slope on both sides: no jump, and no gap in the samples."""
    gaps = np.diff(times)
    smooth = (gaps > JUMP_US) & (gaps <= LONGEST_STEP_US)
    return np.asarray(smooth[1:] & smooth[:-1])


def _extremes(times: IntArray, values: FloatArray) -> FloatArray:
    """Return the extremes of a smooth factor, as those of the parabola through three samples."""
    before, after = values[:-2] - values[1:-1], values[2:] - values[1:-1]
    k = np.flatnonzero(slopes(times) & (before * after >= 0.0) & (before + after != 0.0))
    left, right = (times[k] - times[k + 1]).astype(np.float64), (times[k + 2] - times[k + 1]).astype(np.float64)
    fall, rise = before[k], after[k]
    offset = 0.5 * (left**2 * rise - right**2 * fall) / (left * rise - right * fall)
    found: FloatArray = times[k + 1].astype(np.float64) + np.clip(offset, left, right)
    return found
