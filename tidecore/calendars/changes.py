"""When the clocks of a zone change."""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND, TimeSpan, from_microseconds
from tidecore.units import UtcTimes

_EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
#: Changes are looked for a stretch of this length at a time, so that they can be kept [microseconds].
_STRETCH_US = 256 * US_PER_DAY


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The clocks of a zone jump at ``time_us`` [microseconds since 1970], from one offset to another [microseconds].

    Offsets are those from UTC, east positive.
    """

    time_us: int
    offset_before_us: int
    offset_after_us: int

    @property
    def minutes(self) -> float:
        """How far the clocks jump [minutes]: forward, and so many are skipped; or back (negative), and they repeat."""
        return (self.offset_after_us - self.offset_before_us) / US_PER_MINUTE

    @property
    def shown_before(self) -> np.datetime64:
        """What the clocks would show at the jump without it."""
        return _wall(self.time_us + self.offset_before_us)

    @property
    def shown_after(self) -> np.datetime64:
        """What the clocks show at the jump."""
        return _wall(self.time_us + self.offset_after_us)

    def __str__(self) -> str:
        """Say the change in a sentence."""
        before, after = (str(time.astype("datetime64[m]")).replace("T", " ") for time in self._shown)
        what = "are skipped" if self.minutes > 0 else "come twice"
        ahead = "forward" if self.minutes > 0 else "back"
        return f"clocks go {ahead} from {before} to {after}: {abs(self.minutes):g} minutes {what}"

    @property
    def _shown(self) -> tuple[np.datetime64, np.datetime64]:
        return self.shown_before, self.shown_after


def clock_changes(zone: zoneinfo.ZoneInfo, span: TimeSpan) -> tuple[ClockChange, ...]:
    """Return the changes of the clocks of ``zone`` in ``span``, in time order.

    Notes
    -----
    The zone is asked every hour; an offset that changed and changed back within one would be missed. Offsets of whole
    seconds are found to the second.
    """
    return changes_between(zone, span.start_us, span.end_us)


def changes_between(zone: zoneinfo.ZoneInfo, start_us: int, end_us: int) -> tuple[ClockChange, ...]:
    """Return the changes in ``[start_us, end_us)`` [microseconds since 1970]; see `clock_changes`."""
    stretches = range(start_us // _STRETCH_US, (end_us - 1) // _STRETCH_US + 1)
    found = (change for number in stretches for change in _changes_of(zone, number))
    return tuple(change for change in found if start_us <= change.time_us < end_us)


def offset_us(zone: zoneinfo.ZoneInfo, time_us: int) -> int:
    """Return how far the clocks of ``zone`` are ahead of UTC at an instant [microseconds]."""
    offset = (_EPOCH + datetime.timedelta(microseconds=time_us)).astimezone(zone).utcoffset()
    return 0 if offset is None else offset // datetime.timedelta(microseconds=1)


@lru_cache(maxsize=2048)
def _changes_of(zone: zoneinfo.ZoneInfo, number: int) -> tuple[ClockChange, ...]:
    """Return the changes in a stretch, its first instant included."""
    # A change at the first instant of a stretch shows against the hour before.
    first = number * _STRETCH_US - US_PER_HOUR
    hours = range(first, (number + 1) * _STRETCH_US, US_PER_HOUR)
    offsets = [offset_us(zone, hour) for hour in hours]
    found = []
    for hour, before, after in zip(hours[1:], offsets, offsets[1:], strict=False):
        if before == after:
            continue
        low, high = hour - US_PER_HOUR, hour
        while high - low > US_PER_SECOND:
            middle = (low + high) // 2 // US_PER_SECOND * US_PER_SECOND
            low, high = (middle, high) if offset_us(zone, middle) == before else (low, middle)
        found.append(ClockChange(high, before, after))
    return tuple(found)


def _wall(ticks: int) -> np.datetime64:
    times: UtcTimes = from_microseconds(np.array([ticks]))
    return times[0]  # type: ignore[no-any-return]
