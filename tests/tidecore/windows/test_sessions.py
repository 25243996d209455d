"""Sessions: what they hold, how they are trimmed, lengthened, cut and explained."""

from __future__ import annotations

import pickle
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.safety.shores import issue_of
from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.windows.doubles import rule, trapezoid
from tests.tidecore.windows.evenings import ALWAYS, DAYS_ONLY, DOWN_AND_UP, NEVER, NIGHT_FLOOD, search, timeline_over
from tidecore.calendars import FreeTime, holds_at
from tidecore.conditions import ConditionIssue, Conditions, OfficialWarning
from tidecore.errors import InvalidInput
from tidecore.safety import Care
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.timeline import build_timeline
from tidecore.windows import (
    SessionOptions,
    UnknownTerm,
    complete,
    explain_no_outings,
    find_outings,
    find_sessions,
    find_windows,
    score_columns,
    search_mark,
    session_at,
)

HOUR = np.timedelta64(1, "h")
OPTIONS = SessionOptions()


def hours(session):
    return float((session.leave - session.arrive) / HOUR)


def test_two_down_and_two_up_is_one_session_with_a_lull():
    timeline = build_timeline(mark_at(), model_of("large"), "2026-10-25T06:00", "2026-10-25T15:00")
    assert len(find_windows(DOWN_AND_UP, timeline)) == 2
    (session,) = find_sessions([DOWN_AND_UP], timeline)
    (lull,) = session.lulls
    assert lull.factor == "flow_strength"
    # The stream turns in it.
    slack = next(event.time for event in session.legs[0].key_times if event.kind == "slack_after_lw")
    assert lull.start < slack < lull.end
    assert any("lull" in reason and "run of the tide" in reason for reason in session.reasons)
    assert not find_sessions([DOWN_AND_UP], timeline, SessionOptions(lull_min=10.0, least_h=1.0))[0].lulls


def test_setting_up_and_packing_up_are_around_the_fishing():
    for session in find_sessions([DOWN_AND_UP], timeline_over()):
        (leg,) = session.legs
        assert leg.start - leg.arrive == np.timedelta64(25, "m")
        assert leg.leave - leg.end == np.timedelta64(15, "m")
        assert 3.0 <= round(hours(session), 6) <= 5.0


def test_a_session_is_worth_the_integral_of_the_best_score():
    timeline, checked = timeline_over(), 0
    for session in find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline)[:6]:
        (leg,) = session.legs
        times = np.arange(leg.start, leg.end, np.timedelta64(10, "s")).astype("datetime64[us]").view(np.int64)
        scores = []
        for one in (DOWN_AND_UP, NIGHT_FLOOD):
            columns = timeline.at(times, one.factor_names)
            scores.append(score_columns(one, columns, flow_reliable=True).score)
        assert session.score_hours == pytest.approx(np.max(scores, axis=0).sum() * 10.0 / 3600.0, abs=0.02)
        for account in session.rules:
            which = 0 if account.name == DOWN_AND_UP.name else 1
            assert account.score_hours == pytest.approx(scores[which].sum() * 10.0 / 3600.0, abs=0.02)
        assert session.score_hours <= sum(account.score_hours for account in session.rules) + 0.02
        checked += 1
    assert checked == 6


def test_the_peak_of_a_window_lies_in_the_part_that_is_fished():
    timeline, cut = timeline_over(), 0
    short = SessionOptions(least_h=1.0, most_h=1.5)
    for session in find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline, short)[:8]:
        for part in session.legs[0].windows:
            rule = next(one for one in (DOWN_AND_UP, NIGHT_FLOOD) if one.name in part.rule)
            times = np.arange(part.start, part.end, np.timedelta64(10, "s")).astype("datetime64[us]").view(np.int64)
            columns = timeline.at(times, rule.factor_names)
            best = score_columns(rule, columns, flow_reliable=True).score.max()
            assert part.start <= part.peak_time <= part.end
            assert part.peak_score == pytest.approx(best, abs=0.01)
            cut += not part.start <= part.window.peak_time <= part.end
    assert cut > 0


def test_the_best_hour_is_the_best_of_all_whole_minutes():
    found = search(DOWN_AND_UP, NIGHT_FLOOD)
    for outing in find_outings(found, OPTIONS)[:8]:
        leg = outing.legs[0]
        starts = np.arange(-(-leg.start_us // US_PER_MINUTE), (leg.end_us - US_PER_HOUR) // US_PER_MINUTE + 1)
        means = [found.best.integral(k, k + US_PER_HOUR) for k in (starts * US_PER_MINUTE).tolist()]
        assert outing.best_score == pytest.approx(max(means), abs=1e-9)
        assert outing.best_us[0] in (starts * US_PER_MINUTE).tolist()
        best = complete(outing, {found.key: found}).best_hour
        assert (best.end - best.start, best.whole_window) == (HOUR, False)


def test_a_session_of_less_than_an_hour_is_its_best_hour():
    short = SessionOptions(least_h=0.0, most_h=1.25)
    found = find_sessions([DOWN_AND_UP], timeline_over(), short)
    lengths = {session.best_hour.end - session.best_hour.start for session in found}
    assert max(lengths) < HOUR
    for session in found:
        (leg,) = session.legs
        assert (session.best_hour.start, session.best_hour.end) == (leg.start, leg.end)
        assert session.best_hour.whole_window


@pytest.mark.parametrize("travel_min", [0.0, 45.0])
def test_all_of_a_session_lies_in_free_time(travel_min):
    timeline = timeline_over(free=True)
    sessions = find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline, travel_min=travel_min)
    assert sessions
    for session in sessions:
        away = session.outing.arrive_us - session.outing.there_us
        home = session.outing.leave_us + session.outing.back_us
        minutes = np.arange(away, home, US_PER_MINUTE)
        assert (timeline.at(np.append(minutes, home - 1), ("free_time",))["free_time"] == 1).all()


ZONES = st.sampled_from(
    ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu", "Etc/UTC"]
)


@settings(max_examples=12)
@given(
    zone=ZONES,
    start=st.integers(0, 23),
    length=st.integers(4, 12),
    day=st.sampled_from(["2026-03-06", "2026-03-27", "2026-10-02", "2026-10-23", "2026-10-30"]),
    travel=st.sampled_from([0.0, 20.0, 50.0]),
)
def test_sessions_lie_in_the_hours_that_clocks_show_in_any_zone(zone, start, length, day, travel):
    hours_ = {"from": f"{start:02d}:00", "to": f"{(start + length) % 24:02d}:00"}
    free = FreeTime.parse({"weekly": [{"hours": hours_}]})
    begin = np.datetime64(day, "us")
    timeline = build_timeline(
        mark_at(time_zone=zone), model_of("large"), begin, begin + np.timedelta64(4, "D"), free_time=free
    )
    spans = timeline.sources.free_us
    assert spans is not None
    for session in find_sessions([DOWN_AND_UP], timeline, travel_min=travel):
        away, home = (
            session.outing.arrive_us - session.outing.there_us,
            session.outing.leave_us + session.outing.back_us,
        )
        times = np.append(np.arange(away, home, US_PER_MINUTE), home - 1)
        assert holds_at(spans, times).all()
        assert 3.0 - 1e-6 <= hours(session) <= 5.0 + 1e-6


def test_a_long_day_is_cut_into_its_best_parts_that_do_not_overlap():
    timeline = build_timeline(mark_at(), model_of("large"), "2026-06-10T04:00", "2026-06-11T00:00")
    sessions = find_sessions([ALWAYS], timeline)
    assert len(sessions) == 4
    assert all(hours(session) == pytest.approx(5.0) for session in sessions[:3])
    ends = [(one.arrive, one.leave) for one in sessions]
    assert all(later[0] >= earlier[1] for earlier, later in pairwise(ends))


def test_a_short_window_is_given_the_time_around_it_that_scores_best():
    timeline = build_timeline(mark_at(), model_of("large"), "2026-10-24T12:00", "2026-10-26T12:00")
    short = rule(require=[("hours_from_lw", trapezoid(0.0, 1.0, 1.5, 3.0), {})], threshold=0.9)
    for session in find_sessions([short], timeline):
        (leg,) = session.legs
        assert hours(session) == pytest.approx(3.0)
        for window in leg.windows:
            assert leg.start <= window.start < window.end <= leg.end
        # A quarter of an hour earlier or later it is worth no more.
        found = search(short, start="2026-10-24T12:00", end="2026-10-26T12:00")
        here = found.best.integral(session.outing.legs[0].start_us, session.outing.legs[0].end_us)
        for shift in (-15, -5, 5, 15):
            start = session.outing.legs[0].start_us + shift * US_PER_MINUTE
            end = session.outing.legs[0].end_us + shift * US_PER_MINUTE
            if all(start <= int(w.start.astype(np.int64)) and int(w.end.astype(np.int64)) <= end for w in leg.windows):
                assert found.best.integral(start, end) <= here + 1e-6


def test_safety_is_never_said_to_be_assessed():
    for session in find_sessions([DOWN_AND_UP], timeline_over()):
        assert session.verdicts.safe.grade == "not_assessed"
        assert session.verdicts.safe.reasons
        assert session.verdicts.fishable.grade == "unknown"
        assert "not assessed" in " ".join(session.reasons)


def test_one_cause_of_several_quantities_is_said_once_with_all_of_them():
    wants = ("sea_temperature", "pressure", "wave_height")
    picky = rule(
        name="picky",
        require=[("flow_strength", trapezoid(0.2, 0.3, None, None), {})],
        prefer=[(name, trapezoid(0.5, 1.0, None, None), {}) for name in wants],
    )
    # The forecast ends long before.
    given = Conditions.of([issue_of({"sea_temperature_c": 9.0, "pressure_hpa": 1020.0, "wave_height_m": 1.0})])
    timeline = build_timeline(mark_at(), model_of("large"), "2026-10-20", "2026-10-21", conditions=given)
    (said,) = (one for one in find_sessions([picky], timeline)[0].reasons if one.startswith("Not known"))
    assert said.startswith("Not known and left out of the score: height of the waves, pressure and sea temperature.")
    assert said.endswith(
        "Why: pressure, sea and sea temperature not assessed: no issue says anything of it in this span."
    )


def test_the_change_of_the_clocks_is_said():
    free = FreeTime.parse({"weekly": [{"weekdays": ["saturday"], "hours": {"from": "20:00", "to": "06:00"}}]})
    timeline = build_timeline(mark_at(), model_of("large"), "2026-10-24T12:00", "2026-10-25T12:00", free_time=free)
    options = SessionOptions(least_h=11.0, most_h=11.0)
    (session,) = find_sessions([ALWAYS], timeline, options)
    assert hours(session) == 11.0
    assert "twice" in session.clock_changes[0]
    assert "twice" in " ".join(session.reasons)


@pytest.mark.parametrize("walk_min", [0, 20])
def test_access_that_is_closed_trims_a_session(walk_min):
    gate = {
        "kind": "gate",
        "state": "closed",
        "hours": {"from": "12:00", "to": "20:00"},
        "source": "invented",
        "note": "",
    }
    # High above the water: it is walked in any tide.
    way = (
        [{"name": "wall", "lowest_sill_m": 30.0, "bed": "structure", "length_m": 300.0, "minutes": walk_min}]
        if walk_min
        else []
    )
    mark = mark_at(access=[gate], time_zone="Etc/UTC", way_back=way)
    timeline = build_timeline(mark, model_of("large"), "2026-06-10", "2026-06-12")
    sessions = find_sessions([ALWAYS], timeline)
    assert sessions
    walk = walk_min * US_PER_MINUTE
    for session in sessions:
        first, last = session.outing.arrive_us - walk, session.outing.leave_us + walk
        times = np.arange(max(first, timeline.span.start_us), min(last, timeline.span.end_us), US_PER_MINUTE)
        assert (timeline.at(times, ("access_open",))["access_open"] == 1).all()
    searched = search_mark("pier", timeline, {"always": ALWAYS})
    forced = session_at(searched, np.datetime64("2026-06-10T12:00"), np.datetime64("2026-06-10T14:00"))
    assert forced.verdicts.safe.grade == "caution"
    assert "access is closed" in " ".join(forced.verdicts.safe.reasons)


def sea(height, **values):
    """What is told of two days: waves at the mark of one height, no wind, no weed seen but what is given."""
    times = ["2026-06-09T00:00Z", *(f"2026-06-1{day}T{hour:02d}:00Z" for day in range(3) for hour in range(0, 24, 3))]
    plain = {"wave_height_m": height, "wave_from_degree": 270.0, "wind_speed_m_per_s": 2.0, "wind_from_degree": 90.0}
    issue = {
        "kind": "observation",
        "source": "invented",
        "issued_at": "2026-06-13T00:00Z",
        "waves_at": "at_mark",
        "times": times[1:],
        "values": {name: [value] * (len(times) - 1) for name, value in {**plain, "weed": "none", **values}.items()},
    }
    return ConditionIssue.parse(issue)


@pytest.mark.parametrize(
    ("height", "weed", "grade", "part"),
    [(0.8, "none", "yes", 1.0), (3.0, "none", "no", 0.0), (0.8, "every_cast", "hard", 0.5)],
)
def test_a_mark_that_does_not_fish_is_worth_nothing(height, weed, grade, part):
    mark = mark_at(
        facing_degree=270.0,
        exposure={"from_degree": 200.0, "to_degree": 330.0},
        stream_rates={f"{tide}_{way}_m_per_s": 0.4 for tide in ("spring", "neap") for way in ("flood", "ebb")},
    )
    conditions = Conditions.of([sea(height, weed=weed)])
    timeline = build_timeline(mark, model_of("large"), "2026-06-10", "2026-06-12", conditions=conditions)
    if grade == "no":
        # So high a sea sweeps a ledge: such sessions are shown when asked for, and stay marked.
        assert not find_sessions([ALWAYS], timeline)
    sessions = find_sessions([ALWAYS], timeline, care=Care(include_dangerous=True))
    assert sessions
    for session in sessions:
        assert session.verdicts.fishable.grade == grade, session.verdicts.fishable.reasons
        assert session.score_hours == pytest.approx(part * session.fishing_h, abs=0.01)
        assert session.verdicts.safe.grade == ("danger" if grade == "no" else "not_assessed")
        # What feeds is not less for it.
        assert session.verdicts.feeding.mean_score == pytest.approx(1.0)
    if grade == "hard":
        assert "weed" in " ".join(sessions[0].verdicts.fishable.reasons)


def test_where_a_forecast_ends_is_told_by_the_clock_of_the_mark():
    """In summer the clocks of the zone WET are an hour before UTC (IANA time zone database)."""
    forecast = ConditionIssue.parse(
        {
            "kind": "forecast",
            "source": "invented",
            "issued_at": "2026-06-10T04:00Z",
            "times": ["2026-06-10T06:00Z", "2026-06-10T12:30Z"],
            "values": {"wind_speed_m_per_s": [2.0, 2.0]},
        }
    )
    timeline = build_timeline(
        mark_at(time_zone="WET"), model_of("large"), "2026-06-10", "2026-06-12", conditions=Conditions.of([forecast])
    )
    searched = search_mark("pier", timeline, {"always": ALWAYS})
    session = session_at(searched, np.datetime64("2026-06-10T12:00"), np.datetime64("2026-06-10T14:00"))
    said = "Wind not assessed after 2026-06-10 13:30: the forecast of invented issued 2026-06-10 05:00 ends there."
    assert said in session.reasons


def test_why_there_is_none():
    timeline = timeline_over()
    none, nearest = explain_no_outings(search(NEVER), OPTIONS)
    assert none == "Long Ledge: no rule has a window in the span."
    assert nearest == "never comes nearest; the height of the tide never suits: at best 0.00 of 0.50 needed."
    free = FreeTime.parse({"weekly": [{"hours": {"from": "10:00", "to": "12:00"}}]}).spans(
        timeline.mark.zone, timeline.span
    )
    said = " ".join(explain_no_outings(search(DOWN_AND_UP), OPTIONS, free))
    assert "2 h" in said
    assert "3 h" in said
    noon = FreeTime.parse({"weekly": [{"hours": {"from": "09:00", "to": "14:00"}}]}).spans(
        timeline.mark.zone, timeline.span
    )
    assert not find_outings(search(NIGHT_FLOOD), OPTIONS, noon)
    assert "None of them lies in free time" in " ".join(explain_no_outings(search(NIGHT_FLOOD), OPTIONS, noon))


def test_the_rule_that_comes_nearest_says_what_limits_it():
    brief = rule(
        name="brief",
        require=[
            ("hours_from_lw", trapezoid(-0.1, 0.0, 0.0, 0.1), {}),
            ("month", trapezoid(0.0, 1.0, 12.0, 13.0), {}),
        ],
        minimum_duration_min=60,
    )
    _, nearest = explain_no_outings(search(NEVER, brief), OPTIONS)
    assert nearest.startswith("brief comes nearest; it holds at 2026-10-")
    assert ", but not for the 60 min that make a window; the time from low water suits for " in nearest
    unknown = rule(name="rough", require=[("wave_height", trapezoid(0.5, 1.0, None, None), {})])
    assert "the height of the waves is not known" in explain_no_outings(search(unknown), OPTIONS)[1]
    weak = rule(
        name="weak",
        require=[("month", trapezoid(0.0, 1.0, 12.0, 13.0), {})],
        prefer=[("height", trapezoid(90.0, 91.0, None, None), {"floor": 0.1})],
    )
    assert "its score is 0.10 at best" in explain_no_outings(search(weak), OPTIONS)[1]
    # Between two instants of the timeline there is nothing to tell of.
    instant = build_timeline(mark_at(), model_of("large"), "2026-10-20T00:00:10", "2026-10-20T00:00:20")
    assert len(explain_no_outings(search_mark("ledge", instant, {"never": NEVER}), OPTIONS)) == 1


def test_sessions_pickle_and_do_not_depend_on_the_order_of_rules():
    found, turned = (search(*rules) for rules in ((DOWN_AND_UP, NIGHT_FLOOD), (NIGHT_FLOOD, DOWN_AND_UP)))
    outings = find_outings(found, OPTIONS)
    assert outings == find_outings(turned, OPTIONS)
    one, other = (complete(outings[0], {"ledge": some}) for some in (found, turned))
    assert one.reasons == other.reasons
    assert pickle.loads(pickle.dumps(one)) == one


def test_a_session_of_given_hours_is_told_whatever_it_is_worth():
    found = search(DAYS_ONLY)
    session = session_at(found, np.datetime64("2026-10-21T22:00"), np.datetime64("2026-10-22T01:00"))
    assert session.score_hours == 0.0
    assert session.rules == ()
    assert session.verdicts.feeding.rule is None
    with pytest.raises(InvalidInput, match="leaves the span"):
        session_at(found, np.datetime64("2026-10-20T00:00"), np.datetime64("2026-10-20T04:00"))


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"least_h": 6.0}, ["most_h"]),
        ({"lull_min": -1.0, "set_up_min": float("nan")}, ["set_up_min", "lull_min"]),
        ({"least_h": 0.0, "most_h": 0.5}, ["most_h"]),
        ({"most_h": 25.0}, ["most_h"]),
        ({"lull_min": 720.1, "least_leg_min": 720.1}, ["lull_min", "least_leg_min"]),
        # A quarter of an hour of fishing is the least, with 25 min of setting up and 15 of packing up.
        ({"least_h": 0.0, "most_h": 54.9 / 60.0}, ["most_h"]),
    ],
)
def test_options_that_make_no_session_are_refused(changes, fields):
    with pytest.raises(InvalidInput) as caught:
        SessionOptions(**changes)
    assert [fault.field for fault in caught.value.faults] == fields


@pytest.mark.parametrize(
    ("changes", "fishing_min"),
    [
        ({}, (140, 260)),
        ({"least_h": 24.0, "most_h": 24.0, "lull_min": 720.0}, (1400, 1400)),
        ({"least_h": 0.0, "most_h": 55.0 / 60.0}, (15, 15)),
        ({"least_h": 0.0, "set_up_min": 0.0, "pack_up_min": 0.0, "lull_min": 0.0, "least_leg_min": 0.0}, (15, 300)),
    ],
)
def test_fishing_is_what_setting_up_and_packing_up_leave(changes, fishing_min):
    options = SessionOptions(**changes)
    assert (options.least_fishing_us, options.most_fishing_us) == tuple(m * US_PER_MINUTE for m in fishing_min)
    assert options.least_leg_us == max(options.least_leg_min, 15) * US_PER_MINUTE


def test_what_is_unknown_is_told_once_with_the_largest_share():
    sessions = find_sessions([DOWN_AND_UP, NIGHT_FLOOD], timeline_over())
    session = next(one for one in sessions if len(one.rules) == 2)
    told = ({"wave_height": 0.2, "clarity": 0.7}, {"wave_height": 0.5, "clarity": 0.1, "weed_risk": 0.3})
    (leg,) = session.legs
    accounts = [
        replace(
            account,
            unknowns=tuple(
                UnknownTerm(factor, "prefer", "ignore", share, "nobody says", "prefer.0")
                for factor, share in shares.items()
            ),
        )
        for account, shares in zip(leg.rules, told, strict=True)
    ]
    found = replace(session, legs=(replace(leg, rules=tuple(accounts)),)).unknowns
    assert [(one.factor, one.share) for one in found] == [("clarity", 0.7), ("wave_height", 0.5), ("weed_risk", 0.3)]


def test_an_official_warning_is_never_less_than_its_grade():
    warning = {
        "identifier": "a",
        "sender": "invented@example.test",
        "sent": "2026-06-09T00:00:00Z",
        "msg_type": "alert",
        "expires": "2026-06-13T00:00:00Z",
        "areas": [{"description": "Invented Bay"}],
    }
    for severity, grade in (("minor", "caution"), ("severe", "danger")):
        conditions = Conditions.of([], [OfficialWarning.parse({**warning, "severity": severity})])
        timeline = build_timeline(mark_at(), model_of("large"), "2026-06-10", "2026-06-12", conditions=conditions)
        for session in find_sessions([ALWAYS], timeline):
            assert session.verdicts.safe.grade == grade
            assert severity in " ".join(session.verdicts.safe.reasons)
            assert severity in " ".join(session.reasons)
