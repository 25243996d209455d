"""Instants as text: RFC 3339 to the nearest second, in UTC with Z or with the offsets of a zone."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray

_EPOCH, _MICROSECOND = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
_NAIVE_EPOCH = _EPOCH.replace(tzinfo=None)


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
    if isinstance(time, int):
        ticks = time
    elif isinstance(time, datetime):
        ticks = (time - _EPOCH) // _MICROSECOND
    else:
        found = time.item()
        if not isinstance(found, datetime):
            found = time.astype("datetime64[us]").item()
        ticks = (found - _NAIVE_EPOCH) // _MICROSECOND
    second = (ticks + US_PER_SECOND // 2) // US_PER_SECOND
    if zone is None:
        # Put together rather than formatted: a plan holds a thousand instants a mark, of few days.
        day, rest = divmod(second, 86_400)
        return _day(day) + _clock(rest)
    return datetime.fromtimestamp(second, zone).isoformat(timespec="seconds")


@lru_cache(maxsize=4096)
def _day(number: int) -> str:
    return (_EPOCH + timedelta(days=number)).date().isoformat()


@lru_cache(maxsize=4096)
def _clock(second: int) -> str:
    return f"T{second // 3600:02}:{second // 60 % 60:02}:{second % 60:02}Z"


def local_date(time: np.datetime64, zone: zoneinfo.ZoneInfo) -> str:
    """Return the date of an instant by the clocks of ``zone``, to the nearest second."""
    return write_instant(time, zone)[:10]
