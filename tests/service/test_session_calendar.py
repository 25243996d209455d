"""A calendar of sessions made of plain values, read back line by line by the text of RFC 5545."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from service.exports.icalendar import uid_of, whole_second
from service.exports.session_calendar import CalendarEvent, EventAlarm, event_calendar
from tests.service.rfc5545 import read_calendar

START = datetime(2026, 10, 24, 23, 30, 0, 400_000, tzinfo=UTC)


def event(**changes: Any) -> CalendarEvent:
    plain: dict[str, Any] = {
        "key": ("series", "mark", "one"), "start": START, "end": START + timedelta(hours=4), "sequence": 3,
        "stamp": START - timedelta(days=2), "summary": "Bass, surf", "description": "One;\ntwo", "place": "Ledge",
        "latitude": 50.12345678, "longitude": -4.00000049,
    }  # fmt: skip
    return CalendarEvent(**(plain | changes))


def read(*events: CalendarEvent, **more: Any) -> tuple[str, list[tuple[str, dict[str, str]]]]:
    raw = event_calendar(events, "Plan", "plan.ics", **more).content
    return re.sub("\r\n[ \t]", "", raw.decode()), read_calendar(raw)


@pytest.mark.parametrize(
    ("moment", "second"),
    [
        (datetime(2026, 12, 31, 23, 59, 59, 499_999, tzinfo=UTC), "2026-12-31T23:59:59"),
        (datetime(2026, 12, 31, 23, 59, 59, 500_000, tzinfo=UTC), "2027-01-01T00:00:00"),
        (datetime(2026, 6, 1, 1, 0, tzinfo=timezone(timedelta(hours=2))), "2026-05-31T23:00:00"),
    ],
)
def test_instants_are_in_utc_to_the_nearest_second(moment, second):
    assert whole_second(moment).isoformat() == f"{second}+00:00"


def test_a_session_is_an_event_with_alarms_by_its_start():
    rings = (START - timedelta(minutes=50, microseconds=600_000), START + timedelta(hours=2, seconds=30))
    text, parts = read(event(alarms=tuple(EventAlarm(at, f"ring {k}") for k, at in enumerate(rings))))
    assert [name for name, _ in parts] == ["VCALENDAR", "VEVENT", "VALARM", "VALARM"]
    assert {name: parts[0][1][name] for name in ("VERSION", "METHOD", "NAME")} == {
        "VERSION": "2.0", "METHOD": "PUBLISH", "NAME": "Plan",
    }  # fmt: skip
    lines = parts[1][1]
    assert (lines["DTSTART"], lines["DTEND"]) == ("20261024T233000Z", "20261025T033000Z")
    assert (lines["DTSTAMP"], lines["LAST-MODIFIED"], lines["SEQUENCE"]) == ("20261022T233000Z",) * 2 + ("3",)
    assert (lines["SUMMARY"], lines["DESCRIPTION"], lines["STATUS"]) == ("Bass, surf", "One;\ntwo", "CONFIRMED")
    assert (lines["GEO"], lines["TRANSP"]) == ("50.123457;-4.0", "TRANSPARENT")
    # 50 min before, rounded as both ends are; and two hours and half a minute after.
    assert [one["TRIGGER"] for _, one in parts[2:]] == ["-PT50M", "PT2H0M30S"]
    assert [one["DESCRIPTION"] for _, one in parts[2:]] == ["ring 0", "ring 1"]
    assert "REFRESH-INTERVAL" not in text


def test_what_is_gone_is_cancelled_under_the_same_uid():
    there, gone = (read(event(cancelled=off))[1][1][1] for off in (False, True))
    assert (there["STATUS"], gone["STATUS"]) == ("CONFIRMED", "CANCELLED")
    assert there["UID"] == gone["UID"] == uid_of(("series", "mark", "one"))
    others = {uid_of(key) for key in (("series", "mark", "two"), ("series", "markone"), ("series",), ())}
    assert len(others | {there["UID"]}) == 5


def test_a_calendar_without_sessions_has_a_zone_and_is_looked_at_again():
    text, parts = read(refresh=timedelta(hours=6))
    assert [name for name, _ in parts] == ["VCALENDAR", "VTIMEZONE", "STANDARD"]
    # Section 3.6.5: a rule says from what to what, and since when.
    assert parts[2][1] == {"DTSTART": "19700101T000000", "TZOFFSETFROM": "+0000", "TZOFFSETTO": "+0000"}
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT6H\r\n" in text
    assert "\r\nNAME:Plan\r\n" in text
    assert "\r\nX-WR-CALNAME:Plan\r\n" in text
