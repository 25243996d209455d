"""The linter: each thing that an author can hardly mean is found, and what is meant is left alone."""

from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.place import Mark
from tidecore.rules import SpeciesRule, lint
from tidecore.timeline import build_timeline


def level(*corners: float | None, **extras: Any) -> dict[str, Any]:
    names = ("from", "full_from", "full_to", "to")
    shape = {"kind": "trapezoid", **{name: one for name, one in zip(names, corners, strict=True) if one is not None}}
    return {"factor": "height", "shape": shape, **extras}


def light(*values: str, **extras: Any) -> dict[str, Any]:
    return {"factor": "light", "shape": {"kind": "set", "values": list(values)}, **extras}


def rule(require: list[Any], prefer: list[Any] = [], **parts: Any) -> SpeciesRule:  # noqa: B006
    plain = {"name": "invented", "species": {"scientific_name": "Piscis inventus"}}
    return SpeciesRule.parse({**plain, "require": require, "prefer": prefer, **parts})


def found(*arguments: Any, **options: Any) -> list[tuple[str, str]]:
    return [(one.path, one.kind) for one in lint(*arguments, **options)]


LOW, HIGH = level(None, None, 1.0, 2.0), level(3.0, 4.0, None, None)
LATE = {"event": "sunset", "from_min": 30, "to_min": 120}


@pytest.mark.parametrize(
    ("require", "prefer", "parts", "remarks"),
    [
        ([LOW], [light("night")], {}, []),
        ([LOW, HIGH], [], {}, [("require.1", "contradiction")]),
        # Half met by both at 2.5 m, and by no value more than half.
        ([level(None, None, 2.0, 3.0), level(2.0, 3.0, None, None)], [], {}, []),
        (
            [level(None, None, 2.0, 3.0), level(2.0, 3.0, None, None)],
            [],
            {"threshold": 0.6},
            [("require.1", "contradiction")],
        ),
        ([{"all": [LOW, HIGH]}], [], {}, [("require.0.all.1", "contradiction")]),
        ([{"any": [LOW, HIGH]}], [], {}, []),
        ([light("day"), light("night")], [], {}, [("require.1", "contradiction")]),
        (
            [light("day", "civil_twilight", "nautical_twilight", "astronomical_twilight", "night")],
            [],
            {},
            [("require.0", "no_effect")],
        ),
        ([{"factor": "flow_strength", "shape": {"kind": "trapezoid", "full_to": -2, "to": -1}}], [], {},
         [("require.0", "never_met")]),
        ([{"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": -2, "full_from": -1}}], [], {},
         [("require.0", "no_effect")]),
        ([{"factor": "month", "shape": {"kind": "trapezoid", "from": 3.1, "full_from": 3.2, "full_to": 3.8, "to": 4}}],
         [], {}, [("require.0", "never_met")]),
        ([LOW, LOW], [], {}, [("require.1", "no_effect")]),
        ([{"any": [LOW]}], [], {}, [("require.0", "no_effect")]),
        ([LOW], [light("night", weight=0, unknown="exclude"), LATE], {}, [("prefer.0", "no_effect")]),
        ([LOW], [light("night", floor=0.6)], {}, [("threshold", "no_effect")]),
        ([{"event": "low_water", "from_min": -60, "to_min": 600}], [], {}, [("require.0", "no_effect")]),
        ([{"event": "sunset", "from_min": 60, "to_min": 600}], [], {}, []),
        (
            [{"season": {"from": "11-01", "to": "12-31"}}, {"season": {"from": "03-01", "to": "04-30"}}],
            [],
            {},
            [("require.1", "contradiction")],
        ),
        (
            [
                {"season": {"from": "06-01", "to": "08-31"}},
                {"factor": "month", "shape": {"kind": "cyclic", "from": 11, "full_from": 11, "full_to": 2, "to": 2}},
            ],
            [],
            {},
            [("require.1", "contradiction")],
        ),
        ([LOW], [], {"closed_seasons": [{"from": "07-01", "to": "06-30", "source": "invented"}]},
         [("closed_seasons.0", "contradiction")]),
        ([LOW], [], {"closed_seasons": [{"from": "07-01", "to": "06-29", "source": "invented"}]}, []),
        ([{"season": {"from": "06-01", "to": "08-31"}}], [],
         {"closed_seasons": [{"from": "05-01", "to": "09-30", "source": "invented"}]},
         [("closed_seasons.0", "contradiction")]),
        ([{"factor": "moonlight", "shape": {"kind": "trapezoid", "from": 0, "full_from": 2}}], [], {"threshold": 0.6},
         [("threshold", "contradiction")]),
    ],
)  # fmt: skip
def test_a_rule_alone(
    require: list[Any], prefer: list[Any], parts: dict[str, Any], remarks: list[tuple[str, str]]
) -> None:
    asked = rule(require, prefer, **parts)
    assert found(asked) == remarks
    assert all(one.problem and one.better for one in lint(asked))


def test_at_a_mark() -> None:
    plain = mark_at().to_document()
    stream = rule([{"factor": "flow_strength", "shape": {"kind": "trapezoid", "from": 0, "full_from": 0.3}}])
    assert found(stream, mark_without_lags()) == [("require.0", "never_known")]
    assert found(stream, mark_at()) == []
    sandy = rule([LOW], beds=["clean_sand"])
    assert found(sandy, Mark.parse(plain | {"beds": ["mud"]})) == [("beds", "ground")]
    assert (
        found(sandy, Mark.parse(plain | {"beds": ["mud"], "species": [{"scientific_name": "Piscis inventus"}]})) == []
    )
    override = {"require": [HIGH]}
    here = Mark.parse(plain | {"species": [{"scientific_name": "Piscis inventus", "override": override}]})
    assert found(rule([LOW, light("day")]), here) == []


def test_over_a_span() -> None:
    timeline = build_timeline(mark_at(), model_of("large"), "2026-06-01", "2026-06-08")
    waves = {"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 1, "to": 2}}
    never = lint(rule([waves]), timeline=timeline)
    assert [(one.path, one.kind) for one in never] == [("require.0", "never_known")]
    assert "nothing holds" in never[0].problem
    assert found(rule([LOW, {**waves, "unknown": "ignore"}]), timeline=timeline) == [("require.1", "never_known")]
    assert found(rule([level(-9, -8, None, None)]), timeline=timeline) == [("require.0", "no_effect")]
    assert found(rule([level(50, 60, None, None)]), timeline=timeline) == [("require.0", "never_met")]
    assert found(rule([LOW], [level(50, 60, None, None)]), timeline=timeline) == [("prefer.0", "never_met")]
    # In June no night at this latitude falls at noon.
    noon = {"factor": "sun_altitude", "shape": {"kind": "trapezoid", "from": 50, "full_from": 51}}
    assert found(rule([noon, {"event": "sunset", "from_min": -60, "to_min": 60}]), timeline=timeline) == [
        ("require", "never_met")
    ]
    # A season is not said to have no effect in a week.
    assert found(rule([{"season": {"from": "05-01", "to": "08-31"}}, LOW]), timeline=timeline) == []
