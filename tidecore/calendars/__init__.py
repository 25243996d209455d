"""Wall-clock patterns (weekly hours, seasons, dates) and the UTC spans at which the clocks of a zone show them."""

from tidecore.calendars.changes import ClockChange, changes_between, clock_changes
from tidecore.calendars.free_time import FreeTime
from tidecore.calendars.patterns import DateRange, Hours, Season, Weekday, WeeklyHours
from tidecore.calendars.sets import clipped, difference, holds_at, intersection, merged
from tidecore.calendars.wall_clock import spans, wall_spans

__all__ = [
    "ClockChange",
    "DateRange",
    "FreeTime",
    "Hours",
    "Season",
    "Weekday",
    "WeeklyHours",
    "changes_between",
    "clipped",
    "clock_changes",
    "difference",
    "holds_at",
    "intersection",
    "merged",
    "spans",
    "wall_spans",
]
