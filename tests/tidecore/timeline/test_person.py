"""Free time and the daylight that is left."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.calendars import FreeTime
from tidecore.errors import InvalidInput
from tidecore.timebase import TimeSpan
from tidecore.timeline import build_timeline

NIGHTS = {"weekly": [{"weekdays": ["saturday"], "hours": {"from": "22:00", "to": "04:00"}}]}
DAY = {"dates": [{"from": "2026-06-06", "to": "2026-06-06"}]}


def timeline(free=None, start="2026-06-05", end="2026-06-09", **changes):
    free_time = None if free is None else FreeTime.parse(free)
    return build_timeline(mark_at(**changes), model_of("large"), start, end, free_time=free_time)


def free_hours(free, zone="Europe/London", start="2026-06-01", end="2026-06-15"):
    spans = FreeTime.parse(free).spans(mark_at(time_zone=zone).zone, TimeSpan(np.datetime64(start), np.datetime64(end)))
    return spans.astype("datetime64[us]").astype("datetime64[m]").astype(str).tolist()


def test_free_time_is_unknown_where_nobody_said_when_it_is():
    assert (timeline().columns["free_time"] == -1).all()
    assert "free_time" in timeline().unknown_names()


def test_free_time_goes_by_the_clocks_of_the_mark():
    # 22:00 to 04:00 of British Summer Time.
    assert free_hours(NIGHTS, end="2026-06-10") == [["2026-06-06T21:00", "2026-06-07T03:00"]]
    line = timeline(NIGHTS)
    column = line.columns["free_time"]
    assert column.dtype == np.int8
    assert line.times[column == 1][[0, -1]].astype("datetime64[m]").astype(str).tolist() == [
        "2026-06-06T21:00",
        "2026-06-07T02:50",
    ]
    assert np.datetime64("2026-06-06T21:00", "us").astype(np.int64) in line.breaks_us(["free_time"])


def test_the_repeated_hour_counts_twice_and_the_skipped_one_is_not_there():
    night = {"weekly": [{"weekdays": ["saturday"], "hours": {"from": "22:00", "to": "04:00"}}]}
    assert free_hours(night, start="2026-10-24", end="2026-10-26") == [["2026-10-24T21:00", "2026-10-25T04:00"]]
    assert free_hours(night, start="2026-03-28", end="2026-03-30") == [["2026-03-28T22:00", "2026-03-29T03:00"]]


def test_days_off_and_on():
    off = {**NIGHTS, "off": [DAY]}
    assert free_hours(off, end="2026-06-10") == [["2026-06-06T23:00", "2026-06-07T03:00"]]
    on = {**NIGHTS, "on": [{**DAY, "hours": {"from": "09:00", "to": "12:00"}}]}
    assert free_hours(on, end="2026-06-10")[0] == ["2026-06-06T08:00", "2026-06-06T11:00"]


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({}, "never"),
        ({"off": [DAY]}, "never"),
        ({**NIGHTS, "off": [{"weekdays": ["monday"]}]}, "no dates in off 1"),
        ({**NIGHTS, "on": [{}]}, "no dates in on 1"),
        ({**NIGHTS, "off": [DAY], "on": [{**DAY, "hours": {"from": "09:00", "to": "12:00"}}]}, "off 1 and on 1"),
        ({**NIGHTS, "off": [{"dates": [{"from": "2026-06-05", "to": "2026-06-05"}],
                             "hours": {"from": "20:00", "to": "03:00"}}],
          "on": [{**DAY, "hours": {"from": "02:00", "to": "05:00"}}]}, "hold at once"),
        ({"weekly": [{"weekdays": ["someday"]}]}, "monday"),
    ],
)  # fmt: skip
def test_free_time_that_contradicts_itself_is_refused(document, said):
    with pytest.raises(InvalidInput, match=said):
        FreeTime.parse(document)


def test_off_and_on_may_share_a_date_at_other_hours():
    apart = {
        **NIGHTS,
        "off": [{**DAY, "hours": {"from": "12:00", "to": "23:00"}}],
        "on": [{**DAY, "hours": {"from": "09:00", "to": "12:00"}}],
    }
    assert free_hours(apart, end="2026-06-10") == [
        ["2026-06-06T08:00", "2026-06-06T11:00"],
        ["2026-06-06T22:00", "2026-06-07T03:00"],
    ]


def test_daylight_left_counts_down_to_last_light():
    line = timeline(start="2026-10-20", end="2026-10-23")
    events = {event.kind: event.time for event in line.events(np.datetime64("2026-10-21"), np.datetime64("2026-10-22"))}
    first, last = events["first_light"], events["last_light"]
    second = np.timedelta64(1, "s")
    times = np.array([first - second, first, last - np.timedelta64(90, "m"), last - second, last, last + second])
    left = line.at(times, ["daylight_left"])["daylight_left"]
    assert left[[0, 4, 5]].tolist() == [0.0, 0.0, 0.0]
    assert left[1] == pytest.approx(float((last - first) / np.timedelta64(1, "h")))
    assert left[2] == pytest.approx(1.5)
    assert left[3] == pytest.approx(1 / 3600)


def test_where_the_sun_does_not_set_a_day_is_left_and_where_it_does_not_rise_none():
    north = {"latitude": 78.0, "longitude": 15.0}
    assert (timeline(start="2026-06-20", end="2026-06-22", **north).columns["daylight_left"] == 24.0).all()
    assert (timeline(start="2026-12-20", end="2026-12-22", **north).columns["daylight_left"] == 0.0).all()


@settings(max_examples=10)
@given(st.integers(0, 360), st.floats(-65, 65))
def test_there_is_daylight_left_exactly_while_the_sun_is_above_civil_twilight(day, latitude):
    start = np.datetime64("2026-01-01") + np.timedelta64(day, "D")
    line = timeline(start=start, end=start + np.timedelta64(1, "D"), latitude=latitude)
    columns = line.at(line.times, ["daylight_left", "sun_altitude"])
    clear = np.abs(columns["sun_altitude"] + 6.0) > 0.01
    assert ((columns["daylight_left"] > 0.0) == (columns["sun_altitude"] > -6.0))[clear].all()
