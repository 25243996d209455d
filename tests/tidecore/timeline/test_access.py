"""Whether a mark is open: against a clock read minute by minute, and gale closures against a wind that is given."""

from __future__ import annotations

import dataclasses
import datetime
import zoneinfo
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.calendars.clocks import at_every_minute, holds, utc
from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.errors import InvalidInput
from tidecore.place import Mark
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, from_microseconds
from tidecore.timeline import access, build_timeline
from tidecore.timeline.columns import Timeline

MODEL = model_of("plain")
GALE = {"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 15}


def entry(kind: str, state: str, **fields: Any) -> dict[str, Any]:
    return {"kind": kind, "state": state, **fields}


def hours(first: str, last: str) -> dict[str, Any]:
    return {"hours": {"from": first, "to": last}}


def timeline_of(mark: Mark, start: str, end: str) -> Timeline:
    return build_timeline(mark, MODEL, start, end, names=["access_open"])


def open_at(calendar: list[dict[str, Any]], shown: datetime.datetime) -> int:
    """Whether a calendar without gale closures is open when a clock shows this, read from the document alone."""
    if any(one["state"] == "closed" and holds(one, shown) for one in calendar):
        return 0
    for kind in {one["kind"] for one in calendar if one["state"] == "open"}:
        opened = [one for one in calendar if one["kind"] == kind and one["state"] == "open"]
        if not any(holds(one, shown) for one in opened):
            return 0
    return 1


clock_times = st.integers(0, 95).map(lambda quarter: f"{quarter // 4:02d}:{15 * (quarter % 4):02d}")
fields = st.fixed_dictionaries(
    {"kind": st.sampled_from(["gate", "pier_hours", "bathing"]), "state": st.sampled_from(["open", "closed"])},
    optional={
        "hours": st.tuples(clock_times, clock_times)
        .filter(lambda two: two[0] != two[1])
        .map(lambda two: {"from": two[0], "to": two[1]}),
        "weekdays": st.sets(st.sampled_from(["saturday", "sunday", "monday"]), min_size=1).map(sorted),
        "season": st.sampled_from([{"from": "03-29", "to": "10-24"}, {"from": "10-25", "to": "03-28"}]),
    },
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(fields, min_size=1, max_size=5),
    # Two days about a change of the clocks, in zones that change at different hours, by different steps.
    st.sampled_from(
        [
            ("Europe/London", "2026-03-28T12:00"),
            ("Europe/London", "2026-10-24T12:00"),
            ("Australia/Lord_Howe", "2026-04-03T12:00"),
            ("America/St_Johns", "2026-11-01T00:00"),
            ("Africa/Cairo", "2026-04-23T12:00"),
            ("Etc/UTC", "2026-10-24T12:00"),
        ]
    ),
)
def test_a_mark_is_open_at_the_minutes_at_which_its_calendar_says_so(calendar, place):
    zone, start = place
    try:
        mark = mark_at(time_zone=zone, access=calendar)
    except InvalidInput:
        return
    (start_us,) = utc(start)
    minutes = np.arange(start_us, start_us + 48 * US_PER_HOUR, US_PER_MINUTE)
    timeline = timeline_of(mark, start, str(np.datetime64(start) + np.timedelta64(2, "D")))
    found = timeline.at(from_microseconds(minutes), ["access_open"])["access_open"]
    expected = at_every_minute(
        lambda shown: open_at(calendar, shown), zoneinfo.ZoneInfo(zone), start_us, int(minutes[-1]) + US_PER_MINUTE
    )
    assert found.tolist() == expected
    # Exact breaks: it changes nowhere else, and holds from each break on.
    breaks = timeline.breaks_us(["access_open"])
    changes = minutes[1:][np.diff(found) != 0]
    assert set(changes) <= set(breaks)
    sides = timeline.at(from_microseconds(np.column_stack((breaks - 1, breaks)).ravel()), ["access_open"])
    pairs = sides["access_open"].reshape(-1, 2)
    assert (pairs[:, 0] != pairs[:, 1])[np.isin(breaks, changes)].all()


def test_nothing_is_known_at_a_mark_without_a_calendar():
    timeline = timeline_of(mark_at(), "2026-06-01", "2026-06-02")
    assert set(timeline.columns["access_open"]) == {-1}
    assert timeline.breaks_us(["access_open"]).tolist() == []
    assert timeline.unknown_names() == ("access_open",)


def test_a_night_gate_worked_by_hand():
    # British summer time began on 29 March 2026 at 01:00 UTC, so 05:30 on the clock is 05:30 UTC and then 04:30.
    mark = mark_at(access=[entry("gate", "open", **hours("05:30", "22:00"))])
    timeline = timeline_of(mark, "2026-03-28", "2026-03-30")
    inside = [one for one in timeline.breaks_us(["access_open"]) if utc("2026-03-28")[0] <= one < utc("2026-03-30")[0]]
    assert inside == utc("2026-03-28T05:30", "2026-03-28T22:00", "2026-03-29T04:30", "2026-03-29T21:00")


def test_open_entries_of_two_kinds_must_both_hold():
    mark = mark_at(
        time_zone="Etc/UTC",
        access=[entry("gate", "open", **hours("06:00", "20:00")), entry("car_park", "open", **hours("08:00", "23:00"))],
    )
    column = build_timeline(mark, MODEL, "2026-06-01", "2026-06-02", "1h", names=["access_open"]).columns["access_open"]
    assert column.tolist() == [1 if 8 <= hour < 20 else 0 for hour in range(24)]


def given_wind(monkeypatch: pytest.MonkeyPatch, times_us: list[int], speeds: list[float]) -> None:
    """Give a wind that is linear between some instants, and unknown before the first and from the last on."""

    def compute(frame):
        at = frame.times_us
        inside = (at >= times_us[0]) & (at < times_us[-1])
        return np.where(inside, np.interp(at.astype(np.float64), times_us, speeds), np.nan)

    (_, wind), waves = access._BY_THE_SEA
    wind = dataclasses.replace(wind, compute=compute, breaks=lambda _sources: np.array(times_us, dtype=np.int64))
    monkeypatch.setattr(access, "_BY_THE_SEA", (("wind_over_m_per_s", wind), waves))


def test_a_gale_closes_while_the_wind_is_over_its_limit_and_no_longer(monkeypatch):
    given_wind(monkeypatch, utc("2026-06-01T03:00", "2026-06-01T09:00", "2026-06-01T21:00"), [10.0, 20.0, 10.0])
    timeline = timeline_of(mark_at(access=[GALE]), "2026-06-01", "2026-06-02")
    assert timeline.breaks_us(["access_open"]).tolist() == [
        utc("2026-06-01T03:00")[0],
        utc("2026-06-01T06:00")[0] + 1,  # 15 m/s, after half of the rise: over it from the next microsecond
        utc("2026-06-01T09:00")[0],
        utc("2026-06-01T15:00")[0],
        utc("2026-06-01T21:00")[0],
    ]
    moments = ["00:00", "03:00", "06:00", "06:01", "14:59", "15:00", "20:59", "21:00"]
    found = timeline.at(np.array([np.datetime64(f"2026-06-01T{one}") for one in moments]), ["access_open"])
    assert found["access_open"].tolist() == [-1, 1, 1, 0, 0, 1, 1, -1]


def test_a_gale_is_unknown_where_the_wind_is_and_only_where_it_matters():
    calendar = [
        {**GALE, "hours": {"from": "06:00", "to": "18:00"}},
        entry("pier_hours", "closed", **hours("16:00", "20:00")),
    ]
    mark = mark_at(time_zone="Etc/UTC", access=calendar)
    column = build_timeline(mark, MODEL, "2026-06-01", "2026-06-02", "1h", names=["access_open"]).columns["access_open"]
    assert column.tolist() == [1] * 6 + [-1] * 10 + [0] * 4 + [1] * 4


def test_one_of_two_limits_passed_is_enough_and_the_other_may_be_unknown(monkeypatch):
    given_wind(monkeypatch, utc("2026-06-01T00:00", "2026-06-01T12:00", "2026-06-02T00:00"), [20.0, 20.0, 8.0])
    mark = mark_at(time_zone="Etc/UTC", access=[{**GALE, "wave_height_over_m": 2.0}])
    timeline = build_timeline(mark, MODEL, "2026-06-01", "2026-06-02", "6h", names=["access_open"])
    # Waves are not known: a gale of wind closes, and a light wind does not open.
    assert timeline.columns["access_open"].tolist() == [0, 0, 0, -1]
