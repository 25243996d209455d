"""Patterns of the wall clock in UTC, against a clock read minute by minute."""

from __future__ import annotations

import datetime
import zoneinfo
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.calendars.clocks import EPOCH, ZONES, at_every_minute, holds, span_of, utc
from tidecore.calendars import Season, WeeklyHours, clock_changes, holds_at, spans
from tidecore.calendars.changes import changes_between, offset_us
from tidecore.calendars.patterns import WEEKDAYS
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE

clock_times = st.integers(0, 1439).map(lambda minute: f"{minute // 60:02d}:{minute % 60:02d}")
hour_documents = st.tuples(clock_times, clock_times).filter(lambda two: two[0] != two[1])
month_days = st.dates(datetime.date(2024, 1, 1), datetime.date(2024, 12, 31)).map(lambda day: day.strftime("%m-%d"))


@st.composite
def patterns_about(draw: Any, day: datetime.date) -> dict[str, Any]:
    """A pattern that has something to do with the days around one."""
    document: dict[str, Any] = {}
    if draw(st.booleans()):
        first, last = draw(hour_documents)
        document["hours"] = {"from": first, "to": last}
    if draw(st.booleans()):
        document["weekdays"] = draw(st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=6, unique=True))
    if draw(st.booleans()):
        near = [(day + datetime.timedelta(days=k)).strftime("%m-%d") for k in (-1, 0, 1)]
        document["season"] = {"from": draw(st.sampled_from(near) | month_days), "to": draw(month_days)}
    elif "weekdays" not in document and draw(st.booleans()):
        first = day + datetime.timedelta(days=draw(st.integers(-2, 1)))
        last = first + datetime.timedelta(days=draw(st.integers(0, 2)))
        document["dates"] = [{"from": first.isoformat(), "to": last.isoformat()}]
    return document


@st.composite
def cases(draw: Any) -> tuple[zoneinfo.ZoneInfo, list[dict[str, Any]], int, int]:
    """Any zone, patterns, and some hours: about a change of the clocks where the zone has one near."""
    zone = zoneinfo.ZoneInfo(draw(st.sampled_from(ZONES)))
    year_us = int(np.datetime64(f"{draw(st.integers(1901, 2037))}-01-01", "us").astype(np.int64))
    changes = [
        one for one in changes_between(zone, year_us, year_us + 365 * US_PER_DAY) if one.time_us % US_PER_MINUTE == 0
    ]
    centre = (
        draw(st.sampled_from([one.time_us for one in changes]))
        if changes
        else year_us + draw(st.integers(0, 364 * 1440)) * US_PER_MINUTE
    )
    start = centre - draw(st.integers(1, 1800)) * US_PER_MINUTE
    end = centre + draw(st.integers(1, 1800)) * US_PER_MINUTE
    day = (EPOCH + datetime.timedelta(microseconds=centre)).astimezone(zone).date()
    return zone, draw(st.lists(patterns_about(day), min_size=1, max_size=3)), start, end


@settings(max_examples=150, deadline=None)
@given(cases())
def test_spans_are_the_minutes_at_which_a_clock_shows_the_pattern(case):
    zone, documents, start, end = case
    if any(offset_us(zone, at) % US_PER_MINUTE for at in (start, end)):
        start, end = start // US_PER_DAY * US_PER_DAY, start // US_PER_DAY * US_PER_DAY + US_PER_HOUR
    found = spans([WeeklyHours.parse(one) for one in documents], zone, span_of(start, end))
    assert found.dtype == np.int64
    assert (found[:, 0] < found[:, 1]).all()
    assert (found[1:, 0] > found[:-1, 1]).all()
    assert not len(found) or (found[0, 0] >= start and found[-1, 1] <= end)
    minutes = np.arange(start, end, US_PER_MINUTE)
    expected = at_every_minute(lambda shown: any(holds(one, shown) for one in documents), zone, start, end)
    assert np.array_equal(holds_at(found, minutes), expected)


@settings(max_examples=60, deadline=None)
@given(cases())
def test_every_change_of_the_clocks_is_listed_to_the_second(case):
    zone, _documents, start, end = case
    found = clock_changes(zone, span_of(start, end))
    second = datetime.timedelta(seconds=1)
    for change in found:
        at = EPOCH + datetime.timedelta(microseconds=change.time_us)
        before, after = ((moment.astimezone(zone).utcoffset() or EPOCH - EPOCH) for moment in (at - second, at))
        assert before / second * 1e6 == change.offset_before_us
        assert after / second * 1e6 == change.offset_after_us != change.offset_before_us
    offsets = [
        (EPOCH + datetime.timedelta(microseconds=minute)).astimezone(zone).utcoffset()
        for minute in range(start, end, US_PER_MINUTE)
    ]
    assert sum(one != other for one, other in pairwise(offsets)) == len(
        [change for change in found if change.time_us > start]
    )


def pattern(**fields: Any) -> WeeklyHours:
    return WeeklyHours.parse(fields)


# Clocks of the European Union change at 01:00 UTC on the last Sundays of March and October (directive 2000/84/EC).
LISBON = zoneinfo.ZoneInfo("Europe/Lisbon")


def test_an_hour_that_is_skipped_is_in_no_span():
    start, end = utc("2026-03-28T12:00", "2026-03-29T12:00")
    assert spans(pattern(hours={"from": "01:10", "to": "01:50"}), LISBON, span_of(start, end)).tolist() == []
    across = spans(pattern(hours={"from": "00:30", "to": "03:00"}), LISBON, span_of(start, end))
    assert across.tolist() == [utc("2026-03-29T00:30", "2026-03-29T02:00")]


def test_an_hour_that_comes_twice_counts_twice():
    start, end = utc("2026-10-24T12:00", "2026-10-25T12:00")
    found = spans(pattern(hours={"from": "01:10", "to": "01:50"}), LISBON, span_of(start, end))
    assert found.tolist() == [utc("2026-10-25T00:10", "2026-10-25T00:50"), utc("2026-10-25T01:10", "2026-10-25T01:50")]


def test_changes_say_what_they_skip_and_repeat():
    start, end = utc("2026-01-01T00:00", "2027-01-01T00:00")
    spring, autumn = clock_changes(LISBON, span_of(start, end))
    assert [spring.time_us, autumn.time_us] == utc("2026-03-29T01:00", "2026-10-25T01:00")
    assert (spring.minutes, autumn.minutes) == (60.0, -60.0)
    assert str(spring) == "clocks go forward from 2026-03-29 01:00 to 2026-03-29 02:00: 60 minutes are skipped"
    assert str(autumn) == "clocks go back from 2026-10-25 02:00 to 2026-10-25 01:00: 60 minutes come twice"


def test_a_change_at_the_start_of_a_span_is_in_it_and_one_at_its_end_is_not():
    change, before, after = utc("2026-03-29T01:00", "2026-03-28T00:00", "2026-03-30T00:00")
    assert len(clock_changes(LISBON, span_of(change, after))) == 1
    assert clock_changes(LISBON, span_of(before, change)) == ()


def test_a_day_that_is_skipped_whole_is_in_no_span():
    # Samoa had no 30 December 2011 (tz database).
    start, end = utc("2011-12-25T00:00", "2012-01-05T00:00")
    day = pattern(dates=[{"from": "2011-12-30", "to": "2011-12-30"}])
    assert spans(day, zoneinfo.ZoneInfo("Pacific/Apia"), span_of(start, end)).tolist() == []


def test_a_night_belongs_to_the_day_on_which_it_begins():
    start, end = utc("2026-11-05T00:00", "2026-11-09T00:00")
    friday = pattern(weekdays=["friday"], hours={"from": "20:00", "to": "02:00"})
    found = spans(friday, zoneinfo.ZoneInfo("Etc/UTC"), span_of(start, end))
    assert found.tolist() == [utc("2026-11-06T20:00", "2026-11-07T02:00")]


def test_a_season_passes_new_year():
    winter = pattern(season={"from": "12-30", "to": "01-02"})
    start, end = utc("2026-12-01T00:00", "2027-02-01T00:00")
    found = spans(winter, zoneinfo.ZoneInfo("Etc/UTC"), span_of(start, end))
    assert found.tolist() == [utc("2026-12-30T00:00", "2027-01-03T00:00")]


@pytest.mark.parametrize(("first", "last"), [("12-30", "01-02"), ("02-29", "02-29"), ("03-01", "06-15")])
def test_one_day_is_in_a_season_as_all_days_are(first, last):
    season = Season.parse({"from": first, "to": last})
    days = np.arange("2027-12-01", "2028-12-31", dtype="datetime64[D]")
    assert [season.holds(day.item()) for day in days] == season.holds_on(days).tolist()


def test_patterns_that_meet_make_one_span():
    start, end = utc("2026-11-02T00:00", "2026-11-03T00:00")
    parts = [pattern(hours={"from": "06:00", "to": "09:00"}), pattern(hours={"from": "09:00", "to": "12:00"})]
    found = spans(parts, zoneinfo.ZoneInfo("Etc/UTC"), span_of(start, end))
    assert found.tolist() == [utc("2026-11-02T06:00", "2026-11-02T12:00")]
    assert spans([], LISBON, span_of(start, end)).shape == (0, 2)


@pytest.mark.parametrize("zone", ["Etc/UTC", "Pacific/Apia", "Europe/Lisbon"])
def test_a_pattern_without_bounds_is_always(zone):
    start, end = utc("2026-03-01T00:00", "2026-12-01T00:00")
    assert spans(pattern(), zoneinfo.ZoneInfo(zone), span_of(start, end)).tolist() == [[start, end]]
