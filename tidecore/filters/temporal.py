"""Times in filters: instants, whole days and intervals, and what an instant is to them.

Every one of them is a closed interval of whole microseconds: a timestamp has equal ends, a date the first and the last
microsecond of its day in UTC, ``..`` is open. So a date is compared as the day that it is: a time equals it all day
long, and is after it from the next midnight on.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.filters.nodes import Condition, Not, TimeWithin
from tidecore.timebase import US_PER_DAY

#: The ends of ``..``: further away than any instant of a timeline.
FIRST_US, LAST_US = -(2**62), 2**62

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIMESTAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?Z")


@dataclass(frozen=True, slots=True)
class Period:
    """From ``first_us`` to ``last_us``, both among it [microseconds since 1970]; what it was written as."""

    first_us: int
    last_us: int
    kind: Literal["timestamp", "date", "interval"]


def read_timestamp(text: str) -> Period | None:
    """Return the instant of ``2026-06-01T04:00:00Z``; None if the text is none."""
    if not _TIMESTAMP.fullmatch(text):
        return None
    instant = _microseconds(text[:-1])
    return None if instant is None else Period(instant, instant, "timestamp")


def read_date(text: str) -> Period | None:
    """Return the day of ``2026-06-01``, in UTC; None if the text is none."""
    if not _DATE.fullmatch(text):
        return None
    first = _microseconds(text)
    return None if first is None else Period(first, first + US_PER_DAY - 1, "date")


def read_interval(start: str, end: str) -> Period | None:
    """Return the interval between two texts, each a timestamp, a date or ``..``; None if it is none, or runs back."""
    ends = [
        Period(FIRST_US, LAST_US, "interval") if one in ("..", "") else read_timestamp(one) or read_date(one)
        for one in (start, end)
    ]
    if ends[0] is None or ends[1] is None or ends[0].first_us > ends[1].last_us:
        return None
    return Period(ends[0].first_us, ends[1].last_us, "interval")


def _microseconds(text: str) -> int | None:
    try:
        return int(np.datetime64(text, "us").astype(np.int64))
    except ValueError:  # no such day, hour or minute
        return None


def _within(first: int, last: int) -> Condition:
    return TimeWithin(first, last)


#: What ``time <op> period`` means.
COMPARED: Mapping[str, Callable[[Period], Condition]] = {
    "=": lambda one: _within(one.first_us, one.last_us),
    "<>": lambda one: Not(_within(one.first_us, one.last_us)),
    "<": lambda one: _within(FIRST_US, one.first_us - 1),
    "<=": lambda one: _within(FIRST_US, one.last_us),
    ">": lambda one: _within(one.last_us + 1, LAST_US),
    ">=": lambda one: _within(one.first_us, LAST_US),
}

#: What a function of the time and a period means: those that can be true of an instant.
FUNCTIONS: Mapping[str, Callable[[Period], Condition]] = {
    "t_after": COMPARED[">"],
    "t_before": COMPARED["<"],
    "t_intersects": COMPARED["="],
    "t_disjoint": COMPARED["<>"],
    "t_equals": lambda one: (
        _within(one.last_us, one.first_us) if one.kind == "interval" else _within(one.first_us, one.last_us)
    ),
    "t_during": lambda one: _within(one.first_us + 1, one.last_us - 1),
    "t_starts": lambda one: _within(one.first_us, one.first_us),
    "t_finishes": lambda one: _within(one.last_us, one.last_us),
}
#: Those that need an interval on that side.
OF_INTERVALS = frozenset({"t_during", "t_starts", "t_finishes"})
#: ``function(period, time)`` -> the same with the time first.
TURNED: Mapping[str, str] = {
    "t_after": "t_before",
    "t_before": "t_after",
    "t_intersects": "t_intersects",
    "t_disjoint": "t_disjoint",
    "t_equals": "t_equals",
    "t_contains": "t_during",
    "t_startedby": "t_starts",
    "t_finishedby": "t_finishes",
}
#: Those that an instant can have no part in.
NEVER = frozenset({"t_meets", "t_metby", "t_overlaps", "t_overlappedby"})
