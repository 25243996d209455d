"""Groups of terms: three-valued logic, what each took, seasons that close and that only release."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.windows.doubles import hour, timeline, trapezoid
from tidecore.place import Mark
from tidecore.rules import SpeciesRule
from tidecore.timeline import build_timeline
from tidecore.windows import Scores, explain, find_all_windows, find_windows, score_columns

NAN = math.nan
RISE = trapezoid(0.0, 1.0, None, None)


def height(**extras: Any) -> dict[str, Any]:
    return {"factor": "height", "shape": RISE, **extras}


def waves(**extras: Any) -> dict[str, Any]:
    return {"factor": "wave_height", "shape": RISE, **extras}


def rate(**extras: Any) -> dict[str, Any]:
    return {"factor": "rate", "shape": RISE, **extras}


def rule(require: list[Any], prefer: list[Any] | None = None, **parts: Any) -> SpeciesRule:
    plain = {"name": "invented", "species": {"scientific_name": "Piscis inventus"}}
    return SpeciesRule.parse({**plain, "require": require, "prefer": prefer or [], **parts})


def scored(asked: SpeciesRule, **values: float) -> Scores:
    return score_columns(asked, {name: np.array([value]) for name, value in values.items()}, flow_reliable=True)


@pytest.mark.parametrize(
    ("mode", "one", "other", "value"),
    [
        ("any", 0.3, 0.7, 0.7),
        ("all", 0.3, 0.7, 0.3),
        ("any", 1.0, NAN, 1.0),
        ("any", 0.9, NAN, NAN),
        ("any", 0.0, NAN, NAN),
        ("any", NAN, NAN, NAN),
        ("all", 0.0, NAN, 0.0),
        ("all", 0.1, NAN, NAN),
        ("all", 1.0, NAN, NAN),
        ("all", NAN, NAN, NAN),
    ],
)
def test_a_group_is_known_where_its_members_decide_it(mode: str, one: float, other: float, value: float) -> None:
    for first, second in ((height(), waves()), (waves(), height())):
        found = scored(rule([{mode: [first, second]}]), height=one, wave_height=other)
        np.testing.assert_allclose(found.group_memberships[:, 0], [value])
        assert found.excluded[0] == math.isnan(value)
        assert found.score[0] == (0.0 if math.isnan(value) else pytest.approx(value))


@pytest.mark.parametrize(
    ("mode", "policy", "known", "score"),
    [
        ("any", "ignore", 0.4, 0.4),
        ("all", "ignore", 0.4, 0.4),
        ("any", "penalise", 0.05, 0.1),
        ("any", "penalise", 0.4, 0.4),
        ("all", "penalise", 0.4, 0.1),
        ("all", "penalise", 0.05, 0.05),
    ],
)
def test_a_member_says_what_to_do_where_it_is_unknown(mode: str, policy: str, known: float, score: float) -> None:
    asked = rule([{mode: [height(), waves(unknown=policy)]}])
    found = scored(asked, height=known, wave_height=NAN)
    assert found.score[0] == pytest.approx(score)
    assert not found.excluded[0]


@pytest.mark.parametrize(("policy", "score"), [("exclude", 0.0), ("ignore", 0.5), ("penalise", 0.1)])
def test_an_unknown_group_is_scored_as_it_says(policy: str, score: float) -> None:
    asked = rule([rate(), {"all": [height(), waves()], "unknown": policy}])
    found = scored(asked, rate=0.5, height=0.8, wave_height=NAN)
    assert found.score[0] == pytest.approx(score)
    assert found.excluded[0] == (policy == "exclude")


def test_a_group_of_which_everything_is_ignored_is_left_out() -> None:
    group = {"any": [waves(unknown="ignore"), {"all": [waves(unknown="ignore")]}]}
    assert scored(rule([rate(), group]), rate=0.6, wave_height=NAN).score[0] == pytest.approx(0.6)
    # Nothing else could be judged.
    assert scored(rule([group]), wave_height=NAN).score[0] == 0.0


def test_nested_groups_give_the_formula_and_losses_add_up() -> None:
    asked = rule(
        [{"any": [{"all": [height(), rate()]}, waves()]}, height()],
        [{"all": [rate(), waves()], "weight": 3}, {**height(), "weight": 1}],
    )
    found = scored(asked, height=0.8, rate=0.6, wave_height=0.3)
    # any(min(0.8, 0.6), 0.3) = 0.6; all(0.6, 0.3) = 0.3.
    wanted = 0.6 * math.exp((3 * math.log(0.3) + math.log(0.8)) / 4)
    assert found.score[0] == pytest.approx(wanted, rel=1e-12)
    assert found.losses.sum() == pytest.approx(-math.log(wanted))
    # The rate decides the required group, the waves the preferred one.
    taken = [0.0, -math.log(0.6), 0.0, 0.0, 0.0, -0.75 * math.log(0.3), -0.25 * math.log(0.8)]
    np.testing.assert_allclose(found.losses[:, 0], taken, rtol=1e-12)
    np.testing.assert_allclose(found.group_memberships[:, 0], [0.6, 0.6, 0.3])


def test_a_weight_of_nothing_never_counts() -> None:
    for policy in ("exclude", "ignore", "penalise"):
        lore = waves(weight=0, unknown=policy)
        asked, plain = rule([height()], [rate(), lore]), rule([height()], [rate()])
        for value in (NAN, 0.0, 1.0):
            found = scored(asked, height=0.9, rate=0.8, wave_height=value)
            assert found.score[0] == scored(plain, height=0.9, rate=0.8).score[0]
            assert not found.excluded[0]


def test_the_account_tells_leaves_and_groups() -> None:
    functions = {"height": lambda h: 0.0 * h + 0.8, "rate": lambda h: 0.0 * h + 0.6, "wave_height": lambda h: h * NAN}
    asked = rule([{"any": [{"all": [height(), rate()]}, waves(unknown="ignore")]}])
    (window,) = find_windows(asked, timeline(functions, hours=(0.0, 6.0)))
    given = {one.path: one for one in window.contributions}
    assert list(given) == ["require.0.any.0.all.0", "require.0.any.0.all.1", "require.0.any.1"]
    assert given["require.0.any.0.all.1"].mean_loss == pytest.approx(-math.log(0.6))
    assert given["require.0.any.1"].mean_membership is None
    assert window.limiting_factor == "rate"
    groups = [(one.path, one.mode, one.role) for one in window.groups]
    assert groups == [("require.0", "any", "require"), ("require.0.any.0", "all", "require")]
    assert [one.mean_membership for one in window.groups] == [pytest.approx(0.6)] * 2
    assert [one.mean_loss for one in window.groups] == [pytest.approx(-math.log(0.6))] * 2
    assert [(one.path, one.policy) for one in window.unknowns] == [("require.0.any.1", "ignore")]


def test_what_is_unknown_and_decided_all_the_same_is_said_so() -> None:
    functions = {"height": lambda h: 0.0 * h + 2.0, "wave_height": lambda h: h * NAN}
    asked, line = rule([{"any": [height(), waves()]}]), timeline(functions, hours=(0.0, 6.0))
    (window,) = find_windows(asked, line)
    assert [(one.path, one.policy, one.share) for one in window.unknowns] == [("require.0.any.1", "decided", 1.0)]
    said = explain(asked, line).sentences
    assert any("The height of the waves" in one and "settled by others of its group" in one for one in said)


def test_an_any_window_is_the_union() -> None:
    functions = {"height": lambda h: 3.0 - np.abs(h - 6.0), "rate": lambda h: 3.0 - np.abs(h - 16.0)}
    top = trapezoid(1.0, 1.0, None, None)
    either = {"any": [{"factor": "height", "shape": top}, {"factor": "rate", "shape": top}]}
    windows = find_windows(rule([either]), timeline(functions))
    ends = [hour(4.0), hour(8.0), hour(14.0), hour(18.0)]
    found = [end for window in windows for end in (window.start, window.end)]
    assert np.abs(np.array(found) - np.array(ends)).max() < np.timedelta64(100, "ms")


def days(start: str, end: str, **parts: Any) -> tuple[SpeciesRule, Any]:
    mark = Mark.parse(mark_at().to_document() | {"time_zone": "Etc/GMT-3"})
    return rule([{"season": {"from": "01-01", "to": "12-31"}}], **parts), build_timeline(
        mark, model_of("large"), start, end
    )


def test_a_closed_season_closes_by_the_clocks_of_the_mark() -> None:
    closed = [{"from": "02-28", "to": "03-01", "source": "invented byelaw"}]
    asked, line = days("2027-02-26", "2027-03-05", closed_seasons=closed)
    before, after = find_windows(asked, line)
    # Local midnight is 21 h UTC; there is no 29 February in 2027.
    assert abs(before.end - np.datetime64("2027-02-27T21:00")) < np.timedelta64(100, "ms")
    assert abs(after.start - np.datetime64("2027-03-01T21:00")) < np.timedelta64(100, "ms")
    said = " ".join(explain(asked, line).sentences)
    assert "Closed season 02-28 to 03-01 by invented byelaw: 29% of the span lie in it" in said


def test_a_rule_that_prefers_only_what_is_unknown_is_not_held_by_a_closed_season() -> None:
    closed = [{"from": "02-28", "to": "03-01", "source": "invented byelaw"}]
    asked = SpeciesRule.parse(rule([], [waves()]).to_document() | {"closed_seasons": closed})
    assert find_windows(asked, days("2027-06-01", "2027-06-03")[1]) == []


def test_a_release_only_season_is_said_in_every_window_that_touches_it() -> None:
    seasons = [{"from": "02-01", "to": "03-01", "source": "invented"}, {"from": "12-20", "to": "01-05", "source": "b"}]
    asked, line = days("2027-02-26", "2027-03-05", release_only_seasons=seasons)
    (window,) = find_windows(asked, line)
    assert [season.source for season in window.release_only] == ["invented"]
    assert find_windows(asked, days("2027-03-03", "2027-03-05")[1])[0].release_only == ()
    over_new_year = find_windows(asked, days("2026-12-30", "2027-01-03")[1])[0]
    assert [season.source for season in over_new_year.release_only] == ["b"]


def test_first_two_hours_of_dark_begin_at_last_light() -> None:
    line = build_timeline(mark_at(), model_of("large"), "2026-10-01", "2026-10-08")
    windows = find_windows(rule([{"event": "last_light", "from_min": 0, "to_min": 120}]), line)
    last_lights = [event.time for event in line.events() if event.kind == "last_light"]
    assert len(windows) == 7
    for window, start in zip(windows, last_lights, strict=True):
        assert abs(window.start - start) < np.timedelta64(1, "s")
        assert abs(window.duration_h - 2.0) < 0.001


def test_rules_searched_together_find_what_each_finds_alone() -> None:
    line = build_timeline(mark_at(), model_of("large"), "2026-10-01", "2026-10-08")
    asked = [
        rule([{"event": "last_light", "from_min": 0, "to_min": 120}]),
        rule([{"event": "low_water", "from_min": -90, "to_min": 60, "fade_min": 30}], [rate()]),
        rule([{"any": [{"event": "high_water", "from_min": -60, "to_min": 60}, height()]}]),
        rule([waves()]),
    ]
    fresh = build_timeline(mark_at(), model_of("large"), "2026-10-01", "2026-10-08")
    assert find_all_windows(asked, line) == [find_windows(one, fresh) for one in asked]
