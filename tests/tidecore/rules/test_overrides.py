"""What a mark knows better than a rule."""

from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.timeline.places import mark_at
from tidecore.errors import InvalidInput, InvalidRule
from tidecore.place import Mark
from tidecore.rules import SpeciesRule, check_overrides, rule_at, suitability

RAY = {"scientific_name": "Raja inventa", "fao_code": "XXR"}
#: "Ray here: HW -1 to +3 on tides of 4.5 to 5.2 m."
HERE = {
    "require": [
        {"event": "high_water", "from_min": -60, "to_min": 180},
        {
            "factor": "height_of_hw",
            "shape": {"kind": "trapezoid", "from": 4.4, "full_from": 4.5, "full_to": 5.2, "to": 5.3},
        },
    ],
    "note": "beyond 80 m",
}


def rule(**changes: Any) -> SpeciesRule:
    plain: dict[str, Any] = {
        "name": "ray",
        "species": {**RAY},
        "require": [
            {"factor": "named_phase", "shape": {"kind": "set", "values": ["top_of_the_tide"]}},
            {"factor": "clarity", "shape": {"kind": "set", "values": ["tinge"]}, "unknown": "ignore"},
        ],
        "prefer": [
            {"factor": "range_ratio", "shape": {"kind": "trapezoid", "full_to": 0.7, "to": 1.0}},
            {"any": [{"event": "sunset", "from_min": 0, "to_min": 60},
                     {"factor": "light", "shape": {"kind": "set", "values": ["night"]}}]},
        ],
        "beds": ["clean_sand"],
        "closed_seasons": [{"from": "02-01", "to": "03-01", "source": "invented"}],
    }  # fmt: skip
    return SpeciesRule.parse(plain | changes)


def mark(*species: dict[str, Any], beds: tuple[str, ...] = ()) -> Mark:
    return Mark.parse(mark_at().to_document() | {"species": list(species), "beds": list(beds)})


def test_what_the_mark_says_of_a_subject_replaces_what_the_rule_says() -> None:
    here = rule_at(rule(), mark({**RAY, "override": HERE}))
    # The state and the size of the tide are the mark's; clarity, light and the closed season are the rule's.
    assert here.factor_names == (
        "clarity", "hours_from_hw", "height_of_hw", "calendar_day", "minutes_from_sunset", "light",
    )  # fmt: skip
    assert here.notes == "beyond 80 m"
    assert here.closed_seasons == rule().closed_seasons
    assert rule_at(here, mark({**RAY, "override": HERE})).tree == here.tree


def test_a_group_stays_as_long_as_it_is_about_something_else_too() -> None:
    of_light = {"prefer": [{"factor": "sun_altitude", "shape": {"kind": "trapezoid", "full_to": 0, "to": 5}}]}
    assert len(rule_at(rule(), mark({**RAY, "override": of_light})).prefer) == 2
    mixed = rule(prefer=[{"any": [{"event": "sunset", "from_min": 0, "to_min": 60},
                                  {"factor": "clarity", "shape": {"kind": "set", "values": ["tinge"]}}]}])  # fmt: skip
    assert len(rule_at(mixed, mark({**RAY, "override": of_light})).prefer) == 2


def test_other_species_and_no_override_change_nothing() -> None:
    asked = rule()
    assert rule_at(asked, mark()) is asked
    assert rule_at(asked, mark({"scientific_name": "Piscis alius", "override": HERE})) is asked
    assert rule_at(asked, mark(RAY)) is asked
    assert rule_at(asked, mark({"scientific_name": "RAJA INVENTA", "override": HERE})) is not asked
    assert rule_at(asked, mark({"scientific_name": "Raja alia", "fao_code": "XXR", "override": HERE})) is not asked


@pytest.mark.parametrize(
    ("species", "beds", "wanted", "suits"),
    [
        ([RAY], (), ["clean_sand"], "declared"),
        ([RAY], ("mud",), ["clean_sand"], "declared"),
        ([], ("mud", "clean_sand"), ["clean_sand"], "accepted_bed"),
        ([], ("mud",), [], "any_bed"),
        ([], ("mud",), ["clean_sand"], "other_bed"),
        ([], (), ["clean_sand"], "unknown"),
        ([], (), [], "unknown"),
        ([{"scientific_name": "Piscis alius"}], (), ["clean_sand"], "unknown"),
    ],
)
def test_suitability(species: list[dict[str, Any]], beds: tuple[str, ...], wanted: list[str], suits: str) -> None:
    assert suitability(rule(beds=wanted), mark(*species, beds=beds)) == suits


def test_every_fault_of_every_override_is_said_where_it_stands() -> None:
    bad = mark(
        {"scientific_name": "Piscis unus", "override": {"require": [{"factor": "moods"}], "mood": 1}},
        {"scientific_name": "Piscis alter", "override": HERE},
        {"scientific_name": "Piscis tertius", "override": {"prefer": [{"event": "x", "from_min": 1, "to_min": 2}]}},
    )
    with pytest.raises(InvalidInput) as caught:
        check_overrides(bad)
    assert [fault.field for fault in caught.value.faults] == [
        "species.0.override.require.0.factor", "species.0.override.require.0.shape", "species.0.override.mood",
        "species.2.override.prefer.0.event",
    ]  # fmt: skip
    check_overrides(mark({**RAY, "override": HERE}, {"scientific_name": "Piscis unus"}))


def test_an_override_that_makes_no_rule_is_refused() -> None:
    only = rule(require=[], prefer=[{"event": "sunset", "from_min": 0, "to_min": 60}])
    nothing = {"prefer": [{"factor": "light", "shape": {"kind": "set", "values": ["night"]}, "weight": 0}]}
    with pytest.raises(InvalidRule, match=r"species\.0\.override\.prefer"):
        rule_at(only, mark({**RAY, "override": nothing}))
