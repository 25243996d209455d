"""A mark at an instant and what comes: the same values as the timeline's, and words that hold what the columns say."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.conditions.issues import START, issue, observed, ticks
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tests.tidecore.timeline.test_access import GALE, fields
from tests.tidecore.timeline.test_shore import BEACH
from tidecore.conditions import Conditions
from tidecore.errors import InvalidInput
from tidecore.model import TideModel
from tidecore.timeline import Timeline, build_timeline
from tidecore.timeline.coming import AHEAD_H, NEXT, VALUES, Coming, coming

MINUTE = 60_000_000


def line(*issues: Any, mark: Any = None, tide: str = "large") -> Timeline:
    told = Conditions.of(issues) if issues else None
    place = mark or mark_at(time_zone="Etc/UTC")
    return build_timeline(place, model_of(tide), START, START + np.timedelta64(2, "D"), names=(), conditions=told)


def look(timeline: Timeline, first: float = 6.0, hours: float = 6.0) -> Coming:
    start, end = ticks(first, first + hours).tolist()
    return coming(timeline, start, end)


def test_values_are_those_of_the_timeline() -> None:
    timeline = line()
    found = look(timeline)
    expected = timeline.at(ticks(6.0), VALUES)
    assert found.values["height"] == expected["height"][0]
    assert found.values["direction"] == expected["direction"][0]
    assert found.values["light"] == expected["light"][0]
    assert found.values["access_open"] is None
    assert found.values["stream_speed"] is None


def test_the_next_of_each_kind_is_the_first_after_the_instant() -> None:
    timeline = line()
    found = look(timeline)
    start = START + np.timedelta64(6, "h")
    later = [one for one in timeline.events(start, start + np.timedelta64(AHEAD_H, "h")) if one.time >= start]
    for name in NEXT:
        first = next(one for one in later if one.kind.startswith(name))
        assert found.upcoming[name] == first


def test_without_lags_slack_is_not_known_and_it_is_said() -> None:
    found = look(line(mark=mark_without_lags(time_zone="Etc/UTC")))
    assert found.upcoming["slack"] is None
    assert any(one.startswith("slack: ") for one in found.unknown)
    assert any("when it turns is not known" in one for one in found.sentences)


def test_where_the_sun_does_not_set_no_event_is_made_up() -> None:
    north = mark_at(latitude=75.0, time_zone="Etc/UTC")
    dark = build_timeline(north, model_of("large"), "2026-12-20", "2026-12-23", names=())
    at = int(np.datetime64("2026-12-21T10:00", "us").astype(np.int64))
    found = coming(dark, at, at + 6 * 3_600_000_000)
    assert found.upcoming["sunrise"] is found.upcoming["sunset"] is None
    assert found.values["light"] != "day"


def test_the_words_of_the_tide_are_its_high_and_low_waters() -> None:
    timeline = line()
    found = look(timeline, 6.0, 12.0)
    told = next(one for one in found.sentences if one.startswith("The tide"))
    start = START + np.timedelta64(6, "h")
    turns = [
        one
        for one in timeline.events(start, start + np.timedelta64(12, "h"))
        if one.kind in ("high_water", "low_water")
    ]
    assert turns
    for one in turns:
        assert f"{one.height:.2f} m at {str(one.time)[11:16]}" in told


#: A double high water, a double low water, and tides without either; the first is of its own latitude and level.
DOUBLE_HIGH = TideModel.from_constituents(
    {"M2": (0.6, 100.0), "M4": (0.3, 20.0), "S2": (0.1, 120.0), "M6": (0.05, 10.0)},
    latitude=50.0, mean_level=2.0, convention="utide", datum="local",
)  # fmt: skip


@pytest.mark.parametrize("tide", ["double_high", "double_low", "large", "mixed", "diurnal"])
def test_the_tide_rises_and_falls_as_its_curve_does(tide: str) -> None:
    model = DOUBLE_HIGH if tide == "double_high" else model_of(tide)
    timeline = build_timeline(mark_at(time_zone="Etc/UTC"), model, START, START + np.timedelta64(2, "D"), names=())
    for first in range(0, 24, 2):
        found = look(timeline, float(first), 6.0 + first % 8)
        (told,) = (one for one in found.sentences if one.startswith("The tide"))
        steps = re.findall(
            r"(rises|falls) (?:from [\d.]+ m now )?to (?:high water |low water )?([\d.]+) m at ([\d:]+)", told
        )
        assert told.count("rises") + told.count("falls") == len(steps), told
        at = found.time_us
        for way, height, shown in steps:
            hour, minute = map(int, shown.split(":"))
            until = at // (1440 * MINUTE) * 1440 * MINUTE + (60 * hour + minute) * MINUTE
            until += 1440 * MINUTE if until < at - MINUTE else 0
            levels = timeline.at(np.arange(at + MINUTE, until, MINUTE, dtype=np.int64), ("height",))["height"]
            assert ((np.diff(levels) > 0.0) == (way == "rises")).all(), (told, way)
            assert timeline.at(np.array([until]), ("height",))["height"][0] == pytest.approx(float(height), abs=0.011)
            at = until + MINUTE
        assert until == found.until_us


def test_a_second_rise_is_told_where_a_high_water_is_double() -> None:
    timeline = build_timeline(mark_at(time_zone="Etc/UTC"), DOUBLE_HIGH, "2026-12-01", "2026-12-03", names=())
    at = int(np.datetime64("2026-12-01T09:00", "us").astype(np.int64))
    found = coming(timeline, at, at + 360 * MINUTE)
    assert "The tide rises to 2.34 m at 10:36, then falls to 1.21 m at 15:00." in found.sentences


def test_where_there_is_no_tide_it_is_said() -> None:
    found = look(line(tide="none"))
    assert not found.tidal
    told = [one for one in found.sentences if "tide" in one]
    assert told == ["No tide to speak of: the level is 3.00 m now and 3.00 m at 12:00."]
    assert look(line()).tidal


def test_a_time_that_could_be_of_today_has_its_weekday() -> None:
    timeline = line()
    told = " ".join(look(timeline, 6.0, 24.0).sentences)
    assert " m at Tue 06:00" in told
    shown = re.findall(r"(Tue )?(\d\d:\d\d)", told)
    assert all(not day or clock >= "06:00" for day, clock in shown)


def test_the_words_of_the_stream_are_in_the_order_of_time_and_say_which_way_it_is_strongest() -> None:
    timeline = line()
    found = look(timeline, 6.0, 12.0)
    told = next(one for one in found.sentences if one.startswith("The stream"))
    times = ticks(*np.arange(6.0, 18.0, 1 / 60).tolist())
    index = timeline.at(times, ("flow_index",))["flow_index"]
    assert (" (flood, " if index[np.argmax(np.abs(index))] > 0.0 else " (ebb, ") in told
    clocks = re.findall(r"\d\d:\d\d", told)
    assert len(clocks) >= 2, "a slack, and when it is strongest"
    assert clocks == sorted(clocks)


def test_conditions_are_told_with_their_issue_and_its_age() -> None:
    old = issue([0.0, 3.0, 6.0, 9.0, 12.0], -6.0, wave_height_m=[0.5, 0.5, 0.6, 1.2, 1.6])
    seen = observed([5.5], weed=["odd_strand"])
    found = look(line(old, seen))
    by_name = {one.name: one for one in found.conditions}
    assert set(by_name) == {"wave_height_m", "weed"}
    sea = by_name["wave_height_m"]
    assert (sea.value, sea.unit, sea.kind, sea.age_h) == (0.6, "m", "forecast", 12.0)
    assert by_name["weed"].value == "odd_strand"
    assert by_name["weed"].age_h == pytest.approx(0.5)
    assert "Sea 0.6 m, up to 1.6 at 12:00." in found.sentences
    assert "Wind not assessed: nothing tells of it in this time." in found.sentences


def test_a_forecast_that_ends_is_said_to_end() -> None:
    found = look(line(issue([0.0, 3.0, 6.0, 9.0], -6.0, wave_height_m=[1.5, 1.5, 1.5, 0.9])))
    assert "Sea 1.5 m, down to 0.9 at 09:00; not assessed after 09:00." in found.sentences


def test_access_that_changes_is_told() -> None:
    gate = [{"kind": "gate", "state": "open", "hours": {"from": "05:00", "to": "10:00"}}]
    found = look(line(mark=mark_at(time_zone="Etc/UTC", access=gate)))
    assert found.values["access_open"] is True
    assert found.access_changes_us == ticks(10.0)[0]
    assert "Access closes at 10:00." in found.sentences


def test_midnight_changes_no_access_where_both_sides_of_it_are_alike() -> None:
    wall = [{"kind": "gate", "state": "closed", "hours": {"from": "22:00", "to": "06:30"}}]
    timeline = line(mark=mark_at(time_zone="Etc/UTC", access=wall))
    night = look(timeline, 23.0, 8.0)
    assert night.values["access_open"] is False
    assert night.access_changes_us == ticks(30.5)[0]
    assert "Access opens at 06:30." in night.sentences
    # Nor is it one where a forecast has another hour, of a wind that never closes the mark.
    calm = issue([3.0 * k for k in range(17)], 0.0, wind_speed_m_per_s=[3.0 + k % 2 for k in range(17)])
    day = look(line(calm, mark=mark_at(time_zone="Etc/UTC", access=[*wall, GALE])), 10.0, 22.0)
    assert day.access_changes_us == ticks(22.0)[0]
    assert "Access closes at 22:00, then opens at 06:30." in day.sentences


@settings(max_examples=40, deadline=None)
@given(
    st.lists(fields, max_size=3),
    st.none() | st.lists(st.none() | st.integers(0, 30), min_size=2, max_size=10),
    st.integers(0, 24 * 60),
    st.integers(30, 24 * 60),
)
def test_access_changes_where_a_scan_of_the_minutes_says_so(calendar, speeds, first, minutes) -> None:
    told = (
        []
        if speeds is None or all(one is None for one in speeds)
        else [issue([3.0 * k for k in range(len(speeds))], 0.0, wind_speed_m_per_s=speeds)]
    )
    try:
        mark = mark_at(access=[*calendar, GALE])
    except InvalidInput:
        return
    timeline = line(*told, mark=mark)
    at = int(ticks(first / 60)[0])
    found = coming(timeline, at, at + minutes * MINUTE)
    scan = np.arange(at, timeline.span.end_us, MINUTE, dtype=np.int64)
    state = timeline.at(scan, ("access_open",))["access_open"]
    changed = np.flatnonzero(state[1:] != state[:-1]) + 1
    if changed.size:
        assert found.access_changes_us is not None
        assert scan[changed[0] - 1] < found.access_changes_us <= scan[changed[0]]
    else:
        assert found.access_changes_us is None or found.access_changes_us > scan[-1]
    said = " ".join(one for one in found.sentences if one.startswith("Access"))
    inside = changed[scan[changed] < found.until_us]
    words = {(1, 0): "closes at", (0, 1): "opens at", (-1, 0): "closed from", (-1, 1): "open from"}
    expected = [words.get((int(state[k - 1]), int(state[k])), "not known from") for k in inside]
    assert re.findall(r"closes at|opens at|closed from|open from|not known from", said) == expected


def test_the_edge_of_the_water_is_that_of_the_column() -> None:
    timeline = line(mark=mark_at(time_zone="Etc/UTC", **BEACH))
    found = look(timeline, 3.0, 3.0)
    edge = timeline.at(ticks(3.0, 6.0), ("waterline",))["waterline"]
    assert np.isfinite(edge).all()
    told = next(one for one in found.sentences if one.startswith("The edge"))
    way = "goes out" if edge[1] > edge[0] else "comes in"
    assert told == f"The edge of the water {way} {abs(edge[1] - edge[0]):.0f} m by 06:00."


def test_what_is_not_known_is_named_with_why() -> None:
    found = look(line())
    text = " ".join(found.unknown)
    for name in ("access: ", "edge of the water", "run-up, dry margin", "time left to turn back", "holding: "):
        assert text.count(name) == 1
    assert "_" not in text
    assert "no forecast or observation" in text
