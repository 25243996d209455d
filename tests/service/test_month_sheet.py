"""A month sheet made of plain values: what each day says and draws, held to these values by hand."""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from service.exports.mark_chart import ChartHazard, ChartSession, MarkChart
from service.exports.month_sheet import MonthSheet, SheetSession, write_sheet
from service.exports.month_sheet.strip import draw_strip
from tidecore.timebase import TimeSpan
from tidecore.timeline import KeyTime

#: Clocks go back on 25 October 2026: a day of 25 hours.
ZONE = zoneinfo.ZoneInfo("Europe/London")
MINUTE, HOUR = 60_000_000, 3_600_000_000


def us(day: int, clock: str = "00:00") -> int:
    """An instant of the month by the clocks there; in the hour that is told twice the first."""
    local = dt.datetime.fromisoformat(f"2026-10-{day:02d}T{clock}:00").replace(tzinfo=ZONE)
    return round(local.timestamp()) * 1_000_000


FIRST, LAST = us(1), round(dt.datetime(2026, 11, 1, tzinfo=ZONE).timestamp()) * 1_000_000


def key(kind: Any, day: int, clock: str, height: float | None = None) -> KeyTime:
    return KeyTime(np.datetime64(us(day, clock), "us"), kind, height)


def chart(**changes: Any) -> MarkChart:
    times = np.arange(FIRST, LAST, 10 * MINUTE, dtype=np.int64)
    # Every day rises from 1 m at its start by 0.1 m an hour, so that a strip is one straight line.
    starts = np.array([us(day) for day in range(1, 32)])
    hours = (times - starts[np.searchsorted(starts, times, side="right") - 1]) / HOUR
    plain: dict[str, Any] = {
        "file_name": "ledge", "mark": "Ledge <i>", "kind": "month", "zone": ZONE, "datum": "chart datum",
        "span": TimeSpan(np.datetime64(FIRST, "us"), np.datetime64(LAST, "us")), "times_us": times,
        "heights": 1.0 + 0.1 * hours, "flow": np.zeros(times.size),
        "light": np.where(hours < 6.0, "night", "day"), "events": (), "windows": (), "sessions": (), "hazards": (),
        "facts": ("a fact",), "notes": ("a note", "Not for navigation."),
    }  # fmt: skip
    return MarkChart(**(plain | changes))


def session(rank: int, day: int, start: str, end: str, **changes: Any) -> SheetSession:
    begin, finish = us(day, start), us(day, end)
    plain: dict[str, Any] = {
        "rank": rank, "arrive_us": begin - 25 * MINUTE, "start_us": begin, "end_us": finish,
        "leave_us": finish + 15 * MINUTE, "worth_h": 2.0, "species": ("bass",), "grade": "info",
        "best_us": (begin, begin + HOUR),
    }  # fmt: skip
    drawn = ChartSession(**(plain | changes))
    return SheetSession(drawn, drawn.arrive_us - HOUR, drawn.leave_us + HOUR, None, "fishable", "feeding 0.80")


def written(sessions: tuple[SheetSession, ...] = (), hazards: tuple[ChartHazard, ...] = (), **changes: Any) -> str:
    cycle = changes.pop("cycle", {})
    drawn = chart(sessions=tuple(one.drawn for one in sessions), **changes)
    return write_sheet(MonthSheet(drawn, sessions, cycle, hazards)).content.decode()


def days(page: str) -> dict[int, str]:
    """Rows of the table of days, by the day of the month."""
    rows = re.findall(r'<tr(?: class="weekend")?><th scope="row" class="day">.*?</tr>', page, re.S)
    return {int(re.findall(r"[MTWFS][a-z]{2} (\d+)", row)[0]): row for row in rows}


def said(row: str, of: str) -> list[str]:
    """What one cell of a day says, line by line."""
    (cell,) = re.findall(rf'<td class="[a-z ]+" data-is="{of}">(.*?)</td>', row, re.S)
    return re.findall(r"<span>(.*?)</span>", cell) or [cell]


def test_a_day_tells_its_waters_its_range_sun_and_moon():
    events = (
        key("low_water", 3, "00:00", 1.2), key("sunrise", 3, "07:10"), key("high_water", 3, "06:12", 4.9),
        key("moonset", 3, "09:00"), key("low_water", 3, "12:20", 0.8), key("sunset", 3, "18:40"),
        key("high_water", 3, "18:31", 4.7), key("moonrise", 3, "19:05"), key("high_water", 4, "06:50", 4.4),
        key("low_water", 5, "00:00", 1.1), key("full_moon", 26, "05:00"), key("new_moon", 10, "17:00"),
        key("first_quarter", 18, "17:00"), key("last_quarter", 3, "15:00"),
    )  # fmt: skip
    cycle = {dt.date(2026, 10, 12): "springs", dt.date(2026, 10, 3): "neaps"}
    rows = days(written(events=events, cycle=cycle))
    assert list(rows) == list(range(1, 32))
    assert said(rows[3], "HW") == ["06:12 4.9", "18:31 4.7"]
    # Midnight is of the day that begins.
    assert said(rows[3], "LW") == ["00:00 1.2", "12:20 0.8"]
    assert said(rows[3], "range") == ["4.1"]
    assert said(rows[3], "sun") == ["\N{UPWARDS ARROW}07:10", "\N{DOWNWARDS ARROW}18:40"]
    assert said(rows[3], "moon") == ["\N{DOWNWARDS ARROW}09:00", "\N{UPWARDS ARROW}19:05"]
    # Of one water there is no range.
    assert (said(rows[4], "HW"), said(rows[4], "LW"), said(rows[4], "range")) == (["06:50 4.4"], [""], [""])
    assert [day for day, row in rows.items() if 'class="weekend"' in row] == [3, 4, 10, 11, 17, 18, 24, 25, 31]
    words = {day: re.sub("<[^>]+>", "", row.split("</th>")[0]).strip() for day, row in rows.items()}
    assert words[3].endswith("last quarter, neaps")
    assert words[12].endswith("springs")
    assert [day for day, row in rows.items() if 'class="cycle"' in row] == [3, 10, 12, 18, 26]
    # The dark half of a quarter: on the left of a waxing moon as the north sees it, an arc against the clock.
    for day, disc, dark in ((10, "info", None), (26, "ring", None), (18, "ring", "0 0 0"), (3, "ring", "0 0 1")):
        assert f'<circle class="{disc}"' in rows[day]
        assert re.findall(r"M8 3A5 5 (\d \d \d) 8 13Z", rows[day]) == ([] if dark is None else [dark])


@pytest.mark.parametrize(
    ("grades", "told", "more"),
    [
        (["danger"] * 7 + ["caution"], 7, 1),
        (["danger"] * 2 + ["caution"] * 7, 6, 3),
        (["caution"] * 6, 6, 0),
        (["info"], 1, 0),
    ],
)
def test_every_danger_is_told_and_what_is_left_out_is_counted(grades, told, more):
    hazards = tuple(ChartHazard(grade, FIRST, LAST, f"Hazard {k} & so.") for k, grade in enumerate(grades))
    page = written((session(1, 3, "10:00", "13:00"),), hazards)
    (listed,) = re.findall(r'<ul class="hazards">(.*?)</ul>', page, re.S)
    lines = [re.sub("<[^>]+>", "", one) for one in re.findall(r"<li>(.*?)</li>", listed, re.S)]
    expected = [
        {"danger": "Danger: ", "caution": "Caution: "}.get(grade, "") + f"Hazard {k} &amp; so."
        for k, grade in enumerate(grades[:told])
    ]
    assert [one.lstrip("!i? ") for one in lines[:told]] == expected
    assert [one.lstrip("!i? ") for one in lines[told:]] == (
        [f"and {more} more, in the account of each session."] if more else []
    )


def test_a_day_names_two_sessions_in_time_order_and_counts_the_others():
    sessions = (
        session(1, 3, "18:00", "21:00"), session(2, 3, "05:00", "08:00"), session(3, 3, "12:00", "14:00"),
        session(4, 4, "00:00", "02:00"), session(5, 7, "12:00", "14:00"), session(6, 7, "02:00", "04:00"),
    )  # fmt: skip
    rows = days(written(sessions))
    told = {
        day: re.findall(r'<b class="rank">(\d)</b> ([\d:\N{EN DASH}]+) bass', row)
        for day, row in rows.items()
        if "rank" in row
    }
    assert told == {
        3: [("2", "05:00\N{EN DASH}08:00"), ("3", "12:00\N{EN DASH}14:00")],
        4: [("4", "00:00\N{EN DASH}02:00")],
        7: [("6", "02:00\N{EN DASH}04:00"), ("5", "12:00\N{EN DASH}14:00")],
    }
    assert [day for day, row in rows.items() if "+1 more" in row] == [3]
    assert "more" not in rows[7]


@pytest.mark.parametrize(("busy", "of"), [(5, "airy"), (6, "dense")])
def test_print_is_smaller_where_many_days_have_two_lines(busy, of):
    sessions = tuple(
        session(k, day, start, "23:00") for k, day in enumerate(range(1, busy + 1), 1) for start in ("08:00", "20:00")
    )
    assert f'<body class="{of}">' in written(sessions)


def test_what_is_unknown_of_a_month_is_said():
    page = written(datum="unknown")
    assert "heights in metres datum unknown; clock times: Europe/London (BST then GMT)" in page
    assert "No session this month." in page
    assert "<h1>Ledge &lt;i&gt;</h1>" in page
    assert "heights in metres above chart datum;" in written()


def test_a_day_on_which_the_clocks_change_says_so_and_tells_apart_what_is_shown_twice():
    twice = us(25, "01:36")
    events = tuple(KeyTime(np.datetime64(at, "us"), "high_water", 4.8) for at in (twice, twice + HOUR, us(25, "13:50")))
    page = written(events=events)
    rows = days(page)
    assert said(rows[25], "HW") == ["01:36+01:00 4.8", "01:36+00:00 4.8", "13:50 4.8"]
    assert "clocks back 1 h at 02:00</span></th>" in rows[25]
    assert [day for day, row in rows.items() if "clocks" in row] == [25]
    assert "clock times: Europe/London (BST then GMT)" in page


@pytest.mark.parametrize(
    ("zone", "date", "named"),
    [
        ("WET", "2027-03-27", "WET"),
        ("WET", "2027-03-28", "WET (WET then WEST)"),
        ("WET", "2027-03-29", "WET (WEST)"),
        ("Europe/London", "2027-10-31", "Europe/London (BST then GMT)"),
        ("Australia/Lord_Howe", "2027-04-04", "Australia/Lord_Howe (UTC+11:00 then UTC+10:30)"),
        ("Etc/UTC", "2027-03-28", "Etc/UTC (UTC)"),
    ],
)
def test_clocks_are_called_what_they_show(zone, date, named):
    start = dt.datetime.fromisoformat(date).replace(tzinfo=zoneinfo.ZoneInfo(zone))
    ends = [round(one.timestamp()) * 1_000_000 for one in (start, start + dt.timedelta(days=1))]
    span = TimeSpan(*(np.datetime64(at, "us") for at in ends))
    assert chart(zone=zoneinfo.ZoneInfo(zone), span=span).clocks == named


def line(strip: str, of: str = "line") -> list[tuple[float, float]]:
    (drawn,) = re.findall(rf'<path class="{of}" d="M([^"Z]*)Z?"', strip)
    return [(float(x), float(y)) for x, y in (point.split() for point in drawn.split("L"))]


@pytest.mark.parametrize(("day", "hours"), [(3, 24), (25, 25)])
def test_a_strip_is_as_wide_as_its_day_whatever_its_length(day, hours):
    one, two = session(1, day, "12:00", "15:00"), session(2, day - 1, "23:00", "23:30")
    across = replace(two.drawn, end_us=us(day, "00:00") + HOUR, best_us=(two.drawn.start_us, us(day, "00:30")))
    drawn = chart(sessions=(one.drawn, across))
    start, end = us(day), us(day) + hours * HOUR
    strip = draw_strip(drawn, start, end, 1.0, 3.5)
    points = line(strip)
    # From 2 px above the bottom at 1 m to 2 below the top at 3.5 m, every twenty minutes, and at the last sample.
    np.testing.assert_allclose([x for x, _ in points[:4]], np.arange(4) * 240.0 / (3 * hours), atol=0.051)
    assert points[0] == (0.0, 22.0)
    # The next day begins anew at 1 m: its first sample ends the line.
    assert points[-1] == (240.0, 22.0)
    assert len(points) == 3 * hours + 1
    assert points[-2][1] == pytest.approx(22.0 - 20.0 * 0.1 * (hours - 1.0 / 3.0) / 2.5, abs=0.051)
    # The water reaches from there down to the bottom; a line at every quarter of the day.
    assert line(strip, "sea") == [*points, (240.0, 24.0), (0.0, 24.0)]
    assert re.findall(r'class="grid" d="M([\d.]+) 0.0L\1 24.0"', strip) == ["60.0", "120.0", "180.0"]
    boxes = re.findall(r'<rect class="box" x="([\d.]+)" y="4.0" width="([\d.]+)" height="16.0"', strip)
    noon = 12 if hours == 24 else 13
    expected = [(noon / hours * 240.0, 3 / hours * 240.0), (0.0, 240.0 / hours)]
    np.testing.assert_allclose([[float(part) for part in one] for one in boxes], expected, atol=0.051)
    # What is narrow has no room for its rank.
    assert re.findall(r">(\d)</text>", strip) == ["1"]
    (night,) = re.findall(r'<rect class="night" x="0.0" y="0.0" width="([\d.]+)" height="24.0"', strip)
    assert float(night) == pytest.approx(6 / hours * 240.0, abs=0.051)


def test_a_strip_leaves_out_heights_that_are_not_known():
    heights = chart().heights.copy()
    known = (chart().times_us >= us(3, "06:00")) & (chart().times_us < us(3, "12:00"))
    strip = draw_strip(chart(heights=np.where(known, heights, np.nan)), us(3), us(4), 1.0, 3.4)
    xs = [x for x, _ in line(strip)]
    assert (xs[0], len(xs)) == (60.0, 19)
    assert 119.0 - 1.0 < xs[-1] < 120.0
    assert "line" not in draw_strip(chart(heights=np.full(heights.size, np.nan)), us(3), us(4), 1.0, 3.4)
