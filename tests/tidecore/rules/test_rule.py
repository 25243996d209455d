from __future__ import annotations

import json
import math
import pickle
from typing import Any

import pytest

from tidecore.errors import InvalidRule
from tidecore.place import Document
from tidecore.rules import SpeciesRule, rule_schema
from tidecore.timeline.registry import factors

EASY = {"kind": "trapezoid", "from": -2, "full_from": -1, "full_to": 1, "to": 3}


def document(**changes: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "name": "Flounder, estuary",
        "species": {"scientific_name": "Platichthys flesus", "fao_code": "FLE", "local_name": "flattie"},
        "require": [{"factor": "hours_from_lw", "shape": EASY}],
        "prefer": [
            {"factor": "light", "shape": {"kind": "set", "values": ["day", "civil_twilight"]}, "weight": 2},
            {
                "factor": "day_of_year",
                "shape": {"kind": "cyclic", "from": 240, "full_from": 260, "full_to": 40, "to": 60, "period": 366},
                "unknown": "penalise",
                "floor": 0.2,
            },
        ],
        "provenance": "common practice",
    }
    plain.update(changes)
    return plain


def term(**changes: Any) -> dict[str, Any]:
    return {"factor": "hours_from_lw", "shape": EASY, **changes}


def faults_of(plain: object) -> dict[str, str]:
    with pytest.raises(InvalidRule) as caught:
        SpeciesRule.parse(plain)
    return {fault.field: f"{fault.problem}; {fault.expected}" for fault in caught.value.faults}


def test_a_rule_survives_json_and_pickling() -> None:
    rule = SpeciesRule.parse(document())
    assert SpeciesRule.parse(json.loads(json.dumps(rule.to_document()))) == rule
    assert pickle.loads(pickle.dumps(rule)) == rule
    assert rule.to_document()["require"][0]["shape"]["from"] == -2


def test_the_defaults_are_those_of_the_trade() -> None:
    rule = SpeciesRule.parse(document())
    assert (rule.threshold, rule.minimum_duration_min) == (0.5, 30.0)
    assert rule.require[0].unknown == "exclude"
    assert (rule.prefer[0].unknown, rule.prefer[0].floor) == ("ignore", 0.1)
    assert (rule.require[0].penalty, rule.prefer[1].penalty) == (0.1, 0.2)
    assert rule.factor_names == ("hours_from_lw", "light", "day_of_year")


@pytest.mark.parametrize("plain", [{"require": [], "prefer": []}, {"require": []}, {}])
def test_a_rule_without_factors_is_refused(plain: dict[str, Any]) -> None:
    whole = document()
    del whole["require"], whole["prefer"]
    assert "at least one factor" in faults_of(whole | plain)["prefer"]


def test_every_fault_of_a_bad_rule_comes_at_once() -> None:
    found = faults_of(
        document(
            species={"scientific_name": "", "fao_code": "fle"},
            require=[
                term(shape={"kind": "trapezoid", "from": 3, "full_from": 2, "full_to": 1, "to": 0}),
                term(factor="moon_mood"),
                term(shape={"kind": "trapezoid", "from": math.nan, "full_from": math.inf}),
                term(shape={"kind": "blob"}),
                term(shape={"from": 1}),
                term(factor="light", shape={"kind": "set", "values": ["day", "dusk"]}),
                term(unknown="guess"),
            ],
            prefer=[
                term(weight=1001),
                term(weight=-1, floor=1),
                term(floor=0, factor="light"),
                {"factor": "height"},
            ],
            threshold=0,
            minimum_duration_min=0,
            mood="good",
        )
    )
    assert list(found) == [
        "species.scientific_name",
        "species.fao_code",
        "require.0.shape",
        "require.1.factor",
        "require.2.shape.from",
        "require.2.shape.full_from",
        "require.3.shape.kind",
        "require.4.shape.kind",
        "require.5.shape",
        "require.6.unknown",
        "prefer.0.weight",
        "prefer.1.weight",
        "prefer.1.floor",
        "prefer.2.shape",
        "prefer.2.floor",
        "prefer.3.shape",
        "threshold",
        "minimum_duration_min",
        "mood",
    ]
    assert "runs backwards: 3, 2, 1, 0" in found["require.0.shape"]
    assert "hours_from_lw" in found["require.1.factor"]
    assert "'dusk'" in found["require.5.shape"]
    assert "civil_twilight" in found["require.5.shape"]


@pytest.mark.parametrize(
    ("factor", "shape", "said"),
    [
        ("light", EASY, "light is a category"),
        ("flow_reliable", EASY, "flow_reliable is a boolean"),
        ("height", {"kind": "set", "values": ["high"]}, "height is a number"),
        ("flow_reliable", {"kind": "set", "values": ["yes"]}, "True, False"),
        ("light", {"kind": "set", "values": [True]}, "True"),
        ("height", {"kind": "cyclic", "from": 0, "full_from": 1, "full_to": 2, "to": 3}, "no period"),
        ("month", {"kind": "cyclic", "from": 1, "full_from": 1, "full_to": 2, "to": 3, "period": 10}, "period 10"),
        ("month", {"kind": "cyclic", "from": -1, "full_from": 1, "full_to": 2, "to": 3}, "leaves the scale"),
        ("month", {"kind": "cyclic", "from": 1, "full_from": 3, "full_to": 2, "to": 4}, "backwards"),
        ("month", {"kind": "cyclic", "from": 11, "full_from": 1, "full_to": 12, "to": 2}, "backwards"),
        ("wave_from", {"kind": "cyclic", "from": 0, "full_from": 0, "full_to": 360, "to": 360}, "one point"),
        ("height", {"kind": "trapezoid", "from": 1}, "neither for an open side"),
        ("height", {"kind": "trapezoid", "from": 1, "full_from": 2, "to": 3}, "neither for an open side"),
        ("height", {"kind": "trapezoid"}, "no corner"),
        ("height", {"kind": "trapezoid", "from": None, "full_to": None}, "no corner"),
        ("height", {"kind": "trapezoid", "from": 2, "full_from": 3, "full_to": 1, "to": 4}, "backwards"),
    ],
)
def test_a_shape_must_make_sense_for_its_factor(factor: str, shape: dict[str, Any], said: str) -> None:
    found = faults_of(document(require=[{"factor": factor, "shape": shape}]))
    assert list(found) == ["require.0.shape"]
    assert said in found["require.0.shape"]


@pytest.mark.parametrize("values", [[], ["day", "day"], ["x" * 200], [3], ["day"] * 51, "day"])
def test_sets_are_of_different_values(values: object) -> None:
    found = faults_of(document(require=[{"factor": "light", "shape": {"kind": "set", "values": values}}]))
    assert all(field.startswith("require.0.shape.values") for field in found)


def test_a_thousand_terms_are_one_fault() -> None:
    found = faults_of(document(require=[term()] * 1000, prefer=[{}] * 51))
    assert found == {"require": "has 1000 terms; at most 50", "prefer": "has 51 terms; at most 50"}


@pytest.mark.parametrize("plain", [None, [], "rule", 3])
def test_what_is_no_object_is_refused(plain: object) -> None:
    assert "JSON object" in faults_of(plain)["document"]


@pytest.mark.parametrize("name", ["", " ", "a\nb", "a\x00b", "\udc80", "x" * 121])
def test_names_are_plain_short_lines(name: str) -> None:
    assert list(faults_of(document(name=name))) == ["name"]


@pytest.mark.parametrize("number", ["1", True, None, [1], 1e10])
def test_numbers_are_numbers(number: object) -> None:
    shape = {**EASY, "to": number}
    assert all(field.startswith("require.0.shape") for field in faults_of(document(require=[term(shape=shape)])))


def test_the_schema_lists_every_factor_and_refuses_others() -> None:
    schema = rule_schema()
    assert schema["$schema"].endswith("2020-12/schema")
    terms = [schema["$defs"][name]["properties"]["factor"] for name in ("Requirement", "Preference")]
    assert [entry["enum"] for entry in terms] == [list(factors())] * 2
    assert schema["additionalProperties"] is False
    shapes = {name: schema["$defs"][name] for name in ("Trapezoid", "Cyclic", "ValueSet")}
    assert all("kind" in shape["required"] for shape in shapes.values())
    assert "from" in shapes["Trapezoid"]["properties"]
    json.dumps(schema, allow_nan=False)


def test_marks_and_rules_share_one_base() -> None:
    assert issubclass(SpeciesRule, Document)
