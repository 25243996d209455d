"""Sessions of a plan as iCalendar (RFC 5545): one event each from arriving to leaving, in UTC, with alarms.

The UID follows from the mark and the key of the session, which it keeps from plan to plan; SEQUENCE is how often it
changed. What is gone since the plan before is told once as CANCELLED.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from service.exports.icalendar import CONTENT_TYPE, PRODUCT, uid_of, whole_second
from service.exports.series import Export

if TYPE_CHECKING:
    import icalendar


@dataclass(frozen=True, slots=True)
class EventAlarm:
    """An alarm at an instant, and what it says."""

    time: datetime
    text: str


@dataclass(frozen=True, slots=True)
class CalendarEvent:
    """One session; instants are aware.

    ``key`` is all that makes it the same event in another plan, ``sequence`` counts its changes, ``stamp`` is when
    what it rests on was computed.
    """

    key: tuple[str, ...]
    start: datetime
    end: datetime
    sequence: int
    stamp: datetime
    summary: str
    description: str
    place: str
    latitude: float
    longitude: float
    alarms: tuple[EventAlarm, ...] = ()
    cancelled: bool = False


def event_calendar(
    events: Sequence[CalendarEvent], name: str, file_name: str, refresh: timedelta | None = None
) -> Export:
    """Return a calendar of sessions, called ``name`` by those readers that show a name.

    Those that follow it are asked to look again after ``refresh`` (RFC 7986, section 5.7).
    """
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    # RFC 7986, section 5.1, and the name under which readers knew it before.
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    if refresh is not None:
        calendar.add("refresh-interval", refresh, parameters={"VALUE": "DURATION"})
    if not events:
        calendar.add_component(_utc())
    for one in events:
        event = icalendar.Event()
        event.add("uid", uid_of(one.key))
        event.add("dtstamp", whole_second(one.stamp))
        event.add("last-modified", whole_second(one.stamp))
        event.add("sequence", one.sequence)
        event.add("dtstart", whole_second(one.start))
        event.add("dtend", whole_second(one.end))
        event.add("summary", one.summary)
        event.add("description", one.description)
        event.add("location", one.place)
        event.add("geo", (round(one.latitude, 6), round(one.longitude, 6)))
        event.add("status", "CANCELLED" if one.cancelled else "CONFIRMED")
        # A session that might be gone to keeps nobody busy.
        event.add("transp", "TRANSPARENT")
        for alarm in one.alarms:
            event.add_component(_alarm(one, alarm))
        calendar.add_component(event)
    return Export(calendar.to_ical(), CONTENT_TYPE, file_name)


def _utc() -> icalendar.Timezone:
    """Return the zone that every instant is in: a calendar has one component at least (RFC 5545, section 3.6)."""
    import icalendar

    zone, standard = icalendar.Timezone(), icalendar.TimezoneStandard()
    zone.add("tzid", "Etc/UTC")
    standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 - a local time of the zone (RFC 5545, section 3.6.5)
    standard.add("tzoffsetfrom", timedelta(0))
    standard.add("tzoffsetto", timedelta(0))
    zone.add_component(standard)
    return zone


def _alarm(event: CalendarEvent, one: EventAlarm) -> icalendar.Alarm:
    import icalendar

    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    # By the start of the event, so that it moves with it where somebody moves it.
    alarm.add("trigger", whole_second(one.time) - whole_second(event.start))
    alarm.add("description", one.text)
    return alarm
