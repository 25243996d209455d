"""A rule taken apart: its terms one by one with their paths, and how they are grouped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np

from tidecore.rules.seasons import Season
from tidecore.rules.terms import AllOf, AnyOf, AnyTerm, UnknownPolicy, Weighed
from tidecore.timeline.registry import find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray

Role = Literal["require", "prefer"]
Mode = Literal["term", "all", "any"]


class Judge(Protocol):
    """What judges one factor: a term that is no group, or a closed season."""

    @property
    def factor(self) -> str:
        """Name of the factor."""
        ...

    @property
    def unknown(self) -> UnknownPolicy:
        """What to do where the factor is unknown."""
        ...

    @property
    def penalty(self) -> float:
        """Membership that stands for an unknown value where it is penalised."""
        ...

    def membership(self, values: AnyArray) -> FloatArray:
        """Return how well values suit, 0 to 1; NaN where they are unknown."""
        ...

    def corners(self) -> tuple[float, ...]:
        """Return the values at which the membership turns a corner, both of an edge."""
        ...


@dataclass(frozen=True, slots=True)
class ClosedSeason:
    """The gate that a closed season makes: 0 in it, 1 outside."""

    season: Season
    factor: str = "calendar_day"
    unknown: UnknownPolicy = "exclude"
    penalty: float = 0.0

    def membership(self, values: AnyArray) -> FloatArray:
        """Return 0 on the days of the season, 1 on others."""
        return (~self.season.holds(values)).astype(float)

    def corners(self) -> tuple[float, ...]:
        """Return no corners: the days of the year come whole."""
        return ()


@dataclass(frozen=True, slots=True)
class Leaf:
    """One term that is no group: where it stands in the rule, what judges, and whether it gates or weighs."""

    path: str
    term: Judge
    role: Role

    @property
    def factor(self) -> str:
        """Name of its factor."""
        return self.term.factor

    @property
    def needs_lags(self) -> bool:
        """Whether it is unknown where it is not known when the stream turns: a requirement of the stream."""
        return self.role == "require" and find_factor(self.term.factor).of_the_stream

    @property
    def closes(self) -> bool:
        """Whether it is a closed season, which judges nothing but whether the rule may be fished for."""
        return isinstance(self.term, ClosedSeason)


@dataclass(frozen=True, slots=True)
class Node:
    """A term or a group of a rule: ``children`` of a group, ``leaf`` (its place among the leaves) of a term.

    ``leaves`` are the places of all leaves under it, from the first to before the last. ``weight`` and ``floor`` are
    those of a preference, 1 and 0 else.
    """

    path: str
    mode: Mode
    leaf: int
    children: tuple[Node, ...]
    leaves: tuple[int, int]
    unknown: UnknownPolicy
    penalty: float
    weight: float
    floor: float


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True)
class RuleTree:
    """The terms of a rule: ``require`` with the closed seasons after it, ``prefer``, and the ``leaves`` of both."""

    require: tuple[Node, ...]
    prefer: tuple[Node, ...]
    leaves: tuple[Leaf, ...]

    @cached_property
    def weights(self) -> FloatArray:
        """Weights of the preferences, shape ``(n, 1)``."""
        return np.array([node.weight for node in self.prefer])[:, None]

    @cached_property
    def floors(self) -> FloatArray:
        """Floors of the preferences, shape ``(n, 1)``."""
        return np.array([node.floor for node in self.prefer])[:, None]

    @cached_property
    def judging(self) -> tuple[BoolArray, BoolArray]:
        """Which requirements judge, and which preferences: all but closed seasons, and what has no weight."""
        gates = [not (node.mode == "term" and self.leaves[node.leaf].closes) for node in self.require]
        return np.array(gates, dtype=np.bool_), np.array([node.weight > 0.0 for node in self.prefer], dtype=np.bool_)

    @cached_property
    def groups(self) -> tuple[tuple[Node, Role], ...]:
        """Every group with its role, outer ones first."""
        roles: tuple[tuple[Role, tuple[Node, ...]], ...] = (("require", self.require), ("prefer", self.prefer))
        return tuple((node, role) for role, nodes in roles for top in nodes for node in _groups(top))

    def policy_of(self, leaf: int) -> UnknownPolicy:
        """Return what is done where a leaf is unknown and nothing else decides: its policy, or that of its groups."""
        nodes: Sequence[Node] = (*self.require, *self.prefer)
        policy: UnknownPolicy = "exclude"
        while nodes:
            node = next(one for one in nodes if one.leaves[0] <= leaf < one.leaves[1])
            # The innermost that does not leave it to what is around it.
            policy = node.unknown if node.unknown != "exclude" else policy
            nodes = node.children
        return policy


def _groups(node: Node) -> list[Node]:
    inner = [group for child in node.children for group in _groups(child)]
    return [node, *inner] if node.children else inner


def tree_of(require: Sequence[AnyTerm], prefer: Sequence[AnyTerm], closed: Sequence[Season]) -> RuleTree:
    """Return the terms of a rule taken apart; requirements first, then closed seasons, then preferences."""
    leaves: list[Leaf] = []

    def node(term: AnyTerm, path: str, role: Role) -> Node:
        first, place = len(leaves), -1
        children: tuple[Node, ...] = ()
        mode: Mode = "term"
        if isinstance(term, AllOf | AnyOf):
            mode = "all" if isinstance(term, AllOf) else "any"
            children = tuple(node(one, f"{path}.{mode}.{k}", role) for k, one in enumerate(term.members))
        else:
            place = first
            leaves.append(Leaf(path, term, role))
        weight, floor = (term.weight, term.floor) if isinstance(term, Weighed) else (1.0, 0.0)
        inside = (first, len(leaves))
        return Node(path, mode, place, children, inside, term.unknown, term.penalty, weight, floor)

    gates = [node(term, f"require.{k}", "require") for k, term in enumerate(require)]
    for k, season in enumerate(closed):
        path, first = f"closed_seasons.{k}", len(leaves)
        leaves.append(Leaf(path, ClosedSeason(season), "require"))
        gates.append(Node(path, "term", first, (), (first, first + 1), "exclude", 0.0, 1.0, 0.0))
    weighed = [node(term, f"prefer.{k}", "prefer") for k, term in enumerate(prefer)]
    return RuleTree(tuple(gates), tuple(weighed), tuple(leaves))
