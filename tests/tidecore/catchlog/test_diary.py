from __future__ import annotations

import datetime
import math
import zoneinfo

import numpy as np
import pytest

from tests.tidecore.catchlog.trips import BASS
from tidecore.catchlog import DiaryRow, coarse_effort, days_of, read_tide_hours
from tidecore.errors import InvalidInput

BERLIN = zoneinfo.ZoneInfo("Europe/Berlin")
HOUR = 3_600_000_000


def row(**more):
    return DiaryRow.parse({"date": "2019-07-13", "mark": "long-ledge", "outcome": "fished", **more})


def us(text):
    return int(np.datetime64(text, "us").astype(np.int64))


@pytest.mark.parametrize(
    ("text", "event", "hours"),
    [
        ("HW -2 to +2", "high_water", (-2.0, 2.0)),
        ("lw -1.5..+3", "low_water", (-1.5, 3.0)),
        ("HW \N{MINUS SIGN}2h to 1,5h", "high_water", (-2.0, 1.5)),
        ("LW + 1 to + 2", "low_water", (1.0, 2.0)),
    ],
)
def test_hours_of_the_tide_are_read(text, event, hours):
    found = read_tide_hours(text)
    assert (found.event, found.from_h, found.to_h) == (event, *hours)


@pytest.mark.parametrize("text", ["HW", "HW 2 to -2", "HW -20 to 2", "MW -1 to 1", "HW -2 to", "", "HW -1 to -1"])
def test_what_says_no_hours_is_refused(text):
    with pytest.raises(InvalidInput) as caught:
        read_tide_hours(text, "row.7.when")
    assert caught.value.faults[0].field == "row.7.when"


def test_effort_is_hours_times_rods_by_the_clocks_of_the_mark():
    found = coarse_effort(row(hours={"from": "22:00", "to": "01:30"}, rods=2), BERLIN)
    assert found.rod_hours == 7.0
    assert found.spans_us.tolist() == [[us("2019-07-13T20:00"), us("2019-07-13T23:30")]]
    assert found.notes == ()


@pytest.mark.parametrize(("date", "hours"), [("2019-10-27", 4.0), ("2019-03-31", 2.0)])
def test_an_hour_that_comes_twice_or_never_is_said(date, hours):
    found = coarse_effort(row(date=date, hours={"from": "01:00", "to": "04:00"}), BERLIN)
    assert found.rod_hours == hours
    assert len(found.notes) == 1
    assert "clocks change" in found.notes[0]


@pytest.mark.parametrize(
    ("start", "end"),
    [("01:30", "02:30"), ("02:30", "04:00"), ("02:10", "02:40"), ("23:00", "02:15"), ("02:45", "03:00")],
)
def test_hours_that_end_in_an_hour_told_twice_count_as_one_stretch_at_its_shortest(start, end):
    """Readings by zoneinfo: every pair of instants that clocks at 2019-10-27 in Berlin show as start and end."""
    first, last = (datetime.datetime.fromisoformat(f"2019-10-27T{text}") for text in (start, end))
    first -= datetime.timedelta(days=start == "23:00")
    pairs = [
        (last.replace(tzinfo=BERLIN, fold=b).timestamp() - first.replace(tzinfo=BERLIN, fold=a).timestamp()) / 3600.0
        for a in (0, 1)
        for b in (0, 1)
    ]
    lengths = sorted({one for one in pairs if one > 0.0})
    found = coarse_effort(row(date=first.date().isoformat(), hours={"from": start, "to": end}, rods=2), BERLIN)
    assert found.rod_hours == pytest.approx(2.0 * lengths[0])
    assert len(found.spans_us) == 0
    (note,) = found.notes
    assert "twice" in note
    assert f"{lengths[0]:g} or {lengths[-1]:g} h" in note


def test_a_whole_day_lasts_as_long_as_it_lasts():
    """In the Azores the hour from midnight came twice on 2019-10-27."""
    azores = zoneinfo.ZoneInfo("Atlantic/Azores")
    assert coarse_effort(row(date="2019-10-27", hours={"from": "00:00", "to": "24:00"}), azores).rod_hours == 25.0


def test_hours_of_the_tide_need_its_water():
    tidal = row(tide={"event": "high_water", "from_h": -2, "to_h": 2}, rods=2)
    found = coarse_effort(tidal, BERLIN, np.array([us("2019-07-12T22:30") - 12 * HOUR, us("2019-07-13T10:00")]))
    assert found.spans_us.tolist() == [[us("2019-07-13T08:00"), us("2019-07-13T12:00")]]
    assert found.rod_hours == 8.0
    two = coarse_effort(tidal, BERLIN, np.array([us("2019-07-12T22:30"), us("2019-07-13T10:55")]))
    assert (len(two.spans_us), two.rod_hours) == (0, 8.0)
    assert "which was fished is not known" in two.notes[0]
    assert coarse_effort(tidal, BERLIN).notes == ("the water of the day is not given",)
    second = row(tide={"event": "high_water", "from_h": -2, "to_h": 2, "which": "second"}, rods=2)
    alone = coarse_effort(second, BERLIN, np.array([us("2019-07-13T10:00")]))
    assert (len(alone.spans_us), alone.rod_hours) == (0, 8.0)
    assert alone.notes == ("the day has no second such water: when is not known",)
    told = coarse_effort(second, BERLIN, np.array([us("2019-07-12T22:30"), us("2019-07-13T10:55")]))
    assert told.spans_us.tolist() == [[us("2019-07-13T08:55"), us("2019-07-13T12:55")]]


def test_a_row_without_hours_has_unknown_effort_and_one_not_fished_has_none():
    assert math.isnan(coarse_effort(row(), BERLIN).rod_hours)
    assert coarse_effort(row(outcome="not_fished", why_not="weed"), BERLIN).rod_hours == 0.0


def test_faults_of_a_row_come_at_once():
    with pytest.raises(InvalidInput) as caught:
        row(
            date="2019-02-30",
            hours={"from": "25:00", "to": "01:00"},
            tide={"event": "high_water", "from_h": 2, "to_h": 1},
            rods=0,
            caught=[{"species": BASS, "count": -1}],
            why_not="weed",
        )
    assert {fault.field for fault in caught.value.faults} == {
        "date", "hours.from", "tide.to_h", "rods", "caught.0.count", "why_not",
    }  # fmt: skip
    both = {"hours": {"from": "20:00", "to": "22:00"}, "tide": {"event": "low_water", "from_h": 1, "to_h": 2}}
    with pytest.raises(InvalidInput, match="beside hours"):
        row(**both)
    with pytest.raises(InvalidInput, match="blank with 2 caught"):
        row(outcome="blank", caught=[{"species": BASS, "count": 2}])
    with pytest.raises(InvalidInput, match="told of already"):
        row(caught=[{"species": BASS, "count": 2}, {"species": BASS, "count": 1}])


def test_a_day_is_that_of_the_clocks():
    found = days_of(np.array([us("2019-07-13T21:59:59"), us("2019-07-13T22:00")]), BERLIN)
    assert found == (datetime.date(2019, 7, 13), datetime.date(2019, 7, 14))


def test_a_day_that_a_zone_skipped_has_no_waters():
    apia = zoneinfo.ZoneInfo("Pacific/Apia")
    tidal = row(date="2011-12-30", tide={"event": "high_water", "from_h": -2, "to_h": 2})
    found = coarse_effort(tidal, apia, np.array([us("2011-12-30T10:30")]))
    assert len(found.spans_us) == 0
    skipped = coarse_effort(row(date="2011-12-30", hours={"from": "10:00", "to": "12:00"}), apia)
    assert np.isnan(skipped.rod_hours)


def test_hours_that_the_clocks_skip_are_no_effort_that_is_known():
    found = coarse_effort(row(date="2019-03-31", hours={"from": "02:15", "to": "02:45"}), BERLIN)
    assert np.isnan(found.rod_hours)
    assert not len(found.spans_us)
    assert found.notes == ("the clocks skip these hours on the day: effort unknown",)
