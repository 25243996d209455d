"""Times by the clocks of a mark, as rows of somebody else's tables tell them, in UTC; or why that cannot be said.

A time that clocks show twice is one of two: which is meant, only who wrote it knows. An offset in the cell says it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from service.imports.mapping import ColumnMapping
from service.usecases.import_kinds.drafts import Draft
from tidecore.documents import shown
from tidecore.errors import Fault

_LOCAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_CLOCK = re.compile(r"\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?")

#: How the file writes an instant with its offset.
Write = Callable[[datetime], str]

P = TypeVar("P")


def is_local(value: Any) -> bool:
    """Return whether a value is a date and a time without an offset."""
    return isinstance(value, str) and _LOCAL.fullmatch(value) is not None


def take_clocks(draft: Draft, mapping: ColumnMapping, names: Sequence[str]) -> tuple[str | None, list[str | None]]:
    """Take ``local`` out of a row, and return its date and those of its times that are asked for by ``names``; None is
    of one that is wrong, which is then among the faults of the row."""
    local = draft.document.pop("local")
    day, clocks = local.get("date"), [local.get(name) for name in names]
    if _parsed(day, _DAY, date.fromisoformat) is None:
        none = ", and there is no such day" if isinstance(day, str) and _DAY.fullmatch(day) else ""
        draft.refuse("local.date", _problem(day) + none, f"a day of the calendar, as {mapping.date_format}")
        day = None
    for place, (name, clock) in enumerate(zip(names, clocks, strict=True)):
        if _parsed(clock, _CLOCK, time.fromisoformat) is None:
            draft.refuse(f"local.{name}", _problem(clock), "a time of the day as HH:MM")
            clocks[place] = None
    return day, clocks


def _parsed(value: Any, pattern: re.Pattern[str], parse: Callable[[str], P]) -> P | None:
    try:
        return parse(value) if isinstance(value, str) and pattern.fullmatch(value) else None
    except ValueError:
        return None


def _problem(value: Any) -> str:
    return "is missing" if value is None or value == "" else f"is {shown(value)}"


def ended(day: str, clock: str, after: str, zone: ZoneInfo | None) -> str:
    """Return the date and time of what ended at a ``clock`` and began on ``day`` at the one ``after``; on the next day,
    where it is not later.

    Where that has an offset and this is shown twice, the later of both counts: it is refused then, not put off a day.
    """
    begun, end = (datetime.fromisoformat(f"{day}T{text}") for text in (after, clock))
    if begun.tzinfo is not None and end.tzinfo is None and zone is not None and len(_readings(end, zone)) > 1:
        later = _readings(end, zone)[-1] > begun
    elif begun.tzinfo is not None and end.tzinfo is not None:
        later = end > begun
    else:
        later = end.replace(tzinfo=None) > begun.replace(tzinfo=None)
    return f"{day if later else (begun.date() + timedelta(days=1)).isoformat()}T{clock}"


def in_utc(text: str, zone: ZoneInfo, field: str, write: Write) -> str | Fault:
    """Return what clocks of ``zone`` show, in UTC; of a time with an offset, where that is theirs then.

    A time that they show twice, or never, is a fault, which offers what is right as the file would ``write`` it.
    """
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        return Fault(field, f"is {shown(text)}, which is no time of the calendar", "a date and a time that there are")
    if told.tzinfo is not None:
        # 05:00-06:00 may be two times of the day as well.
        there = told.astimezone(zone)
        if there.replace(tzinfo=None) == told.replace(tzinfo=None):
            return text
        both = " or ".join(map(write, _readings(told.replace(tzinfo=None), zone)))
        return Fault(field, f"is {text}, an offset that the clocks of {zone.key} do not have then", both)
    readings = _readings(told, zone)
    found = readings[0].astimezone(UTC)
    if found.astimezone(zone).replace(tzinfo=None) != told:
        return Fault(field, f"is {text}, which the clocks of {zone.key} skip", "a time that they show")
    if len(readings) > 1:
        both = " or ".join(map(write, readings))
        return Fault(field, f"is {text}, which the clocks of {zone.key} show twice", f"one of them: {both}")
    return found.replace(tzinfo=None).isoformat() + "Z"


def _readings(told: datetime, zone: ZoneInfo) -> list[datetime]:
    """Return the instants at which clocks may show a time, in their order."""
    first, second = (told.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    fixed = [datetime.fromisoformat(one.isoformat()) for one in (first, second)]
    return fixed if fixed[0] < fixed[1] else fixed[:1]


def write_clock(at: datetime) -> str:
    """Return the time of the day of an instant, with its offset."""
    return at.isoformat(timespec="seconds" if at.second else "minutes").partition("T")[2]


def beside_local(field: str, local: Iterable[str]) -> Fault:
    """Return the fault of an instant that is given beside the date and time of clocks that say it too."""
    # A date that is none is in the fault of its own alone.
    told = ", ".join(f"local.{name}" for name in local) or "local.date"
    return Fault(field, f"is given beside {told}", f"{field}, or {told}: which of them holds, only who wrote it knows")
