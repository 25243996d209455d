"""Documents of methods: all faults at once, their schema, and the leader that a cast asks for."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import InvalidInput
from tidecore.rules import Method, Species, check_tackle, leader_needed, method_schema
from tidecore.rules.method import boldness


def document(**changes: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "name": "Two small hooks",
        "rig": "two hooks low on the trace",
        "style": "clipped",
        "hooks": [{"pattern": "long shank", "size": "4", "number": 2}],
        "snoods": [{"length_m": 0.3, "strength_lb": 12}] * 2,
        "baits": [{"name": "lugworm", "kind": "worm", "grams": 20}],
        "reach": {"band": "near", "from_m": 20, "to_m": 60},
        "lead": {"grams": 130, "type": "grip"},
        "main_line": {"material": "mono", "diameter_mm": 0.35, "strength_lb": 15},
        "leader": {"strength_lb": 60, "rod_lengths": 2, "turns": 7},
    }
    return plain | changes


def method(**changes: Any) -> Method:
    return Method.parse(document(**changes))


def faults(**changes: Any) -> dict[str, str]:
    with pytest.raises(InvalidInput) as caught:
        method(**changes)
    return {one.field: one.problem for one in caught.value.faults}


def test_a_method_comes_back_from_its_plain_data():
    one = method(suits=[{"any": [{"event": "last_light", "from_min": 0, "to_min": 120}, {"all": [
        {"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 0.5, "to": 1.0}},
        {"factor": "clarity", "shape": {"kind": "set", "values": ["clear"]}}]}], "weight": 2.0}])  # fmt: skip
    assert Method.parse(json.loads(json.dumps(one.to_document()))) == one
    assert one.factor_names == ("minutes_from_last_light", "wave_height", "clarity")
    assert [leaf.path for leaf in one.tree.leaves] == ["prefer.0.any.0", "prefer.0.any.1.all.0", "prefer.0.any.1.all.1"]


def test_every_fault_is_named_at_once():
    found = faults(
        hooks=[{"pattern": "wide", "size": "0/2"}, {"pattern": "", "size": "2/0", "number": 0}],
        reach={"band": "yonder", "from_m": 60, "to_m": 20},
        lead={"grams": -1, "type": "grip"},
        baits=[{"name": "lugworm", "kind": "worm", "per_change": {"from": 2, "to": 1}}],
        suits=[{"any": [{"factor": "moon_mood", "shape": {"kind": "trapezoid", "to": 1.0, "full_to": 0.0}}]}],
        colour="red",
    )
    assert set(found) == {
        "hooks.0.size", "hooks.1.pattern", "hooks.1.number", "reach.band", "reach.to_m", "lead.grams",
        "baits.0.per_change.to", "suits.0.any.0.factor", "colour",
    }  # fmt: skip
    assert found["reach.to_m"] == "is 20, from 60"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"hooks": []}, "hooks"),
        ({"baits": []}, "baits"),
        ({"baits": [{"name": "Squid", "kind": "squid"}, {"name": "squid", "kind": "squid"}]}, "baits"),
        ({"snoods": [{"length_m": 0.3}] * 3}, "snoods"),
        ({"rods": 3}, "rods"),
        ({"rods": True}, "rods"),
        ({"hooks": [{"pattern": "wide", "size": "2/0", "number": 1.5}]}, "hooks.0.number"),
        ({"leader": {"strength_lb": 0}}, "leader.strength_lb"),
    ],
)
def test_what_makes_no_method_is_refused(changes, field):
    assert set(faults(**changes)) == {field}


def test_the_schema_says_what_there_is():
    found = method_schema()
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "wave_height" in json.dumps(found)
    assert {"name", "rig", "hooks", "baits", "reach"} == set(found["required"])
    assert found["properties"]["hooks"]["minItems"] == 1


def test_sizes_of_hooks_stand_in_their_order():
    sizes = ["22", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "6/0"]
    numbers = [boldness(size) for size in sizes]
    assert numbers == sorted(set(numbers))


def test_a_method_is_for_its_species_by_name_or_code_and_for_any_without():
    bass = Species.parse({"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS"})
    cod = Species.parse({"scientific_name": "Gadus morhua"})
    assert method().is_for(bass)
    one = method(species=[{"scientific_name": "dicentrarchus LABRAX"}])
    assert one.is_for(bass)
    assert not one.is_for(cod)
    assert method(species=[{"scientific_name": "Sea bass", "fao_code": "BSS"}]).is_for(bass)


def test_a_leader_is_ten_pounds_for_each_ounce():
    # Common practice: 150 g ask for 53 lb, so 60.
    need = leader_needed(150.0)
    assert round(need.exact_lb) == 53
    assert need.right_lb == 60.0
    assert leader_needed(5 * 28.349523125).right_lb == 50.0


@given(st.floats(1.0, 1500.0))
def test_the_right_leader_is_the_next_step_up(grams: float) -> None:
    need = leader_needed(grams)
    assert need.exact_lb - 1e-6 <= need.right_lb < max(need.exact_lb, 0.1) + 10.0
    assert need.right_lb % 10.0 == 0.0


def kinds(**changes: Any) -> list[tuple[str, str]]:
    return [(one.path, one.kind) for one in check_tackle(method(**changes))]


def test_a_leader_that_is_right_gives_no_remark():
    assert kinds() == []


def test_a_leader_too_weak_is_a_remark_with_what_would_be_right():
    (remark,) = check_tackle(method(leader={"strength_lb": 50, "rod_lengths": 2, "turns": 6}))
    assert (remark.path, remark.kind) == ("leader.strength_lb", "leader_weak")
    assert "53 lb" in remark.problem
    assert "60 lb" in remark.better
    assert "6 to 8 turns" in remark.better


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"leader": {"strength_lb": 60, "rod_lengths": 1.5, "turns": 5}},
         [("leader.rod_lengths", "leader_short"), ("leader.turns", "leader_short")]),
        ({"leader": {"strength_lb": 60, "rod_lengths": 2, "turns": 9}}, [("leader.turns", "leader_long")]),
        ({"leader": {"strength_lb": 60}}, [("leader", "not_assessed")]),
        ({"leader": None}, [("leader", "leader_missing")]),
        ({"leader": None, "main_line": None}, [("leader", "not_assessed")]),
        ({"leader": None, "main_line": {"material": "mono", "strength_lb": 60}}, []),
        ({"leader": None, "lead": None}, []),
        ({"baits": [{"name": "squid", "kind": "squid"}]}, [("baits", "not_assessed")]),
    ],
)  # fmt: skip
def test_what_else_is_said_of_a_leader(changes, found):
    assert kinds(**changes) == found


def test_without_the_weight_of_the_bait_the_leader_is_a_least_one():
    remarks = check_tackle(
        method(baits=[{"name": "squid", "kind": "squid"}], leader={"strength_lb": 40, "rod_lengths": 2, "turns": 7})
    )
    assert [one.kind for one in remarks] == ["leader_weak", "not_assessed"]
    assert "at least 50 lb" in remarks[0].better
