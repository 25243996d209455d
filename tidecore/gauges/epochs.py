"""Times written as a number of days, hours or seconds since an epoch."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges.civil import civil_microseconds
from tidecore.gauges.zones import parse_offset
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND
from tidecore.units import FloatArray, IntArray

_LENGTHS: dict[str, int] = {
    "microsecond": 1, "us": 1,
    "millisecond": 1000, "msec": 1000, "ms": 1000,
    "second": US_PER_SECOND, "sec": US_PER_SECOND, "s": US_PER_SECOND,
    "minute": US_PER_MINUTE, "min": US_PER_MINUTE,
    "hour": US_PER_HOUR, "hr": US_PER_HOUR, "h": US_PER_HOUR,
    "day": US_PER_DAY, "d": US_PER_DAY,
}  # fmt: skip

#: Counts with a name: length of one, the count at 1970-01-01T00:00 in microseconds, and the offset the name implies.
_NAMED: dict[str, tuple[int, int, int | None]] = {
    "matlab": (US_PER_DAY, 719_529 * US_PER_DAY, None),
    "excel": (US_PER_DAY, 25_569 * US_PER_DAY, None),
    "julian": (US_PER_DAY, 2_440_587 * US_PER_DAY + US_PER_DAY // 2, 0),
    "mjd": (US_PER_DAY, 40_587 * US_PER_DAY, 0),
    "unix": (US_PER_SECOND, 0, 0),
}

#: What may be said about times that are numbers.
ACCEPTED = (
    "unit and epoch of times that are numbers, as 'days since 1700-01-01' or 'seconds since 1970-01-01 00:00 UTC', "
    "or 'matlab' (datenum), 'excel' (1900 dates), 'julian' (date), 'mjd', 'unix' (seconds)"
)

_SINCE = re.compile(r"([a-z]+)\s+since\s+(.+)", re.IGNORECASE)
_EPOCH = re.compile(
    r"([0-9]{1,4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ]+([0-9]{1,2}):([0-9]{1,2})(?::([0-9]{1,2}(?:\.[0-9]*)?))?)?"
    r"\s*([A-Z+-].*)?",
    re.IGNORECASE,
)
#: Counts beyond this many microseconds are clipped to it, and lie outside every span that is computed.
_FAR_US = 4e17


@dataclass(frozen=True, slots=True)
class TimeUnit:
    """A count of time since an epoch.

    Attributes
    ----------
    length_us : int
        Length of one [microseconds].
    epoch_us : int
        Where the count is zero [microseconds since 1970-01-01T00:00 on the clock of the count].
    offset_us : int or None
        Offset of that clock from UTC [microseconds], None where the unit does not say.
    """

    length_us: int
    epoch_us: int
    offset_us: int | None

    @classmethod
    def parse(cls, text: str) -> TimeUnit | None:
        """Return the unit that ``text`` names, None if it names none.

        Months and years since an epoch have no fixed length and are none.
        """
        named = _NAMED.get(text.strip().lower())
        if named is not None:
            length_us, at_1970_us, offset_us = named
            return cls(length_us, -at_1970_us, offset_us)
        since = _SINCE.fullmatch(text.strip())
        if since is None:
            return None
        name = since[1].lower()
        known_us = _LENGTHS.get(name, _LENGTHS.get(name.removesuffix("s")))
        epoch = _EPOCH.fullmatch(since[2].strip())
        if known_us is None or epoch is None:
            return None
        epoch_us = _epoch_microseconds(epoch)
        offset_us = None if epoch[7] is None else parse_offset(epoch[7])
        if epoch_us is None or (epoch[7] is not None and offset_us is None):
            return None
        return cls(known_us, epoch_us, offset_us)

    @property
    def resolution_us(self) -> int:
        """What instants are rounded to [microseconds]: whole seconds for a count of minutes, hours or days."""
        return US_PER_SECOND if self.length_us >= US_PER_MINUTE else 1

    def local_microseconds(self, counts: FloatArray) -> tuple[IntArray, float]:
        """Return ``counts`` on the clock of the unit.

        Parameters
        ----------
        counts : float64 array, shape (n,)
            Finite numbers.

        Returns
        -------
        tuple
            Microseconds since 1970-01-01T00:00 on that clock, shape (n,), and the largest step that rounding to
            `resolution_us` moved one by [s].

        Notes
        -----
        Seven decimals of a day are 9 ms: a column of day numbers says 00:59:59.997 where it means one o'clock, so
        counts of minutes, hours and days are rounded to the whole second and to nothing coarser.
        """
        near = np.clip(counts, -_FAR_US / self.length_us, _FAR_US / self.length_us)
        whole = np.floor(near)
        exact = whole.astype(np.int64) * self.length_us + self.epoch_us
        exact = exact + np.rint((near - whole) * self.length_us).astype(np.int64)
        step = self.resolution_us
        rounded = (exact + step // 2) // step * step
        moved = float(np.max(np.abs(rounded - exact), initial=0)) / US_PER_SECOND
        return rounded, moved


def _epoch_microseconds(match: re.Match[str]) -> int | None:
    """Return the date and clock of an epoch in microseconds since 1970, None if there is no such day."""
    names = ("year", "month", "day", "hour", "minute", "second")
    fields = {name: np.array([float(text or 0)]) for name, text in zip(names, match.groups()[:6], strict=True)}
    try:
        return int(civil_microseconds(fields, [0])[0])
    except RecordUnreadable:
        return None
