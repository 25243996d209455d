"""A mark at an instant and what comes: the same values as the timeline's, and words that hold what the columns say."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from tests.tidecore.conditions.issues import START, issue, observed, ticks
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tests.tidecore.timeline.test_shore import BEACH
from tidecore.conditions import Conditions
from tidecore.timeline import Timeline, build_timeline
from tidecore.timeline.coming import AHEAD_H, NEXT, VALUES, Coming, coming


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
