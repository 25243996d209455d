"""What a rule settles beforehand, held against the scores worked out whole."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.windows.doubles import rule, trapezoid
from tidecore.rules import SpeciesRule
from tidecore.windows.scorer import Scorer
from tidecore.windows.scoring import score_only

RISE = trapezoid(0.0, 1.0, None, None)
POLICIES = ("exclude", "ignore", "penalise")
INSTANTS = 5
SUITS = st.sampled_from([0.0, 0.07, 0.3, 0.62, 1.0, math.nan])


def term(name: str, **extras: object) -> dict[str, object]:
    return {"factor": name, "shape": RISE, **extras}


@st.composite
def rules(draw: st.DrawFn) -> SpeciesRule:
    names = iter(["height", "rate", "fraction", "range", "flow_index", "tide_phase", "range_ratio", "sun_altitude"])

    def some(most: int, weighed: bool) -> list[dict[str, object]]:
        terms: list[dict[str, object]] = []
        for _ in range(draw(st.integers(0, most))):
            extras: dict[str, object] = {"unknown": draw(st.sampled_from(POLICIES))}
            if weighed:
                extras |= {
                    "weight": draw(st.sampled_from([0.0, 0.5, 1.0, 3.0])),
                    "floor": draw(st.sampled_from([0.05, 0.3])),
                }
            if draw(st.integers(0, 3)) == 0:
                members = [term(next(names)), term(next(names), unknown=draw(st.sampled_from(POLICIES)))]
                terms.append({draw(st.sampled_from(["all", "any"])): members, **extras})
            else:
                terms.append(term(next(names), **extras))
        return terms

    require, prefer = some(2, False), some(2, True)
    if not require and not any(one["weight"] for one in prefer):
        require = [term("height")]
    plain = {"name": "invented", "species": {"scientific_name": "Piscis inventus"}}
    return SpeciesRule.parse(plain | {"require": require, "prefer": prefer})


@settings(max_examples=300, deadline=None)
@given(asked=rules(), data=st.data())
def test_settled_scores_are_the_scores_to_the_last_digit(asked: SpeciesRule, data: st.DataObject) -> None:
    leaves = range(len(asked.tree.leaves))
    constant = {k: data.draw(SUITS) for k in leaves if data.draw(st.booleans())}
    moving = {
        k: np.array(data.draw(st.lists(SUITS, min_size=INSTANTS, max_size=INSTANTS)))
        for k in leaves
        if k not in constant
    }
    scorer = Scorer(asked, constant)
    whole = score_only(asked, scorer.memberships(moving, INSTANTS))
    np.testing.assert_array_equal(scorer.score(moving, INSTANTS), whole)


@settings(max_examples=200, deadline=None)
@given(asked=rules(), data=st.data())
def test_so_they_are_where_a_forecast_ends(asked: SpeciesRule, data: st.DataObject) -> None:
    known = st.lists(SUITS.filter(lambda one: not math.isnan(one)), min_size=INSTANTS, max_size=INSTANTS)
    moving = {k: np.array(data.draw(known)) for k in range(len(asked.tree.leaves))}
    for suits in moving.values():
        suits[data.draw(st.sampled_from([2, INSTANTS])) :] = math.nan
    scorer = Scorer(asked, {})
    for count in (INSTANTS, 3):
        some = {k: suits[:count] for k, suits in moving.items()}
        whole = score_only(asked, scorer.memberships(some, count))
        np.testing.assert_array_equal(scorer.score(some, count), whole)


@pytest.mark.parametrize(("policy", "score"), [("exclude", 0.0), ("ignore", 0.6), ("penalise", 0.1)])
def test_what_is_never_known_is_settled_as_the_rule_says(policy: str, score: float) -> None:
    asked = rule(require=[("height", RISE, {}), ("rate", RISE, {"unknown": policy})])
    found = Scorer(asked, {1: math.nan}).score({0: np.array([0.6, 0.6])}, 2)
    np.testing.assert_allclose(found, [score, score])
