"""Rising, setting and twilight at a mark, and the days without them."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import NamedTuple

import numpy as np

from tidecore.errors import Fault, InvalidSpan, UnknownName
from tidecore.roots.brackets import TimeFunction, refine, sample_times, summits
from tidecore.sky.positions import MOON_RADIUS_KM, SkyPositions
from tidecore.sky.topocentre import Observers, altitudes, altitudes_each, observer
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, TimeSpan, from_microseconds, instant
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray, UtcTimes

#: Refraction at the horizon [degrees]: 34 minutes of arc, by convention.
REFRACTION_DEG = 34.0 / 60.0
#: Below this rate of altitude an event is grazing: its instant hangs on the air of the day [degrees an hour].
GRAZING_DEG_PER_HOUR = 3.0


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


@dataclass(frozen=True, slots=True)
class PolarSpan:
    """Consecutive local solar days on which a limit is never passed.

    ``limit`` is one of `LIMIT_NAMES`; ``always_up`` says on which side the body stays; both days are included.
    """

    limit: str
    always_up: bool
    first_day: np.datetime64
    last_day: np.datetime64

    def __str__(self) -> str:
        """Say it in one line."""
        limit = LIMITS[LIMIT_NAMES.index(self.limit)]
        side = "above" if self.always_up else "below"
        what = f"the {limit.body} stays {side} {limit.altitude_deg:.4g} degrees"
        return f"{what} ({self.limit}) from {self.first_day} to {self.last_day}: no {limit.rising}, no {limit.setting}"


@dataclass(frozen=True, slots=True, eq=False)
class SkyEvents:
    """Events of sun and moon at one mark, sorted by time; made by `sky_events`.

    ``time`` (UTC), ``kind`` (one of `EVENT_KINDS`), ``rate`` of altitude [degrees an hour, negative when sinking] and
    ``grazing`` (the rate is under 3 either way) have one value an event. ``days`` are the dates of the local solar
    days that the span touches, and ``states`` says of each, shape ``(days, 5)`` in the order of `LIMIT_NAMES`: 1 if
    the body stays above the limit all day, -1 if below, 0 if it passes it.
    """

    time: UtcTimes
    kind: AnyArray
    rate: FloatArray
    grazing: BoolArray
    days: UtcTimes
    states: IntArray

    def __len__(self) -> int:
        """Return the number of events."""
        return int(self.time.size)

    def of(self, kind: str) -> UtcTimes:
        """Return the times of one ``kind`` of event; `UnknownName` if there is no such kind."""
        return self.select(kind).time

    def select(self, kind: str) -> SkyEvents:
        """Return the events of one ``kind``, days as they are; `UnknownName` if there is no such kind."""
        if kind not in EVENT_KINDS:
            raise UnknownName("sky event", kind, EVENT_KINDS)
        mask = self.kind == kind
        return SkyEvents(self.time[mask], self.kind[mask], self.rate[mask], self.grazing[mask], self.days, self.states)

    def state(self, limit: str) -> IntArray:
        """Return for each of ``days`` 1, -1 or 0: above ``limit`` all day, below all day, or passing it."""
        if limit not in LIMIT_NAMES:
            raise UnknownName("limit of altitude", limit, LIMIT_NAMES)
        return np.asarray(self.states[:, LIMIT_NAMES.index(limit)])

    def always_up(self, limit: str = "sun") -> UtcTimes:
        """Return the local solar days on which the body stays above ``limit``: no event, and known to be none."""
        return np.asarray(self.days[self.state(limit) == 1])

    def always_down(self, limit: str = "sun") -> UtcTimes:
        """Return the local solar days on which the body stays below ``limit``: no event, and known to be none."""
        return np.asarray(self.days[self.state(limit) == -1])

    @property
    def polar(self) -> tuple[PolarSpan, ...]:
        """Runs of days without an event, limit by limit in time order; ``str()`` of each is a sentence."""
        spans = []
        for limit in LIMIT_NAMES:
            state = self.state(limit)
            starts = np.flatnonzero(np.diff(state, prepend=2) != 0)
            ends = np.append(starts[1:], state.size) - 1
            spans += [
                PolarSpan(limit, bool(state[first] > 0), self.days[first], self.days[last])
                for first, last in zip(starts, ends, strict=True)
                if state[first] != 0
            ]
        return tuple(spans)


def sky_events(
    positions: SkyPositions,
    latitude: float,
    longitude: float,
    start: np.datetime64 | str,
    end: np.datetime64 | str,
) -> SkyEvents:
    """Return rising, setting and twilight of sun and moon at a mark in ``[start, end)``.

    At sea level with a free horizon, by these conventions. Sunrise and sunset: the sun's upper limb with refraction,
    centre at -0.8333 degree. First and last light: civil twilight, -6; nautical -12; astronomical -18. Moonrise and
    moonset: the upper limb at the sea horizon with 34' of refraction, seen from the mark (parallax included), the
    semidiameter that of the day's distance; so the centre passes between -0.81 and -0.85 degree.

    Parameters
    ----------
    positions : SkyPositions
        From `sky_positions`; its own span holds ``[start, end)``.
    latitude, longitude : float
        Geodetic latitude north and longitude east [degrees].
    start, end : datetime64 or ISO text
        Half-open span [UTC].

    Returns
    -------
    SkyEvents
        Local solar days run from midnight to midnight of mean solar time at the longitude. A day the span only
        touches is judged as a whole.

    Raises
    ------
    InvalidPosition
        If latitude or longitude is out of range.
    InvalidSpan
        If the end is not after the start, or the span leaves that of ``positions``.

    Notes
    -----
    Asked for is 5 s where the altitude changes by 3 degrees an hour or more; seen in tests against ephem, conventions
    equal, are 0.2 s for the sun and 1.2 s for the moon. Slower events are flagged ``grazing`` and held to 0.01 degree
    of altitude. Real refraction at the horizon varies by 0.1 degree
    and more. Short excursions over a limit are found however short they are. An event's time does not depend on the
    span asked for.
    """
    return sky_events_many(positions, [(latitude, longitude)], start, end)[0]


def sky_events_many(
    positions: SkyPositions,
    places: Sequence[tuple[float, float]],
    start: np.datetime64 | str,
    end: np.datetime64 | str,
) -> list[SkyEvents]:
    """Return the events of `sky_events` at many marks: the same, and sooner than mark by mark.

    ``places`` are latitudes and longitudes [degrees]; everything else as `sky_events`.
    """
    span = TimeSpan(instant(start, "start"), instant(end, "end"))
    if span.start < positions.start or span.end > positions.end:
        expected = f"a span inside that of the positions, {positions.start} to {positions.end}"
        raise InvalidSpan(Fault("start", f"{span.start} to {span.end} is not covered", expected))
    if not places:
        return []
    watchers = [observer(*place) for place in places]
    days = [_solar_days(span, longitude) for _, longitude in places]
    suns, moons = [], []
    for here, (_, bounds) in zip(watchers, days, strict=True):
        scan = (int(bounds[0]) // _SCAN_US - 1) * _SCAN_US, (-(-int(bounds[-1]) // _SCAN_US) + 1) * _SCAN_US
        times, sun, moon = _scanned(positions, *scan)
        suns.append(_brackets("sun", partial(_seen, _sun(here), positions.sun_vectors), times, _sun(here)(sun)))
        moons.append(_brackets("moon", partial(_seen, _moon(here), positions.moon_vectors), times, _moon(here)(moon)))
    seen = [*suns, *moons]
    counts = np.array([one.left.size for one in seen])
    everyone = Observers(*(np.concatenate(each) for each in zip(*watchers, strict=True)))
    at = partial(_altitudes, positions, everyone, counts.reshape(2, -1))
    roots = _roots(at, seen)
    rates = (at(roots + _RATE_US) - at(roots - _RATE_US)) * (0.5 * US_PER_HOUR / _RATE_US)
    borders = np.cumsum([0, *counts]).tolist()
    parts = [slice(first, last) for first, last in itertools.pairwise(borders)]
    found = []
    for k, (dates, bounds) in enumerate(days):
        passed = [_passed(seen[j], roots[parts[j]], rates[parts[j]], bounds) for j in (k, k + len(places))]
        both = _Found(*([*one, *other] for one, other in zip(*passed, strict=True)))
        found.append(_sorted(both, span, dates))
    return found


def _solar_days(span: TimeSpan, longitude: float) -> tuple[UtcTimes, IntArray]:
    """Return the dates of the local solar days that a span touches, and the midnights that bound them."""
    shift = round(((longitude + 180.0) % 360.0 - 180.0) / 360.0 * US_PER_DAY)
    first, end = (span.start_us + shift) // US_PER_DAY, -(-(span.end_us + shift) // US_PER_DAY)
    days = np.arange(first, end + 1, dtype=np.int64)
    return days[:-1].astype("datetime64[D]"), days * US_PER_DAY - shift


def _sorted(found: _Found, span: TimeSpan, days: UtcTimes) -> SkyEvents:
    """Return what was found at a mark in the order of time."""
    times = np.rint(np.concatenate(found.times)).astype(np.int64)
    kinds, rates = np.concatenate(found.kinds), np.concatenate(found.rates)
    inside = np.flatnonzero((times >= span.start_us) & (times < span.end_us))
    order = inside[np.lexsort((kinds[inside], times[inside]))]
    names = np.array(EVENT_KINDS)[kinds[order]]
    grazing = np.abs(rates[order]) < GRAZING_DEG_PER_HOUR
    return SkyEvents(
        from_microseconds(times[order]), names, rates[order], grazing, days, np.stack(found.states, axis=1)
    )


#: Altitudes [degrees] for the vectors of a body.
Sight = Callable[[FloatArray], FloatArray]


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


def _sun(here: Observers) -> Sight:
    """Return the altitude of the sun's centre [degrees] for its vectors."""
    return lambda vectors: altitudes(vectors, here)[0]


def _moon(here: Observers) -> Sight:
    """Return the altitude of the moon's upper limb [degrees] for its vectors."""

    def limb(vectors: FloatArray) -> FloatArray:
        distance = np.linalg.norm(vectors - here.places[0][:, None], axis=0)
        return np.asarray(altitudes(vectors, here)[0] + np.degrees(np.arcsin(MOON_RADIUS_KM / distance)))

    return limb


def _seen(see: Sight, vectors_at: TimeFunction, times: FloatArray) -> FloatArray:
    return see(vectors_at(times))


class _Brackets(NamedTuple):
    """Where one body passes its limits, between neighbours of ``times``.

    ``limits`` are places in `LIMITS`; ``above`` says of each, and of each instant, on which side the body is; bracket
    ``k`` is that of row ``rows[k]`` after the instant ``left[k]``, and ``levels`` are the altitudes to pass.
    """

    function: TimeFunction
    limits: list[int]
    times: FloatArray
    values: FloatArray
    above: BoolArray
    rows: IntArray
    left: IntArray
    levels: FloatArray


def _brackets(body: str, function: TimeFunction, times: FloatArray, values: FloatArray) -> _Brackets:
    """Return where a body passes its limits, of its altitudes at whole half hours."""
    limits = [k for k, limit in enumerate(LIMITS) if limit.body == body]
    times, values = _samples(function, (times, values), limits)
    at = np.array([LIMITS[k].altitude_deg for k in limits])
    above = values >= at[:, None]
    rows, left = np.nonzero(above[:, 1:] != above[:, :-1])
    return _Brackets(function, limits, times, values, above, rows, left, at[rows])


def _altitudes(positions: SkyPositions, watchers: Observers, counts: IntArray, times: FloatArray) -> FloatArray:
    """Return altitudes of the sun's centre at all marks, then of the moon's upper limb; ``counts``: ``(2, marks)``."""
    suns = int(counts[0].sum())
    sun = altitudes_each(positions.sun_vectors(times[:suns]), watchers, counts[0])
    vectors = positions.moon_vectors(times[suns:])
    moon = altitudes_each(vectors, watchers, counts[1])
    distance = np.linalg.norm(vectors - np.repeat(watchers.places, counts[1], axis=0).T, axis=0)
    return np.concatenate((sun, moon + np.degrees(np.arcsin(MOON_RADIUS_KM / distance))))


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
    highest = summits(function, times[:-2][high], times[2:][high])
    lowest = summits(lambda at: -function(at), times[:-2][low], times[2:][low])
    times = np.unique(np.concatenate((times, highest.times_us, lowest.times_us)))
    return times, values if times.size == values.size else function(times)
