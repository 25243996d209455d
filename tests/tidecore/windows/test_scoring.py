from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.tidecore.windows.doubles import one_of, rule, trapezoid
from tidecore.windows import score_columns

NAN = math.nan
RISE = trapezoid(0.0, 1.0, None, None)


def columns(**values: list[float] | list[str]) -> dict[str, np.ndarray[Any, Any]]:
    return {name: np.array(column) for name, column in values.items()}


def test_the_score_is_the_formula() -> None:
    # min(0.8, 0.9) x exp((2 ln 0.5 + 1 ln 0.1) / 3), the second preference held at its floor.
    wanted = 0.8 * math.exp((2 * math.log(0.5) + math.log(0.1)) / 3)
    asked = rule(
        require=[("height", RISE, {}), ("rate", RISE, {})],
        prefer=[("fraction", RISE, {"weight": 2}), ("range", RISE, {})],
    )
    found = score_columns(asked, columns(height=[0.8], rate=[0.9], fraction=[0.5], range=[0.02]), flow_reliable=True)
    assert found.score[0] == pytest.approx(wanted, rel=1e-12)
    assert found.memberships[:, 0].tolist() == [0.8, 0.9, 0.5, 0.02]
    losses = [-math.log(0.8), 0.0, -2 / 3 * math.log(0.5), -1 / 3 * math.log(0.1)]
    np.testing.assert_allclose(found.losses[:, 0], losses, rtol=1e-12)
    assert found.losses.sum() == pytest.approx(-math.log(wanted))


def test_with_nothing_preferred_the_gate_is_the_score() -> None:
    asked = rule(require=[("height", RISE, {}), ("rate", RISE, {})])
    found = score_columns(asked, columns(height=[0.8, 0.0, 1.0], rate=[0.3, 1.0, 1.0]), flow_reliable=True)
    np.testing.assert_allclose(found.score, [0.3, 0.0, 1.0])


def test_with_nothing_required_the_gate_is_open() -> None:
    asked = rule(prefer=[("height", RISE, {"floor": 0.25})])
    found = score_columns(asked, columns(height=[0.0, 0.5, 1.0]), flow_reliable=True)
    np.testing.assert_allclose(found.score, [0.25, 0.5, 1.0])


@pytest.mark.parametrize(
    ("role", "policy", "score", "excluded"),
    [
        ("require", None, 0.0, True),
        ("require", "exclude", 0.0, True),
        ("require", "ignore", 0.8, False),
        ("require", "penalise", 0.1, False),
        ("prefer", None, 0.8, False),
        ("prefer", "ignore", 0.8, False),
        ("prefer", "exclude", 0.0, True),
        ("prefer", "penalise", 0.8 * 0.2, False),
    ],
)
def test_what_is_unknown_is_scored_as_the_rule_says(
    role: str, policy: str | None, score: float, excluded: bool
) -> None:
    extras: dict[str, Any] = {} if policy is None else {"unknown": policy}
    if role == "prefer":
        extras["floor"] = 0.2
    known: list[tuple[str, dict[str, Any], dict[str, Any]]] = [("height", RISE, {})]
    asked = rule(require=known + ([("wave_height", RISE, extras)] if role == "require" else []),
                 prefer=[("wave_height", RISE, extras)] if role == "prefer" else [])  # fmt: skip
    found = score_columns(asked, columns(height=[0.8], wave_height=[NAN]), flow_reliable=True)
    assert found.score[0] == pytest.approx(score)
    assert found.excluded[0] == excluded
    assert found.unknown[-1, 0]


def test_an_ignored_preference_leaves_its_weight_to_the_others() -> None:
    asked = rule(prefer=[("height", RISE, {"weight": 1}), ("rate", RISE, {"weight": 9})])
    found = score_columns(asked, columns(height=[0.5, 0.5], rate=[1.0, NAN]), flow_reliable=True)
    np.testing.assert_allclose(found.score, [0.5**0.1, 0.5])


def test_where_nothing_could_be_judged_nothing_holds() -> None:
    asked = rule(prefer=[("wave_height", RISE, {})])
    found = score_columns(asked, columns(wave_height=[NAN, 1.0]), flow_reliable=True)
    assert found.score.tolist() == [0.0, 1.0]
    assert not found.excluded.any()


def test_a_required_stream_is_unknown_where_its_turn_is_and_a_preferred_one_a_proxy() -> None:
    values = columns(height=[0.8], flow_strength=[0.6], direction=["flood"])
    for factor, shape in (("flow_strength", RISE), ("direction", one_of("flood"))):
        required = rule(require=[("height", RISE, {}), (factor, shape, {})])
        assert score_columns(required, values, flow_reliable=False).score.tolist() == [0.0]
        assert score_columns(required, values, flow_reliable=True).score[0] > 0.5
        tolerant = rule(require=[("height", RISE, {}), (factor, shape, {"unknown": "ignore"})])
        assert score_columns(tolerant, values, flow_reliable=False).score[0] == pytest.approx(0.8)
    preferred = rule(require=[("height", RISE, {})], prefer=[("flow_strength", RISE, {})])
    assert score_columns(preferred, values, flow_reliable=False).score[0] == pytest.approx(0.8 * 0.6)


def test_the_gate_charges_the_first_of_equals() -> None:
    asked = rule(require=[("height", RISE, {}), ("rate", RISE, {})])
    found = score_columns(asked, columns(height=[0.5], rate=[0.5]), flow_reliable=True)
    assert found.losses[:, 0].tolist() == [-math.log(0.5), 0.0]


def test_full_marks_lose_nothing() -> None:
    asked = rule(require=[("height", RISE, {})], prefer=[("rate", RISE, {})])
    losses = score_columns(asked, columns(height=[2.0], rate=[2.0]), flow_reliable=True).losses
    assert not losses.any()
    assert not np.signbit(losses).any()


@pytest.mark.parametrize("weights", [(1.0, 1.0), (0.3, 0.3), (7.0, 7.0)])
def test_a_score_that_is_the_threshold_reaches_it(weights: tuple[float, float]) -> None:
    # The geometric mean of 0.25 and 1 is 0.5, but for the last digit.
    first, second = weights
    asked = rule(prefer=[("height", RISE, {"weight": first}), ("rate", RISE, {"weight": second})])
    found = score_columns(asked, columns(height=[0.25, 0.2499], rate=[1.0, 1.0]), flow_reliable=True)
    assert found.holds.tolist() == [True, False]
