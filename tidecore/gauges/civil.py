"""Calendar fields -> microseconds, for whole columns at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.timebase import EARLIEST, LATEST, US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND
from tidecore.units import BoolArray, FloatArray, IntArray

#: Lines of the file that rows stand on, 1-based.
Lines = Sequence[int] | IntArray

#: Lowest and highest value of every field, and its length in microseconds (0 for the fields of the date).
FIELDS: dict[str, tuple[int, int, int]] = {
    "year": (1, 9999, 0),
    "month": (1, 12, 0),
    "day": (1, 31, 0),
    "day_of_year": (1, 366, 0),
    "hour": (0, 23, US_PER_HOUR),
    "minute": (0, 59, US_PER_MINUTE),
    "second": (0, 59, US_PER_SECOND),
    "microsecond": (0, 999_999, 1),
}


def civil_microseconds(fields: Mapping[str, IntArray | FloatArray], lines: Lines) -> IntArray:
    """Return calendar fields as microseconds since 1970-01-01T00:00 on the same clock.

    Parameters
    ----------
    fields : mapping
        Columns by the names of `FIELDS`, each of shape (n,): year with month and day, or year with day_of_year; the
        fields of the clock that are absent are zero. Hour, minute and second may have a fraction (12.5 h is half
        past noon), which is rounded to the microsecond.
    lines : integers
        Line of the file that each row stands on, for errors.

    Raises
    ------
    RecordUnreadable
        For the first row with a field out of range, or a day its month does not have. Hour 24 and second 60 are
        out of range.

    Notes
    -----
    Proleptic Gregorian calendar, no leap seconds.
    """
    for name, column in fields.items():
        low, high, length = FIELDS[name]
        outside = ~((column >= low) & (column < high + 1))
        _refuse(outside, lines, column, name, f"{low} to {high}")
        if not length:
            _refuse(column != np.floor(column), lines, column, name, "a whole number")
    year = np.asarray(fields["year"], dtype=np.int64)
    if "day_of_year" in fields:
        days = _days(year, np.ones_like(year), fields["day_of_year"])
        after = days >= _days(year + 1, np.ones_like(year), 1)
        _refuse(after, lines, fields["day_of_year"], "day_of_year", "a day that the year has")
    else:
        month = np.asarray(fields["month"], dtype=np.int64)
        days = _days(year, month, fields["day"])
        after = days >= _days(year + month // 12, month % 12 + 1, 1)
        _refuse(after, lines, fields["day"], "day", "a day that the month has")
    ticks: IntArray = days * US_PER_DAY
    for name, column in fields.items():
        length = FIELDS[name][2]
        if length:
            ticks = ticks + np.rint(np.asarray(column) * length).astype(np.int64)
    return ticks


def refuse_outside_span(times_us: IntArray, lines: Lines | None) -> None:
    """Raise `RecordUnreadable` for the first instant outside the years that tidecore computes."""
    low, high = int(EARLIEST.astype(np.int64)), int(LATEST.astype(np.int64))
    outside = np.flatnonzero((times_us < low) | (times_us > high))
    if outside.size:
        first = int(outside[0])
        raise RecordUnreadable(
            f"the time {times_us[first].astype('datetime64[us]')} lies outside what can be computed",
            None if lines is None else int(lines[first]),
            f"times from {EARLIEST.astype('datetime64[D]')} to {LATEST.astype('datetime64[D]')}; "
            "a year or an epoch far off is often a wrong time format or unit",
        )


def _days(year: IntArray, month: IntArray, day: Any) -> IntArray:
    """Return days since 1970-01-01 of ``day`` counted on from the first of ``month``."""
    months = (year - 1970) * 12 + month - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return np.asarray(first + np.asarray(day, dtype=np.int64) - 1, dtype=np.int64)


def _refuse(bad: BoolArray, lines: Lines, column: IntArray | FloatArray, name: str, expected: str) -> None:
    """Raise `RecordUnreadable` for the first row marked ``bad``."""
    if bad.any():
        first = int(np.argmax(bad))
        raise RecordUnreadable(f"the {name} is {column[first]:g}", int(lines[first]), expected)
