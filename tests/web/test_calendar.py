"""Calendars of sessions are read alike by a parser of Python and by one of JavaScript."""

from __future__ import annotations

import json
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast

import icalendar
import pytest

from service.exports.session_calendar import CalendarEvent, EventAlarm, event_calendar
from tests.conftest import ROOT

pytestmark = pytest.mark.web

TOOLS = ROOT / ".web"
READER = Path(__file__).parent / "calendar.mjs"
#: In the night in which clocks of northern places go back, and in which those go on.
NIGHTS = (datetime(2026, 10, 25, 0, 15, tzinfo=UTC), datetime(2027, 3, 28, 0, 15, tzinfo=UTC))


def sessions():
    """Sessions every half an hour over the changes of the clocks, the last of each gone."""
    for night in NIGHTS:
        for number in range(5):
            start = night + timedelta(minutes=30 * number)
            yield CalendarEvent(
                key=("session", "series", "mrk_1", start.isoformat()),
                start=start,
                end=start + timedelta(hours=3),
                sequence=number,
                stamp=night - timedelta(days=3),
                summary="Bass, at “Long Beach”; \\1" + "é" * 60,
                description="First line\nsecond; line, with \\n",
                place="Long Beach",
                latitude=51.2,
                longitude=-4.5,
                alarms=(
                    EventAlarm(start - timedelta(minutes=25), "Leave home"),
                    EventAlarm(start + timedelta(minutes=95), "Turn back"),
                ),
                cancelled=number == 4,
            )


def iso(moment):
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def test_two_parsers_read_the_same_over_a_change_of_the_clocks():
    made = event_calendar(list(sessions()), "Sessions", "sessions.ics", timedelta(hours=4)).content
    module = TOOLS / "node_modules" / "ical.js" / "dist" / "ical.js"
    done = subprocess.run(
        [str(TOOLS / "bin" / "node"), str(READER), str(module)],
        input=made,
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    theirs, read = json.loads(done.stdout), cast(Any, icalendar.Calendar.from_ical(made))
    ours = [
        {
            "uid": str(event["UID"]),
            "start": iso(event["DTSTART"].dt),
            "end": iso(event["DTEND"].dt),
            "sequence": int(event["SEQUENCE"]),
            "status": str(event["STATUS"]),
            "stamp": iso(event["DTSTAMP"].dt),
            "summary": str(event["SUMMARY"]),
            "description": str(event["DESCRIPTION"]),
            "place": str(event["LOCATION"]),
            "rings": [iso(event["DTSTART"].dt + alarm["TRIGGER"].dt) for alarm in event.walk("VALARM")],
        }
        for event in read.walk("VEVENT")
    ]
    assert theirs == ours
    for one, event in zip(theirs, sessions(), strict=True):
        assert (one["start"], one["end"], one["stamp"]) == (iso(event.start), iso(event.end), iso(event.stamp))
        assert one["rings"] == [iso(alarm.time) for alarm in event.alarms]
        assert (one["summary"], one["description"]) == (event.summary, event.description)
        assert one["status"] == ("CANCELLED" if event.cancelled else "CONFIRMED")
