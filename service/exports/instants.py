"""Instants as text: RFC 3339 to the nearest second, in UTC with Z or with the offsets of a zone."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime, timedelta

import numpy as np

from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray

_HALF_SECOND = timedelta(microseconds=500_000)


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
    if isinstance(time, datetime):
        moment = time.astimezone(UTC).replace(tzinfo=None)
    elif isinstance(time, int):
        moment = datetime(1970, 1, 1) + timedelta(microseconds=time)  # noqa: DTZ001 - UTC, as everywhere inside
    else:
        found = time.item()
        moment = found if isinstance(found, datetime) else time.astype("datetime64[us]").item()
    moment += _HALF_SECOND
    if zone is None:
        # Cut off rather than asked for by name: an answer holds hundreds of instants.
        return moment.isoformat()[:19] + "Z"
    return moment.replace(tzinfo=UTC).astimezone(zone).isoformat(timespec="seconds")


def local_date(time: np.datetime64, zone: zoneinfo.ZoneInfo) -> str:
    """Return the date of an instant by the clocks of ``zone``, to the nearest second."""
    return write_instant(time, zone)[:10]
