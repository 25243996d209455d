"""Why a rule does not hold, which of two sessions, and when to gather bait."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tests.tidecore.windows.doubles import hour, one_of, rule, trapezoid
from tests.tidecore.windows.doubles import timeline as hand_timeline
from tests.tidecore.windows.evenings import DOWN_AND_UP, NEVER, NIGHT_FLOOD, timeline_over
from tidecore.calendars import FreeTime
from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.timeline import build_timeline
from tidecore.windows import compare_sessions, explain_why_not, find_bait_outings, find_sessions, find_windows
from tidecore.windows.bait import days_before
from tidecore.windows.wording import hours_words

NOON = "2026-10-25T12:00"


def test_one_obstacle_that_alone_would_do():
    found = explain_why_not(NIGHT_FLOOD, timeline_over(), NOON)
    (sun,) = found.obstacles
    assert not found.holds
    assert (sun.factor, sun.enough_alone, sun.score_without) == ("sun_altitude", True, 1.0)
    # The ramp from 0 to 8 degrees is half down at 4.
    assert sun.needed == pytest.approx(4.0, abs=0.1)
    assert isinstance(sun.value, float)
    assert isinstance(sun.needed, float)
    assert sun.off_by == pytest.approx(sun.value - sun.needed)
    assert sun.before is not None
    assert sun.after is not None
    assert sun.before < found.time < sun.after
    assert any("height of the sun" in sentence and "off by" in sentence for sentence in found.sentences)


@pytest.mark.parametrize(("short_by", "said"), [(0.0504, "off by 0.05 m"), (0.0004, "off by under 0.01 m")])
def test_what_is_short_of_a_need_is_said_as_people_say_it(short_by, said):
    timeline = timeline_over()
    (height,) = timeline.at(np.array([NOON], dtype="datetime64[us]"))["height"]
    wanted = trapezoid(height + short_by, height + short_by + 1e-6, None, None)
    found = explain_why_not(rule(require=[("height", wanted, {})]), timeline, NOON)
    assert found.obstacles[0].off_by == pytest.approx(short_by, abs=1e-5)
    (sentence,) = (one for one in found.sentences if "height of the tide" in one and "would need" in one)
    assert f"{said};" in sentence
    assert f"is {height:.2f}".rstrip("0").rstrip(".") in sentence


def test_a_score_that_is_nearly_enough_is_not_said_to_be_what_is_needed():
    timeline = timeline_over()
    (height,) = timeline.at(np.array([NOON], dtype="datetime64[us]"))["height"]
    # The ramp is 0.498 up there.
    wanted = trapezoid(height - 0.498, height + 0.502, None, None)
    found = explain_why_not(rule(require=[("height", wanted, {})], threshold=0.5), timeline, NOON)
    assert not found.holds
    assert found.score == pytest.approx(0.498, abs=1e-3)
    (sentence,) = (one for one in found.sentences if one.startswith("The score is"))
    assert sentence.startswith("The score is 0.49 ")
    assert sentence.endswith("0.50 is needed.")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 120), min_size=4, max_size=4).filter(lambda parts: sum(parts) <= 300),
    st.integers(0, 359),
    st.floats(0.0, 1.0),
    st.sampled_from([0.3, 0.5, 1.0]),
)
def test_the_nearest_need_on_a_scale_that_closes_is_the_nearest_either_way(parts, first, place, threshold):
    """Whichever side falls less steeply: held to a walk round the scale by a hundredth of a degree."""
    corners = [(first + at) % 360 for at in np.cumsum([0, *parts[:3]]).tolist()]
    shape = dict(zip(("from", "full_from", "full_to", "to"), corners, strict=True))
    wanted = rule(require=[("wind_from", {"kind": "cyclic", **shape}, {})], threshold=threshold)
    # Somewhere in the rest of the scale, where nothing suits at all.
    gap = 360 - sum(parts[:3])
    now = (corners[3] + gap * (0.01 + 0.98 * place)) % 360.0
    found = explain_why_not(wanted, hand_timeline({"wind_from": lambda hours: np.full(hours.shape, now)}), hour(12.0))
    (wind,) = found.obstacles
    walk = np.arange(0.0, 180.0, 0.01)
    suits = [
        np.interp((now + way * walk - first) % 360.0, np.cumsum([0, *parts[:3]]), [0.0, 1.0, 1.0, 0.0]) >= threshold
        for way in (1.0, -1.0)
    ]
    nearest = min(walk[one.argmax()] for one in suits if one.any())
    assert wind.off_by == pytest.approx(nearest, abs=0.8)


def test_the_nearest_windows_are_those_of_the_search():
    timeline = timeline_over()
    windows = find_windows(NIGHT_FLOOD, timeline)
    found = explain_why_not(NIGHT_FLOOD, timeline, NOON)
    assert found.before == max((w for w in windows if w.end <= np.datetime64(NOON)), key=lambda w: w.end)
    assert found.after == min((w for w in windows if w.start > np.datetime64(NOON)), key=lambda w: w.start)


def test_an_obstacle_that_never_gives_way():
    found = explain_why_not(NEVER, timeline_over(), "2026-10-25", "2026-10-26")
    (height,) = found.obstacles
    assert (height.before, height.after) == (None, None)
    assert found.before is found.after is None
    assert "There is no window" in " ".join(found.sentences)


def test_two_obstacles_neither_of_which_is_all():
    both = rule(
        require=[
            ("sun_altitude", trapezoid(None, None, 0.0, 8.0), {}),
            ("height", trapezoid(90.0, 91.0, None, None), {}),
        ]
    )
    found = explain_why_not(both, timeline_over(), NOON)
    assert {one.factor for one in found.obstacles} == {"sun_altitude", "height"}
    assert not any(one.enough_alone for one in found.obstacles)
    assert "No change of one thing alone" in " ".join(found.sentences)
    # Of a day on which nothing lets it through, that instant is looked at at which most of the terms suit: at night.
    best = explain_why_not(both, timeline_over(), "2026-10-25", "2026-10-26")
    assert {one.factor for one in best.obstacles} == {"height"}
    assert timeline_over().at(np.array([best.time.astype(np.int64)]), ("sun_altitude",))["sun_altitude"][0] <= 0.0


def test_a_rule_that_holds_says_so():
    timeline = timeline_over()
    window = find_windows(DOWN_AND_UP, timeline)[0]
    found = explain_why_not(DOWN_AND_UP, timeline, window.peak_time)
    assert found.holds
    assert found.inside == (window,)
    assert not found.obstacles
    assert "It does hold" in found.sentences[0]


def test_what_is_unknown_is_an_obstacle_with_its_reason():
    swell = rule(require=[("wave_height", trapezoid(0.3, 0.5, 1.0, 1.5), {})])
    (waves,) = explain_why_not(swell, timeline_over(), NOON).obstacles
    assert (waves.value, waves.membership, waves.enough_alone) == (None, None, True)
    assert waves.unknown_because
    # What is unknown and counts as bad stands in the way by what it takes: the floor of 0.1.
    year: list[Any] = [("month", trapezoid(0.0, 1.0, 12.0, 13.0), {})]
    for policy, losses in (("penalise", [-np.log(0.1)]), ("ignore", [])):
        calm = rule(require=year, prefer=[("wave_height", trapezoid(None, None, 0.5, 1.0), {"unknown": policy})])
        assert [one.loss for one in explain_why_not(calm, timeline_over(), NOON).obstacles] == pytest.approx(losses)
    slack = build_timeline(mark_without_lags(), model_of("large"), "2026-10-24", "2026-10-27")
    strong = rule(require=[("flow_strength", trapezoid(0.1, 0.2, None, None), {})])
    found = explain_why_not(strong, slack, NOON)
    assert "slack lags" in " ".join(found.sentences)


def test_the_ground_is_in_the_way():
    beds = rule(require=[("month", trapezoid(0.0, 1.0, 12.0, 13.0), {})], beds=["mud"])
    timeline = build_timeline(mark_at(beds=["shingle"]), model_of("large"), "2026-10-24", "2026-10-27")
    found = explain_why_not(beds, timeline, NOON)
    assert not found.holds
    assert "mud" in found.sentences[0]
    assert "shingle" in found.sentences[0]


def test_a_category_needs_another_of_its_values():
    night = rule(require=[("light", one_of("night"), {})])
    (light,) = explain_why_not(night, timeline_over(), NOON).obstacles
    assert (light.value, light.needed, light.off_by) == ("day", "night", None)


@settings(max_examples=25)
@given(st.integers(0, 13 * 24 * 60))
def test_what_alone_would_do_does(minute):
    timeline = timeline_over()
    at = np.datetime64("2026-10-20T12:00", "us") + np.timedelta64(minute, "m")
    if at >= timeline.span.end:
        return
    found = explain_why_not(NIGHT_FLOOD, timeline, at)
    for one in found.obstacles:
        assert found.score <= one.score_without + 1e-9
        assert one.enough_alone == (one.score_without >= 0.5 - 1e-9)
        assert one.needed is not None
    assert found.holds or found.obstacles


@settings(max_examples=25)
@given(st.integers(0, 13 * 24 * 60), st.floats(0.05, 0.95))
def test_what_is_needed_is_the_nearest_that_suits_and_was_there_last_and_will_be_next(minute, threshold):
    timeline = timeline_over()
    at = np.datetime64("2026-10-20T12:00", "us") + np.timedelta64(minute, "m")
    if at >= timeline.span.end:
        return
    # Ramps of 0.5 and 1.5 m.
    middling = rule(require=[("height", trapezoid(1.5, 2.0, 2.5, 4.0), {})], threshold=threshold)
    low, high = 1.5 + 0.5 * threshold, 4.0 - 1.5 * threshold
    found = explain_why_not(middling, timeline, at)
    height = float(timeline.at(np.array([at.astype(np.int64)]), ("height",))["height"][0])
    if low <= height <= high:
        assert not found.obstacles
        return
    (one,) = found.obstacles
    needed = low if height < low else high
    assert one.value == height
    assert one.needed == pytest.approx(needed, abs=0.02)
    assert one.off_by == pytest.approx(abs(height - needed), abs=0.02)
    heights, times = timeline.columns["height"], timeline.times
    suits = times[(heights >= low) & (heights <= high)]
    assert one.before == max(suits[suits < found.time], default=None)
    assert one.after == min(suits[suits > found.time], default=None)


def test_what_lies_outside_the_timeline_is_refused():
    for start, end in (("2026-10-19", None), ("2026-11-03", None), ("2026-11-02", "2026-11-04")):
        with pytest.raises(InvalidSpan):
            explain_why_not(NIGHT_FLOOD, timeline_over(), start, end)


def test_two_sessions_are_compared_factor_by_factor():
    sessions = find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline_over(), travel_min=10.0)
    best, worst = (pick(sessions, key=lambda one: one.score_hours) for pick in (max, min))
    found, back = compare_sessions(best, worst), compare_sessions(worst, best)
    assert (found.better, back.better) == ("first", "second")
    assert {one.factor for one in found.factors} == {"hours_from_lw", "flow_strength", "sun_altitude"}
    turned = {"first": "second", "second": "first", "neither": "neither"}
    assert [turned[one.better] for one in back.factors] == [one.better for one in found.factors]
    assert [turned[one.better] for one in back.advantages] == [one.better for one in found.advantages]
    alike = compare_sessions(best, best)
    assert alike.better == "neither"
    assert {one.better for one in alike.factors} == {one.better for one in alike.advantages} == {"neither"}


def test_what_a_factor_takes_is_compared_over_the_rules_that_both_fish_for():
    timeline = timeline_over()
    sessions = find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline)
    names = [{one.rule for one in session.rules} for session in sessions]
    both = next(one for one, found in zip(sessions, names, strict=True) if len(found) == 2)
    alone = next(one for one, found in zip(sessions, names, strict=True) if len(found) == 1)
    (shared,) = alone.rules
    for first, second in ((both, alone), (alone, both)):
        found = {one.factor: one for one in compare_sessions(first, second).factors}
        for session, side in ((first, "first_loss"), (second, "second_loss")):
            (account,) = (one for one in session.rules if one.rule == shared.rule)
            taken = {one.factor: one.mean_loss for one in account.factors}
            assert {name: getattr(one, side) for name, one in found.items()} == {
                name: pytest.approx(taken[name]) if name in taken else None for name in found
            }
    # Nothing is compared where no rule is shared.
    one, other = (find_sessions([rule_], timeline)[0] for rule_ in (DOWN_AND_UP, NIGHT_FLOOD))
    assert {(one.first_loss, one.second_loss, one.better) for one in compare_sessions(one, other).factors} == {
        (None, None, "neither")
    }


@pytest.mark.parametrize(
    ("grades", "better"),
    [(("info", "danger"), "first"), (("not_assessed", "caution"), "neither"), (("caution", "info"), "second")],
)
def test_what_is_not_assessed_is_no_better_than_a_caution(grades, better):
    one = find_sessions([DOWN_AND_UP], timeline_over())[0]
    first, second = (
        replace(one, verdicts=replace(one.verdicts, safe=replace(one.verdicts.safe, grade=grade))) for grade in grades
    )
    found = compare_sessions(first, second)
    assert [side.better for side in found.advantages if side.what == "safe"] == [better]
    assert any("neither is said to be safe" in said for said in found.sentences) == (better != "neither")


def test_bait_is_gathered_while_the_ground_is_bare_by_day():
    timeline = timeline_over()
    found = find_bait_outings(timeline, 1.8)
    assert found
    for one in found:
        times = np.arange(one.start, one.end, np.timedelta64(1, "m"))
        columns = timeline.at(times, ("height", "sun_altitude"))
        assert (columns["height"] < 1.8 + 1e-3).all()
        assert (columns["sun_altitude"] > -0.84).all()
        assert one.low_water_height < 1.8
        assert one.duration_h >= 0.75
        # Straight lines over a minute are within a second of the truth.
        depth = 1.8 - timeline.at(times, ("height",))["height"]
        assert one.below_h == pytest.approx(depth.sum() / 60.0, abs=0.02)
    assert [one.below_h for one in found] == sorted((one.below_h for one in found), reverse=True)
    assert len(find_bait_outings(timeline, 1.8, in_daylight=False)) > len(found)
    # Three quarters of an hour are worth the way; common practice.
    lengths = []
    for level in (0.5, 0.6, 0.7, 0.8, 0.9, 1.0):
        every = find_bait_outings(timeline, level, least_min=0.0)
        assert find_bait_outings(timeline, level) == [one for one in every if one.duration_h >= 0.75]
        lengths += [one.duration_h for one in every]
    assert any(length < 0.75 for length in lengths)
    assert any(0.75 <= length < 0.93 for length in lengths)


def test_the_low_water_of_a_bait_outing_is_the_one_that_bares_the_ground():
    timeline = timeline_over()
    lows = [event for event in timeline.events() if event.kind == "low_water"]
    told = {"in it": 0, "before it": 0, "after it": 0}
    # By day dusk and dawn cut some of them off before or after the low water.
    for by_day in (False, True):
        for one in find_bait_outings(timeline, 3.0, in_daylight=by_day, least_min=5.0):
            middle = one.start + (one.end - one.start) / 2
            nearest = lows[int(np.argmin([abs(low.time - middle) for low in lows]))]
            assert abs(one.low_water - nearest.time) <= np.timedelta64(1, "s")
            assert one.low_water_height == pytest.approx(nearest.height, abs=1e-3)
            place = "before it" if one.low_water < one.start else "in it" if one.low_water < one.end else "after it"
            assert one.reasons[0].endswith(f", {place}.")
            assert f": bare for {hours_words(one.duration_h)} from " in one.reasons[0]
            told[place] += 1
            if not by_day and one.start > timeline.times[0] and one.end < timeline.times[-1]:
                assert place == "in it"
    assert all(told.values()), told


def test_bait_is_gathered_to_the_end_of_a_timeline_and_from_its_start():
    whole = find_bait_outings(timeline_over(), 3.0, in_daylight=False)
    longest = max(whole, key=lambda one: one.duration_h)
    middle = longest.start + (longest.end - longest.start) / 2
    for first, last in (("2026-10-20", middle), (middle, "2026-11-03")):
        part = build_timeline(mark_at(time_zone="Europe/London"), model_of("large"), first, last)
        found = sorted(find_bait_outings(part, 3.0, in_daylight=False), key=lambda one: one.start)
        edge = found[-1].end if last is middle else found[0].start
        assert edge == middle
        first_, last_ = np.datetime64(first), np.datetime64(last)
        kept = sorted(one.start for one in whole if first_ <= one.start and one.end <= last_)
        assert kept == [one.start for one in found if one.start != middle and one.end != middle]


def test_bait_is_gathered_in_free_time_with_the_way():
    free = FreeTime.parse({"weekly": [{"hours": {"from": "10:00", "to": "14:00"}}]})
    timeline = build_timeline(mark_at(), model_of("large"), "2026-10-20", "2026-11-03", free_time=free)
    for one in find_bait_outings(timeline, 3.0, travel_min=30.0, least_min=5.0):
        away, home = one.start - np.timedelta64(30, "m"), one.end + np.timedelta64(30, "m")
        columns = timeline.at(np.arange(away, home, np.timedelta64(1, "m")), ("free_time",))
        assert (columns["free_time"] == 1).all()


def test_bait_for_a_session_is_gathered_one_to_three_days_before():
    span = days_before("2026-06-20T18:00")
    assert (span.start, span.end) == (np.datetime64("2026-06-17T18:00"), np.datetime64("2026-06-19T18:00"))


def test_a_level_that_is_none_is_refused():
    with pytest.raises(InvalidInput) as caught:
        find_bait_outings(timeline_over(), float("nan"), least_min=-1.0)
    assert [fault.field for fault in caught.value.faults] == ["below_m", "least_min"]
