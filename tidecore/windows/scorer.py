"""The score of one rule at one mark, what never changes there settled once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from tidecore.rules import Node, SpeciesRule
from tidecore.units import FloatArray
from tidecore.windows.scoring import score_only, suits_of


class _Weighed(NamedTuple):
    """A preference: its part of all weights, its floor, and its loss where that never changes."""

    node: Node
    share: float
    floor: float
    loss: np.float64 | None


class Scorer:
    """Scores of a rule of which some leaves always suit so well; the same to the last digit as `score_only` has them.

    What is unknown all along is settled here as the rule says. Most often a forecast ends, and the same leaves are
    unknown from then on: a scorer of its own settles them there. What is left is for `score_only`.
    """

    def __init__(self, rule: SpeciesRule, constant: Mapping[int, float]) -> None:
        """Settle the leaves in ``constant``: how well they suit, by their places; NaN where they are unknown."""
        self.rule, self.constant = rule, constant
        self._without: dict[tuple[int, ...], Scorer] = {}
        require, prefer = rule.tree.require, rule.tree.prefer
        settled = {node.path: _settled(node, constant[node.leaf]) for node in (*require, *prefer) if self._fixed(node)}
        dropped = {path for path, value in settled.items() if value is None}
        open_ = {path for path, value in settled.items() if value is not None and np.isnan(value)}
        # A closed season judges nothing, and neither does what has no weight.
        counts = [node.path for node in require[: len(rule.require)]] + [n.path for n in prefer if n.weight > 0.0]
        #: Whether nothing ever scores: an unknown excludes all, or nothing is judged.
        self.nothing = bool(open_) or dropped.issuperset(counts)
        self._gates = [node for node in require if node.path not in settled]
        fixed = [value for node in require if (value := settled.get(node.path, 1.0)) is not None]
        self._least = min(fixed, default=1.0)
        weights = np.array([[0.0 if node.path in dropped else node.weight] for node in prefer])
        total = float(weights.sum()) if prefer else 0.0
        shares = (weights / (total if total > 0.0 else 1.0)).ravel().tolist() if prefer else []
        self._weighed = [
            _Weighed(node, share, node.floor, self._loss(node, share, settled))
            for node, share in zip(prefer, shares, strict=True)
        ]

    def _fixed(self, node: Node) -> bool:
        return node.mode == "term" and node.leaf in self.constant

    @staticmethod
    def _loss(node: Node, share: float, settled: Mapping[str, float | None]) -> np.float64 | None:
        if node.path not in settled:
            return None
        value = settled[node.path]
        return np.float64(0.0 if value is None else _lost(share, node.floor, np.array([value]))[0])

    def score(self, moving: Mapping[int, FloatArray], count: int) -> FloatArray:
        """Return the score at ``count`` instants, at which the leaves that are not constant suit so well."""
        if self.nothing:
            return np.zeros(count)
        gate: FloatArray | float = self._least
        with np.errstate(divide="ignore", invalid="ignore"):
            for k, node in enumerate(self._gates):
                value = self._value(node, moving, count)
                gate = value if k == 0 and self._least >= 1.0 else np.minimum(gate, value)
            total = 0.0 - np.log(gate)
            lost: FloatArray | np.float64 | None = None
            for one in self._weighed:
                loss: FloatArray | np.float64
                if one.loss is None:
                    loss = _lost(one.share, one.floor, self._value(one.node, moving, count))
                else:
                    loss = one.loss
                lost = loss if lost is None else lost + loss
            total = total if lost is None else total + lost
        found = np.exp(-total)
        if not (isinstance(found, np.ndarray) and found.ndim):
            found = np.full(count, found)
        unknown = np.flatnonzero(np.isnan(found))
        if unknown.size:
            found[unknown] = self._score_unknown({k: suits[unknown] for k, suits in moving.items()}, unknown.size)
        return found

    def _score_unknown(self, moving: Mapping[int, FloatArray], count: int) -> FloatArray:
        """Return the score at instants at which one of the leaves that are not constant is unknown."""
        missing = tuple(k for k, suits in moving.items() if np.isnan(suits[0]))
        alike = all(np.isnan(suits).all() if k in missing else not np.isnan(suits).any() for k, suits in moving.items())
        if not (alike and missing):
            return score_only(self.rule, self.memberships(moving, count))
        if missing not in self._without:
            self._without[missing] = Scorer(self.rule, {**self.constant, **dict.fromkeys(missing, np.nan)})
        return self._without[missing].score({k: suits for k, suits in moving.items() if k not in missing}, count)

    def memberships(self, moving: Mapping[int, FloatArray], count: int) -> list[FloatArray]:
        """Return how well every leaf suits."""
        return [
            np.full(count, self.constant[k]) if k in self.constant else moving[k]
            for k in range(len(self.rule.tree.leaves))
        ]

    def _value(self, node: Node, moving: Mapping[int, FloatArray], count: int) -> FloatArray:
        if node.mode == "term":
            return moving[node.leaf]
        leaves = range(*node.leaves)
        return suits_of(node, {k: moving[k] if k in moving else np.full(count, self.constant[k]) for k in leaves})


def _settled(node: Node, value: float) -> float | None:
    """Return what a term that never changes counts as: None where it is left out, NaN where it excludes all."""
    if not np.isnan(value):
        return value
    if node.unknown == "ignore" or node.weight == 0.0:
        return None
    return node.penalty if node.unknown == "penalise" else np.nan


def _lost(share: float, floor: float, values: FloatArray) -> FloatArray:
    """Return the part of a preference in the fall of the logarithm."""
    found: FloatArray = 0.0 - share * np.log(np.maximum(floor, values))
    return found
