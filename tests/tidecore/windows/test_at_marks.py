"""Rules of the trade at marks with real tides and a real sky. Numbers of rules are common practice."""

from __future__ import annotations

import datetime
import pickle
from typing import Any

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tests.tidecore.windows.doubles import one_of, rule, trapezoid
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import explain, find_windows, score_rule

START, END = np.datetime64("2026-03-20", "us"), np.datetime64("2026-04-03", "us")
SECOND = np.timedelta64(1, "s")


@pytest.fixture(scope="module")
def timeline() -> Timeline:
    return build_timeline(mark_at(), model_of("large"), START, END)


@pytest.fixture(scope="module")
def unlagged() -> Timeline:
    return build_timeline(mark_without_lags(), model_of("large"), START, END)


def flounder() -> SpeciesRule:
    """First 2 to 3 h of the flood, moving water, an easy sea (which nobody has said)."""
    return rule(
        require=[
            ("hours_from_lw", trapezoid(-0.5, 0.5, 2.5, 3.5), {}),
            ("flow_strength", trapezoid(0.1, 0.3, None, None), {}),
        ],
        prefer=[("light", one_of("day", "civil_twilight"), {}), ("wave_height", trapezoid(None, None, 0.5, 1.5), {})],
    )


def test_from_two_hours_before_low_water_to_one_after(timeline: Timeline) -> None:
    windows = find_windows(rule(require=[("hours_from_lw", trapezoid(-2, -2, 1, 1), {})]), timeline)
    lows = [event.time for event in timeline.events() if event.kind == "low_water"]
    whole = [window for window in windows if not window.starts_before and not window.ends_after]
    assert len(whole) >= len(lows) - 2
    for window in whole:
        (low,) = [event.time for event in window.key_times if event.kind == "low_water"]
        assert abs(low - window.start - np.timedelta64(2, "h")) < SECOND
        assert abs(window.end - low - np.timedelta64(1, "h")) < SECOND
        assert window.mean_score == pytest.approx(1.0, abs=1e-12)
        assert window.limiting_factor is None


def test_daylight_lasts_from_sunrise_to_sunset(timeline: Timeline) -> None:
    windows = find_windows(rule(require=[("light", one_of("day"), {})]), timeline)
    events = timeline.events()
    rises = [event.time for event in events if event.kind == "sunrise"]
    sets = [event.time for event in events if event.kind == "sunset"]
    assert len(windows) == 14
    for window, sunrise, sunset in zip(windows, rises, sets, strict=True):
        assert abs(window.start - sunrise) < SECOND
        assert abs(window.end - sunset) < SECOND


def test_a_month_begins_at_the_midnight_of_the_mark(timeline: Timeline) -> None:
    april = {"kind": "cyclic", "from": 4, "full_from": 4, "full_to": 4, "to": 4}
    (window,) = find_windows(rule(require=[("month", april, {})]), timeline)
    midnight = datetime.datetime(2026, 4, 1, tzinfo=timeline.mark.zone).astimezone(datetime.UTC).replace(tzinfo=None)
    assert abs(window.start - np.datetime64(midnight, "us")) < SECOND
    assert (window.end, window.ends_after) == (END, True)


def test_a_rule_of_the_trade_finds_explained_windows(timeline: Timeline) -> None:
    windows = find_windows(flounder(), timeline)
    assert len(windows) > 5
    for window in windows:
        assert window.flow_reliable is True
        (unknown,) = window.unknowns
        assert (unknown.factor, unknown.policy, unknown.share) == ("wave_height", "ignore", 1.0)
        roles = [(given.factor, given.role) for given in window.contributions]
        assert roles == [
            ("hours_from_lw", "require"),
            ("flow_strength", "require"),
            ("light", "prefer"),
            ("wave_height", "prefer"),
        ]
        assert window.limiting_factor in {factor for factor, _ in roles[:3]}
    # Windows in the dark score at most the floor of light.
    assert min(window.mean_score for window in windows) < 0.5 or len(windows) < 20


def test_required_flow_is_unknown_where_the_stream_is(unlagged: Timeline) -> None:
    assert find_windows(flounder(), unlagged) == []
    why = explain(flounder(), unlagged)
    assert why.excluded_by == ("flow_strength",)
    assert why.excluded_share == 1.0
    assert any("slack lags" in sentence for sentence in why.sentences)


def test_preferred_flow_is_a_proxy_and_says_so(unlagged: Timeline, timeline: Timeline) -> None:
    asked = rule(
        require=[("hours_from_lw", trapezoid(-2, -2, 2, 2), {})],
        prefer=[("flow_strength", trapezoid(0, 1, None, None), {})],
    )
    assert {window.flow_reliable for window in find_windows(asked, unlagged)} == {False}
    assert {window.flow_reliable for window in find_windows(asked, timeline)} == {True}


def test_only_a_rule_that_tolerates_it_finds_windows_in_an_unknown_sea(timeline: Timeline) -> None:
    for policy, found in (("exclude", False), ("penalise", False), ("ignore", True)):
        asked: Any = rule(
            require=[
                ("hours_from_lw", trapezoid(-2, -2, 2, 2), {}),
                ("sea_temperature", trapezoid(9, 9, None, None), {"unknown": policy}),
            ]
        )
        assert bool(find_windows(asked, timeline)) is found


def test_a_station_without_a_tide_has_no_windows_of_the_tide() -> None:
    still = build_timeline(mark_at(), model_of("none"), START, END)
    asked = rule(require=[("hours_from_lw", trapezoid(-6, -6, 6, 6), {})])
    assert find_windows(asked, still) == []
    (unknown,) = explain(asked, still).unknowns
    assert "no tide" in unknown.reason


def test_the_same_search_gives_the_same_answer(timeline: Timeline) -> None:
    again = build_timeline(mark_at(), model_of("large"), START, END)
    shipped: Timeline = pickle.loads(pickle.dumps(timeline))
    assert find_windows(flounder(), timeline) == find_windows(flounder(), again) == find_windows(flounder(), shipped)


def test_a_timeline_without_the_columns_of_a_rule_is_searched_all_the_same(timeline: Timeline) -> None:
    bare = build_timeline(mark_at(), model_of("large"), START, END, names=["height"])
    assert find_windows(flounder(), bare) == find_windows(flounder(), timeline)
    np.testing.assert_array_equal(score_rule(flounder(), bare).score, score_rule(flounder(), timeline).score)
