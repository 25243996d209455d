from __future__ import annotations

import math
from dataclasses import FrozenInstanceError
from typing import Any

import numpy as np
import pytest

from tests.tidecore.windows.doubles import hour, one_of, rule, timeline, trapezoid
from tidecore.windows import Window, explain, find_windows

SECOND = np.timedelta64(1, "s")


def near(found: np.datetime64, wanted: np.datetime64) -> bool:
    return bool(abs(found - wanted) <= SECOND)


def hill(hours: Any) -> Any:
    """0 at the start, up to 6 at 6 h, back to 0 at 12 h, and so on."""
    return 6.0 - np.abs(hours % 12.0 - 6.0)


def test_edges_means_peak_and_best_hour_by_hand() -> None:
    # Membership rises from 0 at 2 h to 1 at 4 h, holds to 8 h, falls to 0 at 10 h: at least 0.5 from 3 h to 9 h.
    tl = timeline({"height": lambda h: h}, hours=(0.0, 12.0))
    (window,) = find_windows(rule(require=[("height", trapezoid(2, 4, 8, 10), {})]), tl)
    assert near(window.start, hour(3.0))
    assert near(window.end, hour(9.0))
    assert window.duration_h == pytest.approx(6.0, abs=1e-3)
    # 1 h at a mean of 0.75, 4 h at 1, 1 h at 0.75.
    assert window.mean_score == pytest.approx(5.5 / 6.0, abs=1e-5)
    assert window.score_hours == pytest.approx(5.5, abs=1e-3)
    assert window.peak_score == 1.0
    assert near(window.peak_time, hour(4.0))
    assert window.best_hour.start == hour(4.0)
    assert window.best_hour.end == hour(5.0)
    assert window.best_hour.mean_score == pytest.approx(1.0)
    assert not window.best_hour.whole_window
    assert (window.starts_before, window.ends_after) == (False, False)
    # -ln p over a ramp from 0.5 to 1: the integral of -ln p is 0.5 - 0.5 ln 2 over p from 0.5 to 1, of 2 h a unit.
    loss = 2 * 2 * (0.5 - 0.5 * math.log(2)) / 6.0
    (given,) = window.contributions
    assert given.mean_loss == pytest.approx(loss, abs=1e-4)
    assert given.mean_membership == pytest.approx(5.5 / 6.0, abs=1e-5)
    assert window.limiting_factor == "height"
    assert [event.kind for event in window.key_times] == ["high_water"]
    assert window.unknowns == ()
    assert window.flow_reliable is None


def test_the_limiting_factor_is_the_largest_loss_and_none_where_nothing_is_lost() -> None:
    tl = timeline({"height": lambda h: 0.0 * h + 0.9, "rate": lambda h: 0.0 * h + 0.7, "range": lambda h: 0.0 * h + 2})
    rise = trapezoid(0, 1, None, None)
    (window,) = find_windows(rule(require=[("height", rise, {})], prefer=[("rate", rise, {}), ("range", rise, {})]), tl)
    assert window.limiting_factor == "rate"
    losses = {given.factor: given.mean_loss for given in window.contributions}
    assert losses == pytest.approx({"height": -math.log(0.9), "rate": -0.5 * math.log(0.7), "range": 0.0})
    (window,) = find_windows(rule(require=[("range", rise, {})]), tl)
    assert window.limiting_factor is None


def test_losses_of_one_factor_in_two_terms_add_up() -> None:
    tl = timeline({"height": lambda h: 0.0 * h + 0.8, "rate": lambda h: 0.0 * h + 0.7})
    rise = trapezoid(0, 1, None, None)
    asked = rule(prefer=[("height", rise, {}), ("rate", rise, {}), ("height", rise, {})])
    (window,) = find_windows(asked, tl)
    # 2 x -ln 0.8 = 0.446 against -ln 0.7 = 0.357.
    assert window.limiting_factor == "height"


def test_a_window_shorter_than_the_minimum_is_none() -> None:
    tl = timeline({"height": lambda h: h}, hours=(0.0, 12.0))
    short, long = trapezoid(3, 3, 3.49, 3.49), trapezoid(3, 3, 3.5, 3.5)
    assert find_windows(rule(require=[("height", short, {})]), tl) == []
    (window,) = find_windows(rule(require=[("height", long, {})]), tl)
    assert window.duration_h == pytest.approx(0.5, abs=1e-4)
    assert window.best_hour.whole_window
    assert (window.best_hour.start, window.best_hour.end) == (window.start, window.end)
    assert window.best_hour.mean_score == pytest.approx(window.mean_score)
    asked = rule(require=[("height", short, {})], minimum_duration_min=29)
    assert len(find_windows(asked, tl)) == 1


def test_an_hour_that_fits_no_whole_minute_is_the_window_itself() -> None:
    # 60 min 20 s long from 40 s past a minute: no whole hour on a whole minute lies inside.
    start, end = 3.0 + 50 / 3600, 4.0 + 70 / 3600
    tl = timeline({"height": lambda h: h}, hours=(0.0, 12.0))
    (window,) = find_windows(rule(require=[("height", trapezoid(start, start, end, end), {})]), tl)
    assert window.best_hour.whole_window is False
    assert window.best_hour.start == hour(3.0 + 60 / 3600)
    end -= 30 / 3600
    (window,) = find_windows(rule(require=[("height", trapezoid(start, start, end, end), {})]), tl)
    assert window.best_hour.whole_window


def test_the_best_hour_starts_on_a_whole_minute_of_the_highest_mean() -> None:
    # A hill with its top at 6 h 20 min 30 s: the best hour is from 5:50 or 5:51, equal; the first is taken.
    top = 6.0 + 20.5 / 60.0
    tl = timeline({"height": lambda h: 1.0 - 0.1 * np.abs(h - top)}, hours=(0.0, 12.0))
    (window,) = find_windows(rule(require=[("height", trapezoid(0, 1, None, None), {})]), tl)
    assert window.best_hour.start == hour(5.0 + 50.0 / 60.0)


def test_windows_that_the_span_cuts_are_flagged_and_kept() -> None:
    asked = rule(require=[("height", trapezoid(5, 5, None, None), {})])
    # hill() is at least 5 from 5 h to 7 h; and from 17 h to 19 h.
    for hours, flags in (((6.0, 12.0), (True, False)), ((0.0, 6.0), (False, True)), ((5.5, 6.5), (True, True))):
        (window,) = find_windows(asked, timeline({"height": hill}, hours=hours))
        assert (window.starts_before, window.ends_after) == flags
        assert window.start >= hour(hours[0])
        assert window.end <= hour(hours[1])


def test_a_cut_window_counts_as_long_as_it_really_is() -> None:
    asked = rule(require=[("height", trapezoid(5, 5, None, None), {})])
    (window,) = find_windows(asked, timeline({"height": hill}, hours=(6.9, 12.0)))
    assert window.starts_before
    assert window.duration_h == pytest.approx(0.1, abs=1e-3)
    # 12 minutes long in all, 6 of them inside: no window.
    brief = rule(require=[("height", trapezoid(5.9, 5.9, None, None), {})])
    assert find_windows(brief, timeline({"height": hill}, hours=(6.0, 12.0))) == []


def test_a_sliver_that_the_span_leaves_of_a_window_has_an_account() -> None:
    asked = rule(require=[("height", trapezoid(5, 5, None, None), {})])
    (window,) = find_windows(asked, timeline({"height": hill}, hours=(7.0 - 0.01 / 3600.0, 12.0)))
    assert window.starts_before
    assert window.mean_score == window.peak_score == 1.0
    assert window.best_hour.whole_window


def test_a_window_that_ends_where_the_span_starts_is_no_part_of_it() -> None:
    asked = rule(require=[("height", trapezoid(5, 5, None, None), {})])
    # It lasts to 7 h, that instant included.
    assert find_windows(asked, timeline({"height": hill}, hours=(7.01, 12.0))) == []
    exact = rule(require=[("height", trapezoid(7.0, 7.0, None, None), {})])
    (window,) = find_windows(exact, timeline({"height": lambda h: h}, hours=(7.0, 12.0)))
    assert (window.start, window.starts_before) == (hour(7.0), False)


@pytest.mark.parametrize("minutes", [0.2, 1.0, 3.0, 9.0])
def test_a_dip_between_two_samples_splits_a_window(minutes: float) -> None:
    # A smooth top just above the edge of an otherwise flat membership, seen by no sample of 10 min.
    top, half = 6.0 + 4.6 / 60.0, minutes / 120.0
    tl = timeline({"flow_strength": lambda h: 1.0 - (h - top) ** 2}, hours=(4.0, 8.0))
    limit = 1.0 - half**2
    first, second = find_windows(rule(require=[("flow_strength", trapezoid(None, None, limit, limit), {})]), tl)
    assert near(first.end, hour(top - half))
    assert near(second.start, hour(top + half))


def test_a_kink_that_a_factor_names_splits_a_window() -> None:
    slack = 6.0 + 3.3 / 60.0
    tl = timeline({"flow_strength": lambda h: np.abs(h - slack)}, hours=(4.0, 8.0), breaks=[slack])
    first, second = find_windows(rule(require=[("flow_strength", trapezoid(0.02, 0.02, None, None), {})]), tl)
    assert near(first.end, hour(slack - 0.02))
    assert near(second.start, hour(slack + 0.02))


def test_a_peak_just_before_a_jump_is_found() -> None:
    # Hours since something: they reach 6.2 and start again at -6.2; the last 3 minutes are wanted.
    jump = 6.2 + 4.7 / 60.0
    tl = timeline({"hours_from_hw": lambda h: (h - jump) % 12.4 - 6.2}, hours=(4.0, 8.0), breaks=[jump])
    asked = rule(require=[("hours_from_hw", trapezoid(6.15, 6.15, None, None), {})], minimum_duration_min=1)
    (window,) = find_windows(asked, tl)
    assert near(window.start, hour(jump - 0.05))
    assert window.end == hour(jump)


def test_a_narrow_passage_through_a_shape_is_found() -> None:
    # The factor passes the whole trapezoid in 3 minutes, between two samples of 10.
    tl = timeline({"height": lambda h: 100.0 * (h - 6.0)}, hours=(4.0, 8.0))
    asked = rule(require=[("height", trapezoid(4.0, 5.0, 8.0, 9.0), {})], minimum_duration_min=1)
    (window,) = find_windows(asked, tl)
    assert near(window.start, hour(6.045))
    assert near(window.end, hour(6.085))


def test_a_peak_where_two_slopes_cross_is_found() -> None:
    # One requirement falls while the other rises: both reach 0.6 only within a minute of 5 min past a sample.
    middle = 6.0 + 5.0 / 60.0
    functions = {"height": lambda h: 0.65 - 3.0 * (h - middle), "rate": lambda h: 0.65 + 3.0 * (h - middle)}
    shape = trapezoid(0, 1, None, None)
    asked = rule(require=[("height", shape, {}), ("rate", shape, {})], threshold=0.6, minimum_duration_min=1)
    (window,) = find_windows(asked, timeline(functions, hours=(5.0, 8.0)))
    assert near(window.start, hour(middle - 1.0 / 60.0))
    assert near(window.end, hour(middle + 1.0 / 60.0))
    assert window.peak_score == pytest.approx(0.65, abs=1e-3)


def test_a_jump_is_an_edge_to_the_microsecond() -> None:
    at = 6.0 + 7.1234 / 60.0
    tl = timeline({"light": lambda h: np.where(h < at, "night", "day")}, hours=(4.0, 8.0), breaks=[at])
    (window,) = find_windows(rule(require=[("light", one_of("day"), {})]), tl)
    assert window.start == hour(at)
    assert window.mean_score == 1.0


def test_unknown_times_break_a_window_and_are_named() -> None:
    tl = timeline(
        {"height": lambda h: np.where((h >= 5.0) & (h < 6.0), np.nan, 1.0), "wave_height": lambda h: h * np.nan},
        hours=(4.0, 8.0),
        breaks=[5.0, 6.0],
    )
    rise = trapezoid(0, 1, None, None)
    first, second = find_windows(rule(require=[("height", rise, {})], prefer=[("wave_height", rise, {})]), tl)
    assert near(first.end, hour(5.0))
    assert near(second.start, hour(6.0))
    (unknown,) = first.unknowns
    assert (unknown.factor, unknown.role, unknown.policy, unknown.share) == ("wave_height", "prefer", "ignore", 1.0)
    assert unknown.reason == "no forecast or observation was given"
    assert first.contributions[1].mean_membership is None
    assert first.contributions[1].mean_loss == 0.0


def test_a_window_says_when_its_flow_is_a_proxy() -> None:
    functions = {"height": lambda h: 0.0 * h + 1.0, "flow_strength": lambda h: 0.0 * h + 0.9}
    asked = rule(
        require=[("height", trapezoid(0, 1, None, None), {})],
        prefer=[("flow_strength", trapezoid(0, 1, None, None), {})],
    )
    for known in (True, False):
        (window,) = find_windows(asked, timeline(functions, flow_reliable=known))
        assert window.flow_reliable is known


def test_a_search_says_why_nothing_was_found() -> None:
    functions = {
        "height": lambda h: 0.0 * h + 0.2,
        "flow_strength": lambda h: 0.0 * h + 0.9,
        "wave_height": lambda h: h * np.nan,
    }
    rise = trapezoid(0, 1, None, None)
    asked = rule(require=[("flow_strength", rise, {}), ("height", rise, {}), ("wave_height", rise, {})])
    tl = timeline(functions, flow_reliable=False)
    assert find_windows(asked, tl) == []
    why = explain(asked, tl)
    assert why.excluded_by == ("flow_strength", "wave_height")
    assert why.excluded_share == 1.0
    assert (why.best_score, why.best_time, why.holding_share) == (0.0, None, 0.0)
    reports = {report.factor: report for report in why.terms}
    assert reports["height"].best_membership == pytest.approx(0.2)
    assert reports["flow_strength"].best_membership is None
    text = " ".join(why.sentences)
    assert "slack lags" in text
    assert "The height of the tide never suits: at best 0.20" in text
    assert "The best score of the span is 0.000; a window needs 0.500." in text
    assert "The height of the waves (required) is unknown for 100% of the span" in text


def test_an_explanation_of_what_holds() -> None:
    asked = rule(require=[("height", trapezoid(2, 4, 8, 10), {})])
    why = explain(asked, timeline({"height": lambda h: h}, hours=(0.0, 12.0)))
    assert why.best_score == 1.0
    assert why.best_time == hour(4.0)
    assert why.holding_share == pytest.approx(0.5, abs=0.02)
    assert why.excluded_by == ()
    assert why.sentences == ()


def test_an_empty_axis_is_explained() -> None:
    why = explain(
        rule(require=[("height", trapezoid(2, 4, 8, 10), {})]),
        timeline({"height": lambda h: h}, hours=(0.01, 0.02)),
    )
    assert "no instant" in why.sentences[0]


def test_a_coarse_axis_finds_the_same_windows() -> None:
    asked = rule(require=[("height", trapezoid(5.6, 5.6, None, None), {})])
    fine, coarse = (timeline({"height": hill}, hours=(0.0, 24.0), step=step) for step in ("1min", "3h"))
    for one, other in zip(find_windows(asked, fine), find_windows(asked, coarse), strict=True):
        assert near(one.start, other.start)
        assert near(one.end, other.end)
        assert one.mean_score == pytest.approx(other.mean_score, abs=1e-5)


def test_a_window_cannot_be_changed() -> None:
    tl = timeline({"height": lambda h: h}, hours=(0.0, 12.0))
    window: Window = find_windows(rule(require=[("height", trapezoid(2, 4, 8, 10), {})]), tl)[0]
    with pytest.raises(FrozenInstanceError):
        window.start = window.end  # type: ignore[misc]
