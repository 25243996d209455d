"""Documents of wall-clock patterns: hours of the day, days of the week, seasons, dates."""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Literal, Self, get_args

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from tidecore.documents import SOME, Document, fault, not_empty, shown
from tidecore.units import BoolArray, UtcTimes

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
WEEKDAYS: tuple[Weekday, ...] = get_args(Weekday)

#: Dates lie in these years.
FIRST_YEAR, LAST_YEAR = 1900, 2199
#: Longest range of dates [days].
LONGEST_DATES = 3660
_DAYS_OF_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_EPOCH_WEEKDAY = 3  # 1 January 1970 was a Thursday


def _clock_time(text: str) -> str:
    """Refuse what no clock shows; 24:00 is the end of a day."""
    if text != "24:00" and not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise fault(f"is {shown(text)}", "a time of the day as 'HH:MM', 00:00 to 24:00")
    return text


def _month_day(text: str) -> str:
    """Refuse what is no day of a leap year."""
    found = re.fullmatch(r"(0[1-9]|1[0-2])-(\d\d)", text)
    if found is None or not 1 <= int(found[2]) <= _DAYS_OF_MONTH[int(found[1]) - 1]:
        raise fault(f"is {shown(text)}", "a day of the year as 'MM-DD'")
    return text


def _calendar_date(text: str) -> str:
    """Refuse what is no date."""
    try:
        year = datetime.date.fromisoformat(text).year if re.fullmatch(r"\d{4}-\d\d-\d\d", text) else 0
    except ValueError:
        year = 0
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise fault(f"is {shown(text)}", f"a date as 'YYYY-MM-DD', from {FIRST_YEAR} to {LAST_YEAR}")
    return text


def _each_once(days: tuple[Weekday, ...]) -> tuple[Weekday, ...]:
    if len(set(days)) < len(days):
        raise fault("names a day twice", "every day once")
    return days


ClockTime = Annotated[str, AfterValidator(_clock_time)]
MonthDay = Annotated[str, AfterValidator(_month_day)]
CalendarDate = Annotated[str, AfterValidator(_calendar_date)]


class Hours(Document):
    """A part of the day from ``from`` to before ``to``, as clocks show it; past midnight if ``to`` is the earlier.

    Past midnight it belongs to the day on which it began.
    """

    from_: Annotated[ClockTime, Field(alias="from")]
    to: ClockTime

    @model_validator(mode="after")
    def _has_a_length(self) -> Self:
        if self.minutes[0] % 1440 == self.minutes[1] % 1440 and self.minutes != (0, 1440):
            problem = f"go from {self.from_} to {self.to}, which is no time or the whole day"
            raise fault(problem, "an end apart from the start, or 00:00 to 24:00 for the whole day")
        return self

    @property
    def minutes(self) -> tuple[int, int]:
        """Start and end as clocks show them [minutes after midnight]."""
        start, end = (60 * int(text[:2]) + int(text[3:]) for text in (self.from_, self.to))
        return start, end


class Season(Document):
    """Days of every year from ``from`` to ``to``, both of them in it; past new year if ``to`` is the earlier.

    29 February is a day of leap years alone: a season that begins on it begins on 1 March in the others.
    """

    from_: Annotated[MonthDay, Field(alias="from")]
    to: MonthDay

    def holds_on(self, days: UtcTimes) -> BoolArray:
        """Return which of ``days`` (``datetime64[D]``) lie in the season."""
        months = days.astype("datetime64[M]")
        # Month and day as one number that compares as they do.
        number = (months.astype(np.int64) % 12 + 1) * 100 + (days - months.astype("datetime64[D]")).astype(np.int64) + 1
        first, last = self._ends
        begun, going_on = number >= first, number <= last
        return np.asarray(begun & going_on if first <= last else begun | going_on)

    def holds(self, day: datetime.date) -> bool:
        """Return whether one day lies in the season."""
        number, (first, last) = day.month * 100 + day.day, self._ends
        return first <= number <= last if first <= last else number >= first or number <= last

    @property
    def _ends(self) -> tuple[int, int]:
        """First and last day, as month and day in one number."""
        return int(self.from_.replace("-", "")), int(self.to.replace("-", ""))


class DateRange(Document):
    """Days from ``from`` to ``to``, both of them in it."""

    from_: Annotated[CalendarDate, Field(alias="from")]
    to: CalendarDate

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        first, last = self.days
        if not np.timedelta64(0, "D") <= last - first < np.timedelta64(LONGEST_DATES, "D"):
            expected = f"an end on or after the start, at most {LONGEST_DATES} days in all"
            raise fault(f"goes from {self.from_} to {self.to}", expected)
        return self

    @property
    def days(self) -> tuple[np.datetime64, np.datetime64]:
        """First and last day."""
        return np.datetime64(self.from_, "D"), np.datetime64(self.to, "D")

    def holds_on(self, days: UtcTimes) -> BoolArray:
        """Return which of ``days`` (``datetime64[D]``) lie in the range."""
        first, last = self.days
        return np.asarray((days >= first) & (days <= last))


Weekdays = Annotated[
    tuple[Weekday, ...],
    Field(max_length=7, json_schema_extra=SOME),
    AfterValidator(not_empty),
    AfterValidator(_each_once),
]
Dates = Annotated[tuple[DateRange, ...], Field(max_length=100, json_schema_extra=SOME), AfterValidator(not_empty)]


class WeeklyHours(Document):
    """When clocks show one of the ``hours``, on one of the ``weekdays``, in the ``season``, on one of the ``dates``.

    What is left out sets no bound; with nothing given it is always. Hours that pass midnight belong to the day on
    which they begin: Friday 20:00 to 02:00 ends on Saturday.
    """

    weekdays: Weekdays | None = None
    hours: Hours | None = None
    season: Season | None = None
    dates: Dates | None = None

    @model_validator(mode="after")
    def _comes(self) -> Self:
        """Refuse dates on none of which the rest holds."""
        for place, one in enumerate(self.dates or ()):
            first, last = one.days
            if not self.holds_on(np.arange(first, last + np.timedelta64(1, "D"))).any():
                problem = f"never comes: its dates {place + 1} hold no day of its season and weekdays"
                raise fault(problem, "dates in the season, with one of the weekdays among them")
        return self

    def holds_on(self, days: UtcTimes) -> BoolArray:
        """Return on which of ``days`` (``datetime64[D]``) it holds for its hours."""
        found = np.ones(days.shape, dtype=np.bool_)
        if self.weekdays is not None:
            numbers = (days.astype("datetime64[D]").astype(np.int64) + _EPOCH_WEEKDAY) % 7
            found &= np.isin(numbers, [WEEKDAYS.index(day) for day in self.weekdays])
        if self.season is not None:
            found &= self.season.holds_on(days)
        if self.dates is not None:
            found &= np.any([one.holds_on(days) for one in self.dates], axis=0)
        return found
