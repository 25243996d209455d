from __future__ import annotations

import datetime
import zoneinfo

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.calendars import clock_changes
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.timeline import build_timeline
from tidecore.timeline.wall_clock import local_times, shown_minute

#: Half-hour summer time; a change at midnight; west and east of the date line; an odd offset.
ZONES = [
    "Etc/UTC",
    "Europe/London",
    "Australia/Lord_Howe",
    "Asia/Beirut",
    "Pacific/Apia",
    "Pacific/Chatham",
    "Asia/Kolkata",
]


@pytest.mark.parametrize("name", ZONES)
def test_local_times_are_those_of_the_standard_library(name: str) -> None:
    zone = zoneinfo.ZoneInfo(name)
    span = TimeSpan(np.datetime64("2026-01-01"), np.datetime64("2027-01-01"))
    times_us = span.start_us + np.arange(0, 366 * 24 * 2) * 30 * US_PER_MINUTE + 59_999_999
    changes = [change.time_us for change in clock_changes(zone, span)]
    times_us = np.concatenate((times_us, np.array([at + side for at in changes for side in (-1, 0)], dtype=np.int64)))
    epoch = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
    wanted = [
        (epoch + datetime.timedelta(microseconds=ticks)).astimezone(zone).replace(tzinfo=None)
        for ticks in times_us.tolist()
    ]
    np.testing.assert_array_equal(local_times(zone, times_us), np.array(wanted, dtype="datetime64[us]"))


def test_days_and_months_turn_at_local_midnight() -> None:
    mark = mark_at(time_zone="Europe/London")
    timeline = build_timeline(mark, model_of("plain"), "2026-06-30", "2026-07-02")
    # British Summer Time: midnight is 23:00 UTC.
    times = np.array(["2026-06-30T22:59:59", "2026-06-30T23:00:00"], dtype="datetime64[us]")
    found = timeline.at(times, ["day_of_year", "month"])
    assert found["day_of_year"].tolist() == [181.0, 182.0]
    assert found["month"].tolist() == [6.0, 7.0]


def test_leap_years_have_a_day_more() -> None:
    timeline = build_timeline(mark_at(time_zone="Etc/UTC"), model_of("plain"), "2028-12-31", "2029-01-02", "1d")
    assert timeline.columns["day_of_year"].tolist() == [366.0, 1.0]


@pytest.mark.parametrize(
    ("name", "time", "shown"),
    [
        ("Europe/London", "2026-10-25T00:30", "2026-10-25 01:30+01:00"),
        ("Europe/London", "2026-10-25T01:30", "2026-10-25 01:30+00:00"),
        ("Europe/London", "2026-10-25T02:00", "2026-10-25 02:00"),
        ("Europe/London", "2026-10-24T23:59", "2026-10-25 00:59"),
        ("Europe/London", "2026-03-29T00:59", "2026-03-29 00:59"),
        ("Europe/London", "2026-03-29T01:00", "2026-03-29 02:00"),
        ("Australia/Lord_Howe", "2026-04-04T15:15", "2026-04-05 01:45+10:30"),
        ("Australia/Lord_Howe", "2026-04-04T14:45", "2026-04-05 01:45+11:00"),
    ],
)
def test_a_clock_is_shown_with_its_offset_where_it_comes_twice(name: str, time: str, shown: str) -> None:
    ticks = int(np.datetime64(time, "us").astype(np.int64))
    assert shown_minute(zoneinfo.ZoneInfo(name), ticks) == shown
