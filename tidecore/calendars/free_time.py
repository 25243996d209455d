"""When an angler is free: a weekly pattern by the clocks of a place, days off it and days besides it."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from tidecore.calendars.patterns import WeeklyHours
from tidecore.calendars.sets import difference, intersection, merged
from tidecore.calendars.wall_clock import spans, wall_spans
from tidecore.documents import Document, fault
from tidecore.timebase import US_PER_DAY, TimeSpan
from tidecore.units import IntArray

Patterns = Annotated[tuple[WeeklyHours, ...], Field(max_length=50)]


class FreeTime(Document):
    """When somebody is free, as the clocks at the mark show it: the ``weekly`` hours, less ``off``, and also ``on``.

    ``off`` and ``on`` are exceptions on certain dates, of certain hours or whole days. What is off and on at once is
    refused: nobody knows which is meant.
    """

    weekly: Patterns = ()
    off: Patterns = ()
    on: Patterns = ()

    @model_validator(mode="after")
    def _can_be_read(self) -> Self:
        if not self.weekly and not self.on:
            raise fault("is never: it has neither weekly hours nor days on", "hours in weekly or on")
        for name, patterns in (("off", self.off), ("on", self.on)):
            for place, one in enumerate(patterns):
                if one.dates is None:
                    raise fault(f"has no dates in {name} {place + 1}", "the dates of every exception")
        for k, off in enumerate(self.off):
            for i, on in enumerate(self.on):
                if len(intersection(_wall(off), _wall(on))):
                    raise fault(
                        f"contradicts itself: off {k + 1} and on {i + 1} hold at once", "one of them, or hours apart"
                    )
        return self

    def spans(self, zone: zoneinfo.ZoneInfo, span: TimeSpan) -> IntArray:
        """Return when it is free time in ``span``, by the clocks of ``zone``.

        Returns
        -------
        int64 array, shape ``(n, 2)``
            Half-open spans [microseconds since 1970], ascending and apart.

        Notes
        -----
        A time that the clocks skip is not there, one that they show twice counts twice; see `clock_changes`.
        """
        weekly, off, on = (spans(one, zone, span) for one in (self.weekly, self.off, self.on))
        return merged(np.concatenate((difference(weekly, off), on)))


def _wall(pattern: WeeklyHours) -> IntArray:
    """Return when a pattern with dates holds, as clocks show it."""
    found = []
    for one in pattern.dates or ():
        first, last = (int(day.astype(np.int64)) for day in one.days)
        only = pattern.model_copy(update={"dates": (one,)})
        found.append(wall_spans(only, first * US_PER_DAY, (last + 2) * US_PER_DAY))
    return merged(np.concatenate(found)) if found else np.empty((0, 2), dtype=np.int64)
