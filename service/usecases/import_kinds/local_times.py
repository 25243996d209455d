"""Times by the clocks of a mark, as rows of somebody else's tables tell them, in UTC; or why that cannot be said."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tidecore.documents import shown
from tidecore.errors import Fault

_LOCAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?")


def is_local(value: Any) -> bool:
    """Return whether a value is a date and a time without an offset."""
    return isinstance(value, str) and _LOCAL.fullmatch(value) is not None


def in_utc(text: str, zone: ZoneInfo, field: str) -> str | Fault:
    """Return what clocks of ``zone`` show, in UTC.

    A time that they show twice, or never, is a fault: which is meant, only who wrote it knows. An offset in the cell
    says it.
    """
    try:
        shown_time = datetime.fromisoformat(text)
    except ValueError:
        return Fault(field, f"is {shown(text)}, which is no time of the calendar", "a date and a time that there are")
    first, second = (shown_time.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    found = first.astimezone(UTC)
    if found.astimezone(zone).replace(tzinfo=None) != shown_time:
        return Fault(field, f"is {text}, which the clocks of {zone.key} skip", "a time that they show")
    if first.utcoffset() != second.utcoffset():
        readings = f"{first.isoformat(timespec='minutes')} or {second.isoformat(timespec='minutes')}"
        return Fault(field, f"is {text}, which the clocks of {zone.key} show twice", f"one of them: {readings}")
    return found.replace(tzinfo=None).isoformat() + "Z"


def joined(day: Any, clock: Any, field: str, after: Any = None) -> str | Fault:
    """Return a date and a time of the day as one; on the day after, where that is not later than the time ``after``."""
    try:
        first = date.fromisoformat(day) if isinstance(day, str) and len(day) == 10 else None
    except ValueError:
        first = None
    if first is None:
        return Fault("local.date", f"is {shown(day)}" if day else "is missing", "a date, in the order of date_format")
    text = f"{first.isoformat()}T{clock}"
    try:
        known = is_local(text) and bool(datetime.fromisoformat(text))
    except ValueError:
        known = False
    if not known:
        return Fault(field, f"is {shown(clock)}" if clock else "is missing", "a time of the day as HH:MM")
    if isinstance(after, str) and str(clock) <= after:
        text = f"{(first + timedelta(days=1)).isoformat()}T{clock}"
    return text


def beside_local(field: str, local: Iterable[str]) -> Fault:
    """Return the fault of an instant that is given beside the date and time of clocks that say it too."""
    told = ", ".join(f"local.{name}" for name in local)
    return Fault(field, f"is given beside {told}", f"{field}, or {told}: which of them holds, only who wrote it knows")
