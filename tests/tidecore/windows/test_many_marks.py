"""Many marks searched in one go have the windows that each has alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at
from tests.tidecore.windows import evenings
from tests.tidecore.windows.doubles import one_of, rule, trapezoid
from tests.tidecore.windows.test_shared_tracks import ELSEWHERE, END, START, asked, model, sea
from tidecore.filters import Filter
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import (
    SessionOptions,
    Window,
    find_all_windows,
    find_windows,
    find_windows_at_marks,
    plan_marks,
    plan_sessions,
    search_mark,
    search_marks,
)
from tidecore.windows.curves import Curve

RULES = [
    asked(),
    rule(
        require=[("flow_strength", trapezoid(0.2, 0.4, None, None), {})],
        prefer=[("light", one_of("night", "nautical_twilight"), {"floor": 0.3}), ("clarity", one_of("coloured"), {})],
        threshold=0.4,
    ),
    rule(require=[("wave_height", trapezoid(0.2, 0.5, None, None), {})], beds=["mud"], threshold=0.1),
    rule(require=[("month", trapezoid(0.0, 0.5, 5.5, 6.0), {})]),
]
FILTERS = [None, "height > 2.5", "height > 100"]


def lines() -> list[Timeline]:
    """Two tides, two seas, a mark without lags, one with a longer span, and one where the sun is elsewhere."""
    tide, known, rough = model(), sea(), sea(7.5)
    here, there = mark_at(), mark_at(**ELSEWHERE)
    vague = mark_at(slack_lags=None, beds=["mud"], longitude=-3.0)
    return [
        build_timeline(mark, own, START, end, conditions=told)
        for mark, own, told, end in (
            (here, tide, known, END),
            (there, tide, rough, END),
            (vague, model(), known, END),
            (here, tide, known, "2026-10-07T05:00"),
            (vague, tide, None, END),
        )
    ]


def told(windows: list[Window]) -> list[str]:
    """The windows in words; the mean of the best hour, a difference of sums over the whole search, to ten digits."""
    hours = [replace(one.best_hour, mean_score=round(one.best_hour.mean_score, 10)) for one in windows]
    return [str(replace(one, best_hour=hour)) for one, hour in zip(windows, hours, strict=True)]


@pytest.mark.parametrize("text", FILTERS)
def test_marks_searched_together_have_the_windows_of_each_alone(text: str | None) -> None:
    within = None if text is None else Filter.parse(text)
    together = find_windows_at_marks(RULES, lines(), within=within)
    alone = [find_all_windows(RULES, one, within=within) for one in lines()]
    assert [list(map(told, each)) for each in together] == [list(map(told, each)) for each in alone]
    counts = [[len(windows) for windows in each] for each in together]
    assert all(each[3] == 0 for each in counts)
    assert (sum(map(sum, counts)) == 0) == (text == "height > 100")
    if text is None:
        # The whole of the coast accepts the first rule; only two marks are known to have mud.
        assert counts[0][0] > 0
        assert counts[1][2] > 0


def test_the_order_of_marks_makes_no_difference() -> None:
    forwards, backwards = find_windows_at_marks(RULES, lines()), find_windows_at_marks(RULES, lines()[::-1])
    assert [list(map(told, each)) for each in forwards] == [list(map(told, each)) for each in backwards[::-1]]
    assert find_windows_at_marks(RULES, []) == []


def test_curves_of_marks_searched_together_are_those_of_each_alone() -> None:
    rules: dict[str, SpeciesRule] = {f"rule {k}": one for k, one in enumerate(RULES)}
    within = Filter.parse("height > 2.5")
    together = search_marks({str(k): one for k, one in enumerate(lines())}, rules, within=within)
    for k, one in enumerate(lines()):
        alone = search_mark(str(k), one, rules, within=within)
        found = together[str(k)]
        assert found.timeline.mark == one.mark
        assert [curve.key for curve in found.curves] == [curve.key for curve in alone.curves]
        for mine, other in zip(found.curves, alone.curves, strict=True):
            assert told(list(mine.windows)) == told(list(other.windows))
            _assert_equal(mine.score, other.score, one)


def _assert_equal(mine: Curve, other: Curve, line: Timeline) -> None:
    inside = np.arange(line.span.start_us, line.span.end_us, 60_000_000)
    np.testing.assert_allclose(mine.at(inside), other.at(inside), rtol=0, atol=1e-12)


def test_a_window_is_told_alone_as_it_is_with_all_others() -> None:
    rules: dict[str, SpeciesRule] = {f"rule {k}": one for k, one in enumerate(RULES)}
    some, every = (search_marks({str(k): one for k, one in enumerate(lines())}, rules) for _ in range(2))
    curves = [(mine, other) for key in some for mine, other in zip(some[key].curves, every[key].curves, strict=True)]
    for mine, other in curves:
        last = mine.numbers[-1:]
        assert told(list(mine.found.windows(last))) == told(list(other.windows))[-1:]
        assert told(list(mine.windows)) == told(list(other.windows))
    assert sum(len(mine.windows_us) for mine, _ in curves) > 10


def test_a_window_in_brief_is_the_window() -> None:
    rules: dict[str, SpeciesRule] = {f"rule {k}": one for k, one in enumerate(RULES)}
    limits, unknowns = set(), set()
    for found in search_marks({str(k): one for k, one in enumerate(lines())}, rules).values():
        for curve in found.curves:
            for brief, whole in zip(curve.found.briefly(curve.numbers), curve.windows, strict=True):
                assert brief.mean_score == whole.mean_score
                assert (brief.peak_score, np.datetime64(brief.peak_us, "us")) == (whole.peak_score, whole.peak_time)
                losses: dict[str, float] = {}
                for given in whole.contributions:
                    losses[given.factor] = losses.get(given.factor, 0.0) + given.mean_loss
                assert brief.limiting_factor == whole.limiting_factor
                assert max(losses.values()) == pytest.approx(losses.get(whole.limiting_factor or "", 0.0), abs=1e-9)
                assert brief.unknowns == tuple(dict.fromkeys(term.factor for term in whole.unknowns))
                limits.add(brief.limiting_factor)
                unknowns |= set(brief.unknowns)
    assert len(limits) > 1
    assert unknowns


def test_plans_of_marks_made_together_are_those_of_each_alone() -> None:
    rules, each = {"wind": RULES[0], "flow": RULES[1]}, {str(k): one for k, one in enumerate(lines())}
    together = plan_marks(search_marks(each, rules), SessionOptions(), travel_min=15.0, most=4)
    for key, one in each.items():
        alone, mine = (
            plan_sessions(search_mark(key, one, rules), SessionOptions(), travel_min=15.0, most=4),
            together[key],
        )
        assert (mine.found, mine.nothing, mine.datum) == (alone.found, alone.nothing, one.datum)
        assert [session.outing for session in mine.sessions] == [session.outing for session in alone.sessions]
        for session, other in zip(mine.sessions, alone.sessions, strict=True):
            assert session.windows == other.windows
            assert session.limiting_factor == other.limiting_factor
    assert sum(len(mark.sessions) for mark in together.values()) > 4


def test_a_plan_of_nothing_says_why() -> None:
    found = plan_sessions(evenings.search(evenings.NEVER), SessionOptions(), travel_min=15.0, most=4)
    assert (found.found, found.sessions) == (0, ())
    assert found.nothing


def test_one_mark_is_found_as_one_rule_finds_it() -> None:
    one = lines()[1]
    assert told(find_windows_at_marks(RULES, [one])[0][1]) == told(find_windows(RULES[1], one))
