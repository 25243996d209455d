"""When sun and moon pass the limits of altitude over stretches of days at many places: scan, bracket, close in.

Every operation here works on each instant for itself, so that what is found on a day is the same to the last digit
whatever days and places it is looked for together with.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from tidecore.roots.brackets import TimeFunction, refine, sample_times, summits
from tidecore.sky.positions import MOON_RADIUS_KM, SkyPositions
from tidecore.sky.topocentre import Observers, altitudes_each
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray

#: Refraction at the horizon [degrees]: 34 minutes of arc, by convention.
REFRACTION_DEG = 34.0 / 60.0


class Limit(NamedTuple):
    """An altitude to pass: ``name``, the kind of event when the ``body`` rises and sinks through it, the altitude."""

    name: str
    rising: str
    setting: str
    body: str
    #: Of the body's centre for the sun; of the upper limb for the moon [degrees].
    altitude_deg: float


LIMITS: tuple[Limit, ...] = (
    Limit("sun", "sunrise", "sunset", "sun", -0.8333),
    Limit("civil", "first_light", "last_light", "sun", -6.0),
    Limit("nautical", "nautical_dawn", "nautical_dusk", "sun", -12.0),
    Limit("astronomical", "astronomical_dawn", "astronomical_dusk", "sun", -18.0),
    Limit("moon", "moonrise", "moonset", "moon", -REFRACTION_DEG),
)
LIMIT_NAMES: tuple[str, ...] = tuple(limit.name for limit in LIMITS)
EVENT_KINDS: tuple[str, ...] = tuple(kind for limit in LIMITS for kind in (limit.rising, limit.setting))

_SCAN_US = 30 * US_PER_MINUTE
#: The highest (lowest) sample lies at most 0.13 degree from the true extreme between two samples: near the horizon
#: the altitude bends by at most 4.2 degrees per hour squared. Only extremes nearer than this to a limit can hide two
#: crossings, and only they are looked for.
_HIDDEN_DEG = 0.15
_RATE_US = US_PER_MINUTE


class Stretch(NamedTuple):
    """Whole local solar days at a place: who watches, and the midnights that bound the days [microseconds]."""

    watcher: Observers
    bounds_us: IntArray


class Passages(NamedTuple):
    """What passes limits in a stretch: instants in ascending order, indices into `EVENT_KINDS`, rates, states.

    Rates of altitude are in degrees an hour; states have the shape ``(days, limits)``, see `SkyEvents`.
    """

    times_us: IntArray
    kinds: IntArray
    rates: FloatArray
    states: IntArray


def find_passages(positions: SkyPositions, stretches: Sequence[Stretch]) -> list[Passages]:
    """Return what passes limits in each of some stretches; ``positions`` reach an hour beyond all of them."""
    suns, moons = [], []
    for here, bounds in stretches:
        scan = (int(bounds[0]) // _SCAN_US - 1) * _SCAN_US, (-(-int(bounds[-1]) // _SCAN_US) + 1) * _SCAN_US
        times, sun, moon = _scanned(positions, *scan)
        suns.append(_brackets("sun", _Body(positions, here, sun=True), times, sun))
        moons.append(_brackets("moon", _Body(positions, here, sun=False), times, moon))
    seen = [*suns, *moons]
    counts = np.array([one.left.size for one in seen])
    everyone = Observers(*(np.concatenate(each) for each in zip(*(one.watcher for one in stretches), strict=True)))
    sun_counts, moon_counts = counts.reshape(2, -1)
    split = int(sun_counts.sum())

    def at(times: FloatArray) -> FloatArray:
        sun = altitudes_each(positions.sun_vectors(times[:split]), everyone, sun_counts)
        return np.concatenate((sun, _upper_limb(positions.moon_vectors(times[split:]), everyone, moon_counts)))

    roots = _roots(at, seen)
    rates = (at(roots + _RATE_US) - at(roots - _RATE_US)) * (0.5 * US_PER_HOUR / _RATE_US)
    parts = [slice(first, last) for first, last in itertools.pairwise(np.cumsum([0, *counts]).tolist())]
    found = []
    for k, (_, bounds) in enumerate(stretches):
        passed = [_passed(seen[j], roots[parts[j]], rates[parts[j]], bounds) for j in (k, k + len(stretches))]
        found.append(_sorted(_Found(*([*one, *other] for one, other in zip(*passed, strict=True))), bounds))
    return found


def _sorted(found: _Found, bounds: IntArray) -> Passages:
    """Return what was found in a stretch in the order of time."""
    times = np.rint(np.concatenate(found.times)).astype(np.int64)
    kinds, rates = np.concatenate(found.kinds), np.concatenate(found.rates)
    inside = np.flatnonzero((times >= bounds[0]) & (times < bounds[-1]))
    order = inside[np.lexsort((kinds[inside], times[inside]))]
    return Passages(times[order], kinds[order], rates[order], np.stack(found.states, axis=1))


class _Found(NamedTuple):
    """What passes limits, limit by limit: instants, indices into `EVENT_KINDS`, rates, states of days."""

    times: list[FloatArray]
    kinds: list[IntArray]
    rates: list[FloatArray]
    states: list[IntArray]


# What is seen at the whole half hours hangs on no mark but by its longitude, hour by hour.
@lru_cache(maxsize=16)
def _scanned(positions: SkyPositions, start_us: int, end_us: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the whole half hours of a span, and the vectors of sun and moon at them."""
    times = sample_times(start_us, end_us, _SCAN_US)
    found = times, positions.sun_vectors(times), positions.moon_vectors(times)
    for array in found:
        array.flags.writeable = False
    return found


class _Body(NamedTuple):
    """The sun's centre, or else the moon's upper limb, as seen by one observer."""

    positions: SkyPositions
    here: Observers
    sun: bool

    def seen(self, vectors: FloatArray) -> FloatArray:
        """Return the altitude [degrees] for vectors of the body."""
        count = np.array([vectors.shape[1]])
        return altitudes_each(vectors, self.here, count) if self.sun else _upper_limb(vectors, self.here, count)

    def at(self, times: FloatArray) -> FloatArray:
        """Return the altitude [degrees] at instants."""
        return self.seen(self.positions.sun_vectors(times) if self.sun else self.positions.moon_vectors(times))


def _upper_limb(vectors: FloatArray, watchers: Observers, counts: IntArray) -> FloatArray:
    """Return the altitude of the moon's upper limb [degrees], as `altitudes_each` does that of its centre."""
    away = vectors - np.repeat(watchers.places, counts, axis=0).T
    distance = np.sqrt(away[0] * away[0] + away[1] * away[1] + away[2] * away[2])
    return np.asarray(altitudes_each(vectors, watchers, counts) + np.degrees(np.arcsin(MOON_RADIUS_KM / distance)))


class _Brackets(NamedTuple):
    """Where one body passes its limits, between neighbours of ``times``.

    ``limits`` are places in `LIMITS`; ``above`` says of each, and of each instant, on which side the body is; bracket
    ``k`` is that of row ``rows[k]`` after the instant ``left[k]``, and ``levels`` are the altitudes to pass.
    """

    limits: list[int]
    times: FloatArray
    values: FloatArray
    above: BoolArray
    rows: IntArray
    left: IntArray
    levels: FloatArray


def _brackets(name: str, body: _Body, times: FloatArray, vectors: FloatArray) -> _Brackets:
    """Return where a body passes its limits, of its vectors at whole half hours."""
    limits = [k for k, limit in enumerate(LIMITS) if limit.body == name]
    times, values = _samples(body.at, (times, body.seen(vectors)), limits)
    at = np.array([LIMITS[k].altitude_deg for k in limits])
    above = values >= at[:, None]
    rows, left = np.nonzero(above[:, 1:] != above[:, :-1])
    return _Brackets(limits, times, values, above, rows, left, at[rows])


def _roots(altitudes_at: TimeFunction, seen: list[_Brackets]) -> FloatArray:
    """Return when bodies pass their limits; all brackets are closed together, at little more than those of one."""
    levels = np.concatenate([one.levels for one in seen])
    lefts, rights = (np.concatenate([one.times[one.left + k] for one in seen]) for k in (0, 1))
    ends = [np.concatenate([one.values[one.left + k] for one in seen]) - levels for k in (0, 1)]
    return refine(lambda times: altitudes_at(times) - levels, lefts, rights, ends=(ends[0], ends[1]))


def _passed(one: _Brackets, roots: FloatArray, rates: FloatArray, bounds: IntArray) -> _Found:
    """Return what one body does at its limits over the days between ``bounds``."""
    found = _Found([], [], [], [])
    middays = np.searchsorted(one.times, 0.5 * (bounds[1:] + bounds[:-1]))
    for row, limit in enumerate(one.limits):
        mine = one.rows == row
        passed = np.diff(np.searchsorted(roots[mine], bounds)) > 0
        found.states.append(np.where(passed, 0, np.where(one.above[row, middays], 1, -1)))
        found.times.append(roots[mine])
        found.kinds.append(2 * limit + np.where(one.above[row, one.left[mine] + 1], 0, 1))
        found.rates.append(rates[mine])
    return found


def _samples(
    function: TimeFunction, scan: tuple[FloatArray, FloatArray], limits: list[int]
) -> tuple[FloatArray, FloatArray]:
    """Return instants and altitudes between which no limit is passed twice, at whole half hours and some extremes."""
    times, values = scan
    inner, before, after = values[1:-1], values[:-2], values[2:]
    beyond = np.array([LIMITS[k].altitude_deg for k in limits])[:, None] - inner
    high = (inner > before) & (inner >= after) & ((beyond > 0.0) & (beyond < _HIDDEN_DEG)).any(axis=0)
    low = (inner < before) & (inner <= after) & ((beyond <= 0.0) & (beyond > -_HIDDEN_DEG)).any(axis=0)
    # One by one: how close many are looked at together hangs on the others.
    tops = [summits(function, times[k : k + 1], times[k + 2 : k + 3]) for k in np.flatnonzero(high)]
    tops += [summits(lambda at: -function(at), times[k : k + 1], times[k + 2 : k + 3]) for k in np.flatnonzero(low)]
    if not tops:
        return times, values
    times = np.unique(np.concatenate((times, *(one.times_us for one in tops))))
    return times, function(times)
