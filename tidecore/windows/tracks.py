"""Factors along a whole timeline, sampled so that nothing hides between two samples; made once for all rules."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import Any, NamedTuple, TypeVar
from weakref import WeakKeyDictionary

import numpy as np

from tidecore.rules import Leaf
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import Timeline, find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray
from tidecore.windows.rounds import Ask, Question, Search, side_by_side

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

    def passing(self, corners: Sequence[float]) -> tuple[IntArray, FloatArray]:
        """Return which of some values the factor passes between two samples, and about when [microseconds since 1970].

        By the parabola through the samples on both sides: within a second where the factor bends over hours.
        """
        values, passed = self.values, np.array(corners)
        over = values > passed[:, None]
        which, k = np.divmod(np.flatnonzero(over[:, 1:] != over[:, :-1]), values.size - 1)
        before, after, least = (
            values[k] - passed[which],
            values[k + 1] - passed[which],
            _NEARLY * np.maximum(1.0, np.abs(passed))[which],
        )
        # What meets a corner to the last digits has passed it already; beside what is unknown nothing is passed.
        passes = self._smooth[k] & (before * after < 0.0) & (np.abs(before) >= least) & (np.abs(after) >= least)
        which, k, before, after = which[passes], k[passes], before[passes], after[passes]
        rise, gap = after - before, self.gaps[k]
        part = -before / rise
        part = np.clip(part + 0.5 * self.bends[k] * gap * gap * part * (1.0 - part) / rise, 0.0, 1.0)
        found: FloatArray = self.times_us[k] + gap * part
        return which, found

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
        """Lay out the even steps; `prepare` makes the tracks."""
        first, last = timeline.span.start_us - US_PER_DAY, timeline.span.end_us + US_PER_DAY
        step = min(timeline.grid.step_us, LONGEST_STEP_US)
        even = np.arange(-(-first // step), last // step + 1, dtype=np.int64) * step
        ends = np.array([first, timeline.span.start_us, timeline.span.end_us, last], dtype=np.int64)
        self.even_us: IntArray = distinct(np.concatenate((even, ends)))
        self._tracks: dict[str, Track] = {}

    def missing(self, timeline: Timeline, names: tuple[str, ...]) -> dict[str, Hashable]:
        """Return which of the factors named are not there yet, each with a key that those who share it have in common.

        What others have shared already is taken from them.
        """
        found: dict[str, Hashable] = {}
        for name in names:
            if name not in self._tracks:
                shelf = self._shelf(timeline, name)
                track = None if shelf is None else shelf.get()
                if track is None:
                    found[name] = (id(self), name) if shelf is None else shelf
                else:
                    self._tracks[name] = track
        return found

    def keep(self, name: str, track: Track) -> None:
        """Take the track of a factor."""
        self._tracks[name] = track

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


class Wanted(NamedTuple):
    """Tracks of a timeline, the factors that must be there, and by how much its instants lie later on the axis."""

    tracks: Tracks
    timeline: Timeline
    names: tuple[str, ...]
    shift_us: int


def prepare(ask: Ask, each: Sequence[Wanted]) -> None:
    """Sample the factors that are not there yet, those of all timelines side by side; ``ask`` answers on their axis."""
    making: dict[Hashable, Search[Track]] = {}
    takers: list[tuple[Tracks, str, Hashable]] = []
    for tracks, timeline, names, shift_us in each:
        missing = tracks.missing(timeline, names)
        takers += [(tracks, name, key) for name, key in missing.items()]
        fresh = {name: key for name, key in missing.items() if key not in making}
        columns = timeline.at(tracks.even_us, tuple(fresh)) if fresh else {}
        for name, key in fresh.items():
            making[key] = _made(timeline, name, tracks.even_us, columns[name], shift_us)
    made = dict(zip(making, side_by_side(ask, list(making.values())), strict=True))
    for key, track in made.items():
        if isinstance(key, _Shelf):
            key.put(track)
    for tracks, name, key in takers:
        tracks.keep(name, made[key])


def _made(timeline: Timeline, name: str, even_us: IntArray, even: AnyArray, shift_us: int) -> Search[Track]:
    """Search for the instants at which a factor must be sampled besides the even steps."""
    number = find_factor(name).kind == "number"
    if number and np.isnan(even).all():
        return Track(even_us, even, np.empty(0, dtype=np.int64), number, even)
    breaks = timeline.breaks_us([name])
    sides = distinct(np.concatenate((breaks, breaks - 1)))
    sides = sides[(sides >= even_us[0]) & (sides <= even_us[-1])]
    times, values, extras = yield from _joined(name, even_us, even, sides, shift_us)
    if number:
        tops = distinct(np.rint(_extremes(times, values)).astype(np.int64))
        times, values, more = yield from _joined(name, times, values, tops, shift_us)
        extras = np.concatenate((extras, more))
    return Track(times, values, extras, number, even)


def _joined(
    name: str, times: IntArray, values: AnyArray, more: IntArray, shift_us: int
) -> Search[tuple[IntArray, AnyArray, IntArray]]:
    """Return a track with more instants on it, and which of them are new."""
    place = times.searchsorted(more)
    fresh = times[np.minimum(place, times.size - 1)] != more
    new = more[fresh]
    if not new.size:
        return times, values, new
    columns = yield Question((name,), new + shift_us)
    at = place[fresh] + np.arange(new.size)
    known = np.ones(times.size + new.size, dtype=np.bool_)
    known[at] = False
    joined = [np.empty(known.size, dtype=one.dtype) for one in (times, values)]
    for one, old, other in zip(joined, (times, values), (new, columns[name]), strict=True):
        one[known], one[at] = old, other
    return joined[0], joined[1], new


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
