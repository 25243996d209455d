"""iCalendar (RFC 5545): alarms for turning back and for being overdue. Every stamp comes from the inputs."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from service.exports.series import Export

MEDIA_TYPE = "text/calendar"
#: What is sent as Content-Type: the method is said there too (RFC 5545, section 3.7.2).
CONTENT_TYPE = "text/calendar; charset=utf-8; method=PUBLISH"
#: Who writes calendars.
PRODUCT = "-//Ebbmark//Tide windows//EN"


@dataclass(frozen=True, slots=True)
class Alarm:
    """An event of a moment with alarms at it, and so many minutes before.

    ``key`` is all that makes it the same alarm when it is made again; its UID follows from that.
    """

    key: tuple[str, ...]
    time: datetime
    summary: str
    description: str
    minutes_before: tuple[int, ...] = (0,)


def alarm_calendar(
    alarms: Sequence[Alarm], stamp: datetime, latitude: float, longitude: float, place: str, file_name: str
) -> Export:
    """Return a calendar of alarms.

    Parameters
    ----------
    alarms : sequence of Alarm
        With aware instants; they are written in UTC, to the second.
    stamp : datetime
        When what the alarms rest on was last written: their DTSTAMP and LAST-MODIFIED.
    latitude, longitude : float
        Where it is [degrees].
    place : str
        What it is called.
    file_name : str
        Name of the file.
    """
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    made = whole_second(stamp)
    for one in alarms:
        event = icalendar.Event()
        event.add("uid", uid_of(one.key))
        event.add("dtstamp", made)
        event.add("last-modified", made)
        # An event without an end takes no time (RFC 5545, section 3.6.1).
        event.add("dtstart", whole_second(one.time))
        event.add("summary", one.summary)
        event.add("description", one.description)
        event.add("location", place)
        event.add("geo", (round(latitude, 6), round(longitude, 6)))
        event.add("transp", "TRANSPARENT")
        for minutes in one.minutes_before:
            alarm = icalendar.Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("trigger", -timedelta(minutes=minutes))
            alarm.add("description", one.summary)
            event.add_component(alarm)
        calendar.add_component(event)
    return Export(calendar.to_ical(), CONTENT_TYPE, file_name)


def uid_of(key: tuple[str, ...]) -> str:
    """Return a UID that follows from a key alone."""
    digest = hashlib.sha256("\n".join(key).encode()).hexdigest()
    return f"{digest[:32]}@ebbmark"


def whole_second(moment: datetime) -> datetime:
    """Return an instant in UTC to the nearest second, which is all that iCalendar can say."""
    return (moment.astimezone(UTC) + timedelta(microseconds=500_000)).replace(microsecond=0)
