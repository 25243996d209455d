"""Windows and sessions keep out of danger, and what is dangerous stays marked where it is asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.safety.shores import BEACH, LEDGE, WAY, line_of
from tests.tidecore.windows.evenings import ALWAYS
from tidecore.safety import Care, OutingFacts, assess, danger_shares, danger_spans, outing_span, safe_span
from tidecore.windows import explain_no_outings, find_sessions, find_windows, search_mark
from tidecore.windows.options import SessionOptions

BAR_MARK: dict[str, Any] = {**BEACH, "peg": {"distance_m": 180.0}, "way_back": WAY}
MINUTE = np.timedelta64(1, "m")
FACTS = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False)
CARE = Care(facts=FACTS)


def test_no_window_and_no_session_lies_in_danger_with_its_walk():
    timeline = line_of(BAR_MARK, {})
    dangers = danger_spans(timeline, facts=FACTS)
    assert len(dangers)
    for window in find_windows(ALWAYS, timeline, care=CARE):
        start, end = (int(one.astype(np.int64)) for one in outing_span(timeline, window.start, window.end))
        assert not ((dangers[:, 0] < end) & (dangers[:, 1] > start)).any()
        assert CARE.stay(timeline, window.start, window.end).grade != "danger"
    sessions = find_sessions([ALWAYS], timeline, care=CARE)
    assert sessions
    assert all(one.hazards.grade != "danger" for one in sessions)


def test_what_is_dangerous_is_shown_to_who_asks_and_stays_marked():
    timeline = line_of(BAR_MARK, {})
    (whole,) = find_windows(ALWAYS, timeline, care=Care(facts=FACTS, include_dangerous=True))
    assert (whole.start, whole.end) == (timeline.span.start, timeline.span.end)
    assert CARE.stay(timeline, whole.start, whole.end).grade == "danger"
    shown = find_sessions([ALWAYS], timeline, care=Care(facts=FACTS, include_dangerous=True))
    marked = [one for one in shown if one.hazards.grade == "danger"]
    assert marked
    assert all(one.verdicts.safe.grade == "danger" for one in marked)
    assert len(find_windows(ALWAYS, timeline)) == 1


def test_turning_back_leaves_time_for_the_way():
    timeline = line_of(BAR_MARK, {})
    for session in find_sessions([ALWAYS], timeline, care=CARE):
        left = timeline.at(np.array([session.legs[0].end]), ["minutes_to_turn_back"])["minutes_to_turn_back"][0]
        # Packing up takes the 15 min that turning back reckons with.
        assert left >= -0.1, session.leave


def test_a_danger_trims_and_removes_only_what_is_too_short():
    timeline = line_of(BAR_MARK, {})
    dangers = danger_spans(timeline, facts=FACTS)
    inside = [(a, b) for a, b in dangers.tolist() if a > timeline.span.start_us and b < timeline.span.end_us]
    first: np.datetime64 = np.datetime64(inside[1][0], "us")
    arrive, leave = first - 180 * MINUTE, first + 30 * MINUTE
    trimmed = safe_span(timeline, arrive, leave, 60.0, facts=FACTS)
    assert trimmed is not None
    assert trimmed[0] == arrive
    _, home = outing_span(timeline, arrive, first)
    assert trimmed[1] == first - (home - first)
    report = assess(timeline, *outing_span(timeline, *trimmed, FACTS), facts=FACTS)
    assert report.grade != "danger"
    assert safe_span(timeline, first, leave, 10.0, facts=FACTS) is None
    assert safe_span(timeline, arrive, leave, 181.0, facts=FACTS) is None


def test_why_there_is_no_session_names_the_danger():
    timeline = line_of({**LEDGE, "ledge_height_m": 30.0}, {"wave_height_m": 2.0})
    assert not find_sessions([ALWAYS], timeline, care=CARE)
    search = search_mark("ledge", timeline, {"always": ALWAYS}, CARE)
    said = " ".join(explain_no_outings(search, SessionOptions()))
    assert "waves on rock 100%" in said
    assert "include_dangerous" in said
    assert danger_shares(timeline, facts=FACTS) == {"waves_on_rock": pytest.approx(1.0)}
    assert not Care(facts=FACTS, include_dangerous=True).said(timeline)


def test_a_slower_walk_leaves_less_time():
    timeline = line_of(BAR_MARK, {})
    slow = Care(facts=OutingFacts(alone=False, first_visit=False, wading=False, bathers=False, pace=3.0))
    spans = [find_windows(ALWAYS, timeline, care=care) for care in (CARE, slow)]
    hours = [sum(one.duration_h for one in windows) for windows in spans]
    assert 0.0 < hours[1] < hours[0]
