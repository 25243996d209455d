"""Rising, setting and twilight at a mark, and the days without them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidSpan, UnknownName
from tidecore.sky.passages import EVENT_KINDS, LIMIT_NAMES, LIMITS
from tidecore.sky.positions import SkyPositions
from tidecore.sky.solar_days import DayEvents, events_of_days
from tidecore.timebase import TimeSpan, from_microseconds, instant
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray, UtcTimes

#: Below this rate of altitude an event is grazing: its instant hangs on the air of the day [degrees an hour].
GRAZING_DEG_PER_HOUR = 3.0
_KINDS = np.array(EVENT_KINDS)


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

    Notes
    -----
    The process keeps what it has found of a place, by whole runs of local solar days, see
    `tidecore.sky.solar_days`: another span of the same weeks is read, not worked out, and has the same events.
    """
    span = TimeSpan(instant(start, "start"), instant(end, "end"))
    if span.start < positions.start or span.end > positions.end:
        expected = f"a span inside that of the positions, {positions.start} to {positions.end}"
        raise InvalidSpan(Fault("start", f"{span.start} to {span.end} is not covered", expected))
    return [_of_span(found, span) for found in events_of_days(places, span)]


def _of_span(found: DayEvents, span: TimeSpan) -> SkyEvents:
    """Return the events of whole days that lie in a span."""
    first, last = np.searchsorted(found.times_us, (span.start_us, span.end_us))
    inside = slice(int(first), int(last))
    rates = found.rates[inside]
    return SkyEvents(
        from_microseconds(found.times_us[inside]),
        _KINDS[found.kinds[inside]],
        rates,
        np.abs(rates) < GRAZING_DEG_PER_HOUR,
        found.days.astype("datetime64[D]"),
        found.states,
    )
