"""UTC instants, spans and grids, anchored to absolute epochs.

Inside tidecore an instant is a ``datetime64[us]`` in UTC, or its integer count of microseconds since
1970-01-01T00:00Z. Leap seconds are not counted, as everywhere in civil time keeping.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.units import AnyArray, IntArray, UtcTimes

US_PER_SECOND = 1_000_000
US_PER_MINUTE = 60 * US_PER_SECOND
US_PER_HOUR = 3600 * US_PER_SECOND
US_PER_DAY = 24 * US_PER_HOUR

#: Instants outside these are refused: the polynomials of the moon and sun are not meant for them.
EARLIEST = np.datetime64("1700-01-01T00:00:00", "us")
LATEST = np.datetime64("2200-01-01T00:00:00", "us")
_EARLIEST_US = int(EARLIEST.astype(np.int64))
_LATEST_US = int(LATEST.astype(np.int64))

_STEP = re.compile(r"(\d+)\s*(s|min|h|d)")
_STEP_US = {"s": US_PER_SECOND, "min": US_PER_MINUTE, "h": US_PER_HOUR, "d": US_PER_DAY}


def as_utc(times: AnyArray | np.datetime64 | str, field: str = "times") -> UtcTimes:
    """Return ``times`` as ``datetime64[us]``, of the same shape.

    Parameters
    ----------
    times : datetime64 array or scalar, or ISO 8601 text without offset
        Instants in UTC, of any ``datetime64`` unit, in any order.
    field : str
        How the caller calls them; used in the error.

    Raises
    ------
    InvalidSpan
        If they are not ``datetime64``, one is NaT, or one lies outside 1700 to 2200.
    """
    try:
        array = np.asarray(times, dtype="datetime64[us]") if isinstance(times, str) else np.asarray(times)
    except ValueError as error:
        raise InvalidSpan(Fault(field, f"{times!r} is no instant", "ISO 8601, as 2026-01-31T06:00")) from error
    if array.dtype.kind != "M":
        raise InvalidSpan(Fault(field, f"of type {array.dtype}", "numpy datetime64 in UTC"))
    if array.dtype != np.dtype("datetime64[us]"):
        array = array.astype("datetime64[us]")
    if array.size:
        ticks = array.view(np.int64)
        # NaT is the smallest integer, so one comparison finds it too.
        if ticks.min() < _EARLIEST_US or ticks.max() > _LATEST_US:
            first = array[(ticks < _EARLIEST_US) | (ticks > _LATEST_US)].flat[0]
            raise InvalidSpan(Fault(field, f"is {np.datetime64(first, 's')}", "instants from 1700 to 2200"))
    return array


def instant(time: np.datetime64 | str, field: str = "time") -> np.datetime64:
    """Return one instant as a ``datetime64[us]`` scalar; raises as `as_utc`."""
    return np.datetime64(as_utc(time, field).item(), "us")


def microseconds(times: AnyArray | np.datetime64 | str, field: str = "times") -> IntArray:
    """Return ``times`` as integer microseconds since 1970-01-01T00:00Z; raises as `as_utc`."""
    return as_utc(times, field).view(np.int64)


def from_microseconds(ticks: AnyArray | int) -> UtcTimes:
    """Return integer or float microseconds since 1970 as ``datetime64[us]``, rounded to the nearest."""
    return np.asarray(np.rint(ticks), dtype=np.int64).view("datetime64[us]")


def parse_step(step: str | np.timedelta64 | int, field: str = "step") -> int:
    """Return a step in microseconds.

    Parameters
    ----------
    step : str, timedelta64 or int
        Text such as ``"10min"``, ``"30s"``, ``"1h"``, ``"1d"``; a ``timedelta64``; or whole seconds.

    Raises
    ------
    InvalidSpan
        If it is none of these, not positive, or not a whole number of seconds.
    """
    expected = "a positive step of whole seconds, as '10min', '30s' or '1h'"
    ticks = 0
    if isinstance(step, str):
        match = _STEP.fullmatch(step.strip())
        if match is not None and len(match[1]) <= 9:
            ticks = int(match[1]) * _STEP_US[match[2]]
    elif isinstance(step, np.timedelta64):
        if not np.isnat(step):
            ticks = int(step.astype("timedelta64[us]").astype(np.int64))
    else:
        ticks = int(step) * US_PER_SECOND
    if ticks <= 0 or ticks % US_PER_SECOND:
        raise InvalidSpan(Fault(field, f"{step!r} is no step", expected))
    return ticks


@dataclass(frozen=True, slots=True)
class TimeSpan:
    """A half-open span ``[start, end)`` of UTC instants, ``end`` after ``start``.

    ``start_us`` and ``end_us`` are the same in microseconds since 1970.
    """

    start: np.datetime64
    end: np.datetime64
    start_us: int = field(init=False, repr=False, compare=False)
    end_us: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Normalise both ends to microseconds and refuse a span that runs backwards."""
        start, end = instant(self.start, "start"), instant(self.end, "end")
        if end <= start:
            raise InvalidSpan(Fault("end", f"{end} is not after start {start}", "an end after the start"))
        for name, value in (("start", start), ("end", end)):
            object.__setattr__(self, name, value)
            object.__setattr__(self, f"{name}_us", int(value.astype(np.int64)))

    @property
    def days(self) -> float:
        """Length [days]."""
        return (self.end_us - self.start_us) / US_PER_DAY

    def padded(self, days: float) -> TimeSpan:
        """Return the span made longer by ``days`` [days] at both ends."""
        pad = np.timedelta64(round(days * US_PER_DAY), "us")
        return TimeSpan(self.start - pad, self.end + pad)


@dataclass(frozen=True, slots=True)
class TimeGrid:
    """Evenly spaced UTC instants: ``start + k * step`` for ``k`` in ``range(count)``.

    A grid says by its type that it is even, so that nobody has to check an array for it.
    """

    start_us: int
    step_us: int
    count: int

    @classmethod
    def spanning(
        cls, start: np.datetime64 | str, end: np.datetime64 | str, step: str | np.timedelta64 | int
    ) -> TimeGrid:
        """Return the grid that begins at ``start`` and stays before ``end`` [UTC], every ``step``."""
        span = TimeSpan(instant(start, "start"), instant(end, "end"))
        step_us = parse_step(step)
        return cls(span.start_us, step_us, -((span.start_us - span.end_us) // step_us))

    @classmethod
    def anchored(
        cls, start: np.datetime64 | str, end: np.datetime64 | str, step: str | np.timedelta64 | int
    ) -> TimeGrid:
        """Return the whole multiples of ``step`` since 1970 that lie in ``[start, end)``.

        The same instants are met whatever span is asked for. The grid may be empty.
        """
        span = TimeSpan(instant(start, "start"), instant(end, "end"))
        step_us = parse_step(step)
        first = -(-span.start_us // step_us)
        return cls(first * step_us, step_us, max(0, -(-span.end_us // step_us) - first))

    @property
    def end_us(self) -> int:
        """First instant after the grid [microseconds since 1970]."""
        return self.start_us + self.count * self.step_us

    def times_us(self) -> IntArray:
        """Return the instants in microseconds since 1970, shape ``(count,)``."""
        return self.start_us + self.step_us * np.arange(self.count, dtype=np.int64)

    def times(self) -> UtcTimes:
        """Return the instants as ``datetime64[us]``, shape ``(count,)``."""
        return self.times_us().view("datetime64[us]")

    def __len__(self) -> int:
        """Return the number of instants."""
        return self.count
