"""When a mark may be reached and fished, and the way back from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Annotated, Literal, Self, get_args

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from tidecore.calendars import WeeklyHours, difference, merged, wall_spans
from tidecore.calendars.patterns import CalendarDate
from tidecore.documents import Document, Flaw, Name, Note, Number, fault, refuse
from tidecore.place.ground import Bed, Level
from tidecore.timebase import US_PER_DAY
from tidecore.units import IntArray

AccessKind = Literal[
    "gate",
    "car_park",
    "pier_hours",
    "gale_closure",
    "bathing",
    "nesting",
    "booked_match",
    "no_fishing_zone",
    "other",
]
ACCESS_KINDS: tuple[AccessKind, ...] = get_args(AccessKind)

#: Most entries of a calendar, and most legs of a way back.
MOST_ENTRIES, MOST_LEGS = 100, 50

#: A calendar is tried on these years: every date falls on every weekday in them, 29 February too.
_TRIED = (np.datetime64("2000-01-01"), np.datetime64("2028-01-01"))

#: Of some patterns: the times at which one of them holds.
Finder = Callable[[Sequence[WeeklyHours]], IntArray]


class AccessEntry(WeeklyHours):
    """One entry of the access calendar of a mark: ``closed`` or ``open`` at the times that it names, by its clocks.

    A closed entry that holds closes the mark. Where a kind has open entries, all other time is closed by that kind.
    A gale closure holds while the mean wind or the significant wave height is over what it names.
    """

    kind: AccessKind
    state: Literal["open", "closed"]
    wind_over_m_per_s: Annotated[Number, Field(ge=0.0, le=60.0)] | None = None
    wave_height_over_m: Annotated[Number, Field(ge=0.0, le=20.0)] | None = None
    source: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        refuse(self, list(self._contradictions()))
        return self

    @property
    def by_the_sea(self) -> bool:
        """Whether it hangs on wind or waves."""
        return self.wind_over_m_per_s is not None or self.wave_height_over_m is not None

    def _contradictions(self) -> Iterator[Flaw]:
        if self.kind != "gale_closure":
            for name in ("wind_over_m_per_s", "wave_height_over_m"):
                if getattr(self, name) is not None:
                    problem = f"is {getattr(self, name):g} in an entry of the kind {self.kind}"
                    yield Flaw((name,), problem, "it in an entry of the kind gale_closure alone")
            return
        if self.state == "open":
            yield Flaw(("state",), "is 'open' in a gale closure", "'closed'")
        if not self.by_the_sea:
            yield Flaw(
                ("wind_over_m_per_s",),
                "is not given, nor wave_height_over_m",
                "one of the two: over which wind or waves it closes",
            )


class Leg(Document):
    """A part of the way back: its lowest sill above the ground datum [m], what it leads over, length and time.

    ``minutes`` are those that somebody took with all his gear. ``surveyed`` is the day on which it was looked at.
    """

    name: Name
    lowest_sill_m: Level
    bed: Bed
    length_m: Annotated[Number, Field(gt=0.0, le=20_000.0)]
    minutes: Annotated[Number, Field(gt=0.0, le=600.0)] | None = None
    surveyed: CalendarDate | None = None


def closed_by_clock(entries: Sequence[AccessEntry], always: IntArray, find: Finder) -> IntArray:
    """Return when a calendar closes the mark whatever the sea does.

    Parameters
    ----------
    entries : sequence of AccessEntry
        The calendar.
    always : int64 array, shape ``(1, 2)``
        All the time there is.
    find : callable
        Of some patterns: the part of that time at which one of them holds.

    Returns
    -------
    int64 array, shape ``(n, 2)``
        Half-open spans, ascending and apart.
    """
    found = [find([one for one in entries if one.state == "closed" and not one.by_the_sea])]
    for kind in ACCESS_KINDS:
        opened = [one for one in entries if one.state == "open" and one.kind == kind]
        if opened:
            found.append(difference(always, find(opened)))
    return merged(np.concatenate(found))


def _is_of_one_mind(entries: tuple[AccessEntry, ...]) -> tuple[AccessEntry, ...]:
    """Refuse entries that say the same or the opposite of another, and a calendar that never opens."""
    flaws = list(_said_before(entries))
    refuse(entries, flaws)
    if entries and not _ever_opens(entries):
        raise fault("never opens: at every time of every year an entry closes it", "a calendar that opens some time")
    return entries


def _said_before(entries: tuple[AccessEntry, ...]) -> Iterator[Flaw]:
    seen: dict[tuple[object, ...], tuple[int, AccessEntry]] = {}
    for place, one in enumerate(entries):
        when = (one.kind, one.weekdays, one.hours, one.season, one.dates)
        key = (*when, one.wind_over_m_per_s, one.wave_height_over_m)
        if key in seen:
            earlier, other = seen[key]
            again = one.state == other.state
            problem = f"says {'again what' if again else 'the opposite of what'} access.{earlier} says"
            yield Flaw((place,), problem, "each time and kind once, open or closed")
        else:
            seen[key] = (place, one)


def _ever_opens(entries: tuple[AccessEntry, ...]) -> bool:
    """Return whether there is a minute at which clocks find the mark open, in 28 years and about the dates named."""
    dated = [day for one in entries for dates in one.dates or () for day in dates.days]
    # One year first: it decides for nearly every calendar.
    tried = [(_TRIED[0], np.datetime64("2001-01-01")), _TRIED]
    if dated:
        tried.append((min(dated), max(dated) + np.timedelta64(1, "D")))
    return any(_opens_in(entries, *days) for days in tried)


def _opens_in(entries: tuple[AccessEntry, ...], first: np.datetime64, last: np.datetime64) -> bool:
    start, end = (int(day.astype("datetime64[D]").astype(np.int64)) * US_PER_DAY for day in (first, last))
    always = np.array([[start, end]], dtype=np.int64)

    def find(patterns: Sequence[WeeklyHours]) -> IntArray:
        parts = [wall_spans(one, start, end) for one in patterns]
        return merged(np.concatenate([np.empty((0, 2), dtype=np.int64), *parts]))

    return len(difference(always, closed_by_clock(entries, always, find))) > 0


#: When a mark may be reached and fished; empty where nobody said.
AccessCalendar = Annotated[tuple[AccessEntry, ...], Field(max_length=MOST_ENTRIES), AfterValidator(_is_of_one_mind)]
#: The way back from a mark, from the peg to safe ground.
WayBack = Annotated[tuple[Leg, ...], Field(max_length=MOST_LEGS)]
