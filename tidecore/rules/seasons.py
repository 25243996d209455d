"""Parts of the year, from one day to another, both included; they come back every year."""

from __future__ import annotations

import re
from typing import Annotated

import numpy as np
from pydantic import AfterValidator, Field

from tidecore.place import Document, Name, fault
from tidecore.units import AnyArray, BoolArray

#: Days of the year as the factor ``calendar_day`` counts them, 29 February always among them.
YEAR_DAYS = 366
_MONTH_DAYS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_DAY = re.compile(r"(\d\d)-(\d\d)")


def calendar_day_of(text: str) -> int | None:
    """Return which day of the year ``"MM-DD"`` is, 1 to 366; None if it is none.

    >>> calendar_day_of("03-01")
    61
    """
    found = _DAY.fullmatch(text)
    if found is None:
        return None
    month, day = int(found[1]), int(found[2])
    if not (1 <= month <= 12 and 1 <= day <= _MONTH_DAYS[month - 1]):
        return None
    return sum(_MONTH_DAYS[: month - 1]) + day


def _day(text: str) -> str:
    if calendar_day_of(text) is None:
        raise fault(f"is {ascii(text)[:60]}", "month and day of every year as 'MM-DD', as '11-01'")
    return text


DayText = Annotated[str, Field(max_length=5), AfterValidator(_day)]


class YearSpan(Document):
    """From one day to another of every year, both included by the clocks of the mark; past the new year if it must."""

    from_: Annotated[DayText, Field(alias="from")]
    to: DayText

    @property
    def first_day(self) -> int:
        """Its first day, 1 to 366."""
        return calendar_day_of(self.from_) or 0

    @property
    def last_day(self) -> int:
        """Its last day, 1 to 366."""
        return calendar_day_of(self.to) or 0

    @property
    def length_days(self) -> int:
        """How many days it has, 29 February counted."""
        return (self.last_day - self.first_day) % YEAR_DAYS + 1

    def holds(self, calendar_days: AnyArray) -> BoolArray:
        """Return which values of the factor ``calendar_day`` lie in it."""
        return np.asarray((calendar_days - self.first_day) % YEAR_DAYS < self.length_days)

    def __str__(self) -> str:
        """Say it in words."""
        return f"{self.from_} to {self.to}"


class Season(YearSpan):
    """A closed or release-only season, and who says so."""

    source: Name
