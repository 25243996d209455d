"""A clock read minute by minute, as a person reads it: what the tests of calendars are held against."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable
from typing import Any

import numpy as np

from tidecore.timebase import US_PER_MINUTE, TimeSpan, from_microseconds

EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
ZONES = sorted(zoneinfo.available_timezones() - {"localtime", "Factory"})


def span_of(start_us: int, end_us: int) -> TimeSpan:
    start, end = from_microseconds(np.array([start_us, end_us]))
    return TimeSpan(start, end)


def utc(*texts: str) -> list[int]:
    return [int(np.datetime64(text, "us").astype(np.int64)) for text in texts]


def at_every_minute(
    said: Callable[[datetime.datetime], Any], zone: zoneinfo.ZoneInfo, start_us: int, end_us: int
) -> list[Any]:
    """What is said of each minute from start to end, by what a clock in the zone shows then."""
    minutes = range(start_us, end_us, US_PER_MINUTE)
    return [said((EPOCH + datetime.timedelta(microseconds=minute)).astimezone(zone)) for minute in minutes]


def holds(document: dict[str, Any], shown: datetime.datetime) -> bool:
    """Whether a clock that shows this is in the pattern: read as a person reads it, from the document alone."""
    minute = shown.hour * 60 + shown.minute
    hours = document.get("hours")
    if hours is None:
        return on_day(document, shown.date())
    start, end = (int(hours[name][:2]) * 60 + int(hours[name][3:]) for name in ("from", "to"))
    if start < end:
        return start <= minute < end and on_day(document, shown.date())
    return (minute >= start and on_day(document, shown.date())) or (
        minute < end and on_day(document, shown.date() - datetime.timedelta(days=1))
    )


def on_day(document: dict[str, Any], day: datetime.date) -> bool:
    weekdays, season, dates = (document.get(name) for name in ("weekdays", "season", "dates"))
    if weekdays is not None and day.strftime("%A").lower() not in weekdays:
        return False
    if season is not None:
        first, last, today = season["from"], season["to"], day.strftime("%m-%d")
        inside = first <= today <= last if first <= last else today >= first or today <= last
        if not inside:
            return False
    return dates is None or any(one["from"] <= day.isoformat() <= one["to"] for one in dates)
