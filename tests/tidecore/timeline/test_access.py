"""Whether a mark is open: against a clock read minute by minute, and gale closures against a wind that is given."""

from __future__ import annotations

import datetime
import zoneinfo
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.calendars.clocks import at_every_minute, holds, utc
from tests.tidecore.conditions.issues import START, issue, ticks
from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.conditions import Conditions
from tidecore.errors import InvalidInput
from tidecore.place import Mark
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, from_microseconds
from tidecore.timeline import build_timeline, find_factor
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


def windy(*speeds: float | None, **more: Any) -> Conditions:
    """A forecast of the wind every three hours from 03:00 on 5 October 2026, and of what else is said."""
    columns = {"wind_speed_m_per_s": speeds, **more}
    return Conditions.of([issue([3.0 * (k + 1) for k in range(len(speeds))], 0.0, **columns)])


def on_the_day(mark: Mark, conditions: Conditions | None, step: str = "1h") -> Timeline:
    end = START + np.timedelta64(1, "D")
    return build_timeline(mark, MODEL, START, end, step, names=["access_open"], conditions=conditions)


def test_a_gale_closes_while_the_wind_is_over_its_limit_and_no_longer():
    mark = mark_at(access=[{**GALE, "wind_over_m_per_s": 16}])
    timeline = on_the_day(mark, windy(10.0, 15.0, 20.0, 17.5, 15.0, 12.5, 10.0))
    # 5 m/s more in three hours to 09:00, so 16 m/s is passed at 06:36; 2.5 less in three from 12:00, so at 13:48.
    up, down = ticks(6.6, 13.8)
    breaks = timeline.breaks_us(["access_open"])
    assert {up + 1, down} <= set(breaks)
    found = timeline.at(np.array([up - 1, up, up + 1, down - 1, down, down + 1]), ["access_open"])["access_open"]
    assert found.tolist() == [1, 1, 0, 0, 1, 1]
    # Between two breaks it does not change: every minute is as the break before it.
    minutes = ticks(*(k / 60 for k in range(24 * 60)))
    at_minutes = timeline.at(minutes, ["access_open"])["access_open"]
    edges = np.concatenate(([ticks(0)[0]], breaks[(breaks > minutes[0]) & (breaks <= minutes[-1])]))
    at_edges = timeline.at(edges, ["access_open"])["access_open"]
    assert np.array_equal(at_minutes, at_edges[np.searchsorted(edges, minutes, side="right") - 1])
    assert set(at_minutes[: 3 * 60]) == {-1}


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.none() | st.floats(0, 30), min_size=2, max_size=7),
    st.floats(1, 25),
    st.lists(st.none() | st.floats(0, 5), min_size=7, max_size=7),
)
def test_a_gale_closure_is_what_its_two_limits_say_at_every_minute(speeds, limit, heights):
    if all(speed is None for speed in speeds) or all(height is None for height in heights[: len(speeds)]):
        return
    conditions = windy(*speeds, wave_height_m=heights[: len(speeds)], waves_at="at_mark")
    mark = mark_at(access=[{**GALE, "wind_over_m_per_s": limit, "wave_height_over_m": 2}])
    timeline = on_the_day(mark, conditions)
    minutes = ticks(*(k / 60 for k in range(24 * 60)))
    found = timeline.at(minutes, ["access_open", "wind_speed", "wave_height"])
    wind, waves = found["wind_speed"], found["wave_height"]
    over, unknown = (wind > limit) | (waves > 2.0), np.isnan(wind) | np.isnan(waves)
    assert found["access_open"].tolist() == np.where(over, 0, np.where(unknown, -1, 1)).tolist()
    breaks = timeline.breaks_us(["access_open"])
    edges = np.unique(np.concatenate(([minutes[0]], breaks[(breaks > minutes[0]) & (breaks <= minutes[-1])])))
    at_edges = timeline.at(edges, ["access_open"])["access_open"]
    assert np.array_equal(found["access_open"], at_edges[np.searchsorted(edges, minutes, side="right") - 1])


def test_a_gale_is_unknown_where_the_wind_is_and_only_where_it_matters():
    calendar = [
        {**GALE, "hours": {"from": "06:00", "to": "18:00"}},
        entry("pier_hours", "closed", **hours("16:00", "20:00")),
    ]
    timeline = on_the_day(mark_at(time_zone="Etc/UTC", access=calendar), None)
    assert timeline.columns["access_open"].tolist() == [1] * 6 + [-1] * 10 + [0] * 4 + [1] * 4


def test_it_says_what_it_rests_on_and_why_it_is_unknown():
    factor = find_factor("access_open")
    assert factor.rests_on is not None
    assert factor.why_unknown is not None
    bare = on_the_day(mark_at(), None).sources
    assert factor.why_unknown(bare) == "the mark has no access calendar"
    assert "there is none" in factor.rests_on(bare)
    gated = on_the_day(mark_at(access=[entry("gate", "open", **hours("06:00", "20:00"))]), None).sources
    assert "gale" not in factor.rests_on(gated)
    stormy = mark_at(access=[GALE])
    untold = factor.why_unknown(on_the_day(stormy, None).sources)
    assert untold == "whether a gale closes it: no forecast or observation was given"
    told = on_the_day(stormy, windy(10.0, 12.0)).sources
    assert "Invented Met" in factor.rests_on(told)
    assert factor.why_unknown(told) != untold
