"""Instants as text: RFC 3339 to the nearest second, in UTC with Z or with the offsets of a zone."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray

_EPOCH, _DAY_S = datetime(1970, 1, 1, tzinfo=UTC), 86_400
_NAIVE_EPOCH = _EPOCH.replace(tzinfo=None)
_MINUTES = tuple(f"T{minute // 60:02}:{minute % 60:02}" for minute in range(1440))
_SECONDS = tuple(f":{second:02}Z" for second in range(60))


def write_instants(times: AnyArray, zone: zoneinfo.ZoneInfo | None = None) -> list[str | None]:
    """Return instants as text to the nearest second, in UTC or with the offsets of ``zone``; NaT becomes null."""
    ticks = np.asarray(times, dtype="datetime64[us]").view(np.int64)
    missing = np.isnat(np.asarray(times, dtype="datetime64[us]"))
    seconds = np.where(missing, 0, (ticks + US_PER_SECOND // 2) // US_PER_SECOND)
    if zone is None:
        texts = np.datetime_as_string(seconds.astype("datetime64[s]")).tolist()
        return [None if none else text + "Z" for text, none in zip(texts, missing.tolist(), strict=True)]
    return [
        None if none else datetime.fromtimestamp(second, zone).isoformat()
        for second, none in zip(seconds.tolist(), missing.tolist(), strict=True)
    ]


def write_instant(time: np.datetime64 | datetime | int, zone: zoneinfo.ZoneInfo | None = None) -> str:
    """Return one instant as text: a ``datetime64``, an aware datetime, or microseconds since 1970."""
    day, second = _nearest_second(time)
    if zone is None:
        # Put together rather than formatted: a plan holds a thousand instants a mark, of few days.
        return _day(day) + _MINUTES[second // 60] + _SECONDS[second % 60]
    return datetime.fromtimestamp(day * _DAY_S + second, zone).isoformat(timespec="seconds")


def _nearest_second(time: np.datetime64 | datetime | int) -> tuple[int, int]:
    """Return the day since 1970 and the second of it that an instant is nearest to; halves go to the later."""
    if isinstance(time, int):
        return divmod((time + US_PER_SECOND // 2) // US_PER_SECOND, _DAY_S)
    if isinstance(time, datetime):
        since = time - _EPOCH
    else:
        found = time.item()
        since = (found if isinstance(found, datetime) else time.astype("datetime64[us]").item()) - _NAIVE_EPOCH
    second = since.seconds + (2 * since.microseconds >= US_PER_SECOND)
    return (since.days, second) if second < _DAY_S else (since.days + 1, 0)


@lru_cache(maxsize=4096)
def _day(number: int) -> str:
    return (_EPOCH + timedelta(days=number)).date().isoformat()


def local_date(time: np.datetime64, zone: zoneinfo.ZoneInfo) -> str:
    """Return the date of an instant by the clocks of ``zone``, to the nearest second."""
    return write_instant(time, zone)[:10]
