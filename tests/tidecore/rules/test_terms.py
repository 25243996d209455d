"""Terms of a rule: groups, windows about events and seasons, and what is wrong with them."""

from __future__ import annotations

import json
import pickle
from typing import Any

import numpy as np
import pytest

from tests.tidecore.rules.test_rule import document, faults_of, term
from tidecore.rules import AllOf, AnyOf, EventWindow, SeasonWindow, SpeciesRule, rule_schema
from tidecore.rules.seasons import YearSpan

LOW = {"event": "low_water", "from_min": -120, "to_min": 60}
DARK = {"event": "last_light", "from_min": 0, "to_min": 120, "fade_min": 30}
WINTER = {"season": {"from": "11-01", "to": "03-31"}, "fade_days": 10}


def nested(depth: int, inner: dict[str, Any] | None = None) -> dict[str, Any]:
    found = inner or term()
    for level in range(depth):
        found = {"any" if level % 2 else "all": [found, term()]}
    return found


def test_groups_events_and_seasons_survive_json_and_pickling() -> None:
    plain = document(
        require=[LOW, WINTER, {"any": [DARK, {"all": [term(), WINTER]}], "unknown": "ignore"}],
        prefer=[{"any": [LOW, DARK], "weight": 2, "floor": 0.2}, {**DARK, "weight": 3}, {**WINTER, "floor": 0.5}],
        closed_seasons=[{"from": "02-01", "to": "06-30", "source": "invented byelaw"}],
        release_only_seasons=[{"from": "12-15", "to": "01-15", "source": "invented byelaw"}],
    )
    rule = SpeciesRule.parse(plain)
    assert [type(one) for one in rule.require] == [EventWindow, SeasonWindow, AnyOf]
    assert isinstance(rule.require[2].members[1], AllOf)  # type: ignore[union-attr]
    again = SpeciesRule.parse(json.loads(json.dumps(rule.to_document())))
    assert again == rule
    assert pickle.loads(pickle.dumps(rule)) == rule
    assert again.to_document() == rule.to_document()
    assert rule.factor_names == ("hours_from_lw", "calendar_day", "minutes_from_last_light")


def test_a_rule_taken_apart_says_where_everything_stands() -> None:
    rule = SpeciesRule.parse(
        document(
            require=[LOW, {"any": [DARK, {"all": [term(), WINTER]}]}],
            prefer=[{"all": [LOW, DARK], "weight": 2}],
            closed_seasons=[{"from": "02-01", "to": "06-30", "source": "invented byelaw"}],
        )
    )
    assert [leaf.path for leaf in rule.tree.leaves] == [
        "require.0", "require.1.any.0", "require.1.any.1.all.0", "require.1.any.1.all.1", "closed_seasons.0",
        "prefer.0.all.0", "prefer.0.all.1",
    ]  # fmt: skip
    assert [(node.path, role, node.leaves) for node, role in rule.tree.groups] == [
        ("require.1", "require", (1, 4)),
        ("require.1.any.1", "require", (2, 4)),
        ("prefer.0", "prefer", (5, 7)),
    ]
    assert [rule.tree.policy_of(k) for k in (0, 1, 3, 5)] == ["exclude", "exclude", "exclude", "ignore"]


def test_a_window_about_an_event_is_absolute() -> None:
    window = EventWindow.parse(LOW)
    hours = np.array([-2.01, -2.0, -1.0, 0.0, 1.0, 1.01, np.nan])
    np.testing.assert_array_equal(window.membership(hours), [0.0, 1.0, 1.0, 1.0, 1.0, 0.0, np.nan])
    dark = EventWindow.parse(DARK)
    np.testing.assert_allclose(
        dark.membership(np.array([-31.0, -15.0, 0.0, 120.0, 135.0, 150.0])), [0, 0.5, 1, 1, 0.5, 0]
    )


@pytest.mark.parametrize(
    ("season", "inside", "outside"),
    [
        (("11-01", "03-31"), (306, 366, 1, 60, 91), (305, 92, 200)),
        (("02-29", "02-29"), (60,), (59, 61)),
        (("01-01", "12-31"), (1, 60, 366), ()),
        (("12-31", "01-01"), (366, 1), (365, 2)),
    ],
)
def test_seasons_are_whole_days_at_both_ends(
    season: tuple[str, str], inside: tuple[int, ...], outside: tuple[int, ...]
) -> None:
    span = YearSpan.parse({"from": season[0], "to": season[1]})
    assert span.holds(np.array(inside, dtype=np.float64)).all()
    assert not span.holds(np.array(outside, dtype=np.float64)).any()
    window = SeasonWindow.parse({"season": {"from": season[0], "to": season[1]}})
    days = np.arange(1.0, 367.0)
    np.testing.assert_array_equal(window.membership(days), span.holds(days).astype(float))


def test_a_season_fades_by_whole_days() -> None:
    window = SeasonWindow.parse({"season": {"from": "01-05", "to": "01-10"}, "fade_days": 10})
    days = np.array([361.0, 366.0, 5.0, 10.0, 15.0, 20.0])
    np.testing.assert_allclose(window.membership(days), [0.0, 0.5, 1.0, 1.0, 0.5, 0.0])


@pytest.mark.parametrize(
    ("bad", "field", "said"),
    [
        ({**LOW, "event": "moon_mood"}, "require.0.event", "slack_after_lw"),
        ({**LOW, "from_min": 90}, "require.0", "to_min after from_min"),
        ({**LOW, "to_min": 721}, "require.0.to_min", "720"),
        ({**LOW, "weight": 2}, "require.0.weight", "one of: factor, shape, unknown, event, from_min"),
        ({"season": {"from": "02-30", "to": "03-31"}}, "require.0.season.from", "MM-DD"),
        ({"season": {"from": "2-3", "to": "03-31"}}, "require.0.season.from", "MM-DD"),
        ({"season": {"from": "01-01", "to": "12-01"}, "fade_days": 40}, "require.0", "366"),
        ({"any": []}, "require.0.any", ""),
        ({"any": 3}, "require.0.any", ""),
        ({"any": [term()], "all": [term()]}, "require.0", "names all and any"),
        ({"any": [term(), {**LOW, "from_min": "x"}]}, "require.0.any.1.from_min", "number"),
        ({"any": [term(weight=1)]}, "require.0.any.0.weight", "one of: factor, shape, unknown, event, from_min"),
        ({"any": [{"all": [term(factor="moon_mood")]}]}, "require.0.any.0.all.0.factor", "'moon_mood' is no factor"),
        ({"any": [term(shape={"kind": "trapezoid", "from": 1})]}, "require.0.any.0.shape", "both of them"),
    ],
)
def test_what_is_wrong_with_a_term_is_said_where_it_stands(bad: dict[str, Any], field: str, said: str) -> None:
    found = faults_of(document(require=[bad]))
    assert list(found) == [field]
    assert said in found[field]


def test_every_fault_of_a_group_comes_at_once() -> None:
    bad = {"any": [term(factor="x"), {"all": [term(unknown="guess"), {**LOW, "event": "x"}]}], "mood": 1}
    assert list(faults_of(document(require=[bad], prefer=[{"any": [bad], "floor": 2}]))) == [
        "require.0.any.0.factor", "require.0.any.1.all.0.unknown", "require.0.any.1.all.1.event", "require.0.mood",
        "prefer.0.any.0.any.0.factor", "prefer.0.any.0.any.1.all.0.unknown", "prefer.0.any.0.any.1.all.1.event",
        "prefer.0.any.0.mood", "prefer.0.floor",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ([term()] * 1000, "has 1000 terms; at most 50"),
        ([{"any": [term()] * 1000}], "has 1000 terms; at most 50"),
        ([{"any": [{"all": [term()] * 17}] * 3}], "has 51 terms; at most 50"),
        ([nested(6)], "has groups 6 deep; at most 5 deep"),
        ([nested(5000)], "has 5001 terms; at most 50"),
    ],
)
def test_too_much_is_one_fault(terms: list[Any], said: str) -> None:
    assert faults_of(document(require=terms)) == {"require": said}


def test_as_much_as_may_be() -> None:
    rule = SpeciesRule.parse(document(require=[nested(5)], prefer=[{"any": [{"all": [term()] * 25}] * 2}]))
    assert len(rule.tree.leaves) == 6 + 50


def test_weights_may_be_nothing_but_not_all_of_them() -> None:
    nothing = [term(weight=0), {**DARK, "weight": 0}]
    assert SpeciesRule.parse(document(prefer=nothing)).prefer[0].weight == 0.0
    assert "a weight above 0" in faults_of(document(require=[], prefer=nothing))["prefer"]


def test_the_schema_names_every_kind_of_term() -> None:
    schema = rule_schema()
    kinds = {one["$ref"].rsplit("/", 1)[1] for one in schema["properties"]["require"]["items"]["anyOf"]}
    assert kinds == {"Requirement", "EventWindow", "SeasonWindow", "AllOf", "AnyOf"}
    assert "low_water" in schema["$defs"]["EventWindow"]["properties"]["event"]["enum"]
    inner = schema["$defs"]["AnyOf"]["properties"]["any"]["items"]["anyOf"]
    assert {"$ref": "#/$defs/AllOf"} in inner


def test_rules_of_before_parse_unchanged() -> None:
    old = document()
    rule = SpeciesRule.parse(old)
    assert rule.terms == (*rule.require, *rule.prefer)
    kept = rule.to_document()
    assert [kept[key] for key in ("closed_seasons", "release_only_seasons")] == [[], []]
    assert SpeciesRule.parse({key: value for key, value in kept.items() if "seasons" not in key}) == rule
