"""How well a rule holds at instants: score = min(require) x exp(sum of w ln max(floor, p) / sum of w)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.rules import Leaf, Node, RuleTree, SpeciesRule
from tidecore.timeline import Timeline
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: What a score may lack of its threshold by rounding alone.
ROUNDING = 1e-9


#: How well leaves suit, by their places.
_Memberships = Sequence[FloatArray] | Mapping[int, FloatArray] | FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """A rule at ``n`` instants, term by term; the terms are the leaves of ``rule.tree``, requirements first.

    Parameters
    ----------
    rule : SpeciesRule
        The rule.
    score : float64 array, shape ``(n,)``
        0 to 1; 0 where an unknown factor excludes the instant, or where no term at all could be judged.
    memberships : float64 array, shape ``(leaves, n)``
        How well each factor suits, 0 to 1; NaN where it is unknown.
    losses : float64 array, shape ``(leaves, n)``
        What each term takes from the score, as the fall of its logarithm: they add up to -ln(score) where the score
        is not 0 and nothing is excluded. The gate's loss is that of the requirement which suits worst, of the first
        where several do; a group's is that of the member which decides it.
    excluded : bool array, shape ``(n,)``
        Where an unknown factor excludes the instant.
    group_memberships : float64 array, shape ``(groups, n)``
        How well each of ``rule.tree.groups`` suits; NaN where it is unknown.
    """

    rule: SpeciesRule
    score: FloatArray
    memberships: FloatArray
    losses: FloatArray
    excluded: BoolArray
    group_memberships: FloatArray

    @property
    def unknown(self) -> BoolArray:
        """Where each factor is unknown, shape ``(leaves, n)``."""
        return np.isnan(self.memberships)

    @property
    def holds(self) -> BoolArray:
        """Where the score reaches the rule's threshold, shape ``(n,)``; 1e-9 less is rounding, and reaches it."""
        return self.score >= self.rule.threshold - ROUNDING


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """A node at ``n`` instants: its value, NaN where unknown; which leaf decides it; where it is left out.

    ``leaf`` is one number where the same leaf decides everywhere, ``dropped`` is None where it never is left out.
    """

    value: FloatArray
    leaf: IntArray | int
    dropped: BoolArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Counted:
    """Nodes of one role at ``n`` instants, what is unknown settled as the rule says; shape ``(nodes, n)``."""

    values: FloatArray
    dropped: BoolArray
    leaves: list[IntArray | int]
    excluded: BoolArray | None
    unknown: bool


def score_columns(rule: SpeciesRule, columns: Mapping[str, AnyArray], *, flow_reliable: bool) -> Scores:
    """Return the scores of a rule over columns.

    Parameters
    ----------
    rule : SpeciesRule
        The rule.
    columns : mapping of name to array, shape ``(n,)``
        At least the factors the rule names.
    flow_reliable : bool
        Whether it is known when the stream turns at the mark. If not, a required factor of the stream is unknown;
        a preferred one is taken as the proxy it is.
    """
    leaves = rule.tree.leaves
    return score_memberships(rule, [membership_of(leaf, columns[leaf.factor], flow_reliable) for leaf in leaves])


def membership_of(leaf: Leaf, values: AnyArray, flow_reliable: bool) -> FloatArray:
    """Return how well values suit one term, NaN where they are unknown."""
    if leaf.needs_lags and not flow_reliable:
        return np.full(values.shape, np.nan)
    return leaf.term.membership(values)


def score_memberships(rule: SpeciesRule, memberships: Sequence[FloatArray] | FloatArray) -> Scores:
    """Return the scores of a rule whose leaves suit so well."""
    tree, found = rule.tree, np.array(memberships)
    groups: dict[str, FloatArray] = {}
    gates = _counted(tree.require, memberships, groups)
    weighed = _counted(tree.prefer, memberships, groups)
    losses = np.zeros(found.shape)
    count, rows = found.shape[1], np.arange(found.shape[1])
    with np.errstate(divide="ignore"):
        if gates is not None:
            worst = np.argmin(gates.values, axis=0)
            leaf = np.stack([np.broadcast_to(one, (count,)) for one in gates.leaves])[worst, rows]
            losses[leaf, rows] = 0.0 - np.log(gates.values[worst, rows])
        if weighed is not None:
            each = _preference_losses(tree, weighed)
            for k, leaf in enumerate(weighed.leaves):
                losses[leaf, rows if isinstance(leaf, np.ndarray) else slice(None)] = each[k]
    score, excluded = _score(rule, gates, weighed, losses.sum(axis=0))
    shown = np.array([groups[node.path] for node, _ in tree.groups]) if tree.groups else np.empty((0, count))
    return Scores(rule, score, found, losses, excluded, shown)


def score_only(rule: SpeciesRule, memberships: Sequence[FloatArray] | FloatArray) -> FloatArray:
    """Return the score of a rule whose leaves suit so well, without saying what took what."""
    gates, weighed = (_counted(nodes, memberships, {}) for nodes in (rule.tree.require, rule.tree.prefer))
    total = np.zeros(memberships[0].shape)
    with np.errstate(divide="ignore"):
        if gates is not None:
            total = 0.0 - np.log(gates.values.min(axis=0))
        if weighed is not None:
            total = total + _preference_losses(rule.tree, weighed).sum(axis=0)
    return _score(rule, gates, weighed, total)[0]


@dataclass(frozen=True, slots=True, eq=False)
class Preferred:
    """The preferences of a tree at ``n`` instants, what is unknown settled as they say.

    Parameters
    ----------
    suits : float64 array, shape ``(preferences, n)``
        How well each suits, NaN where it is unknown.
    values : float64 array, shape ``(preferences, n)``
        The same with penalties where it is unknown and penalised, and 1 where it is left out or excludes.
    counts : bool array, shape ``(preferences, n)``
        Where it is known, or penalised.
    excluded : bool array, shape ``(n,)``
        Where one that is unknown excludes the instant.
    """

    suits: FloatArray
    values: FloatArray
    counts: BoolArray
    excluded: BoolArray


def preferred(tree: RuleTree, memberships: Sequence[FloatArray] | FloatArray) -> Preferred:
    """Return how well the preferences of a tree suit where its leaves suit so well; it must have some."""
    suits = np.array([_judge(node, memberships, {}).value for node in tree.prefer])
    counted = _counted(tree.prefer, memberships, {})
    assert counted is not None
    penalised = np.array([node.unknown == "penalise" for node in tree.prefer])[:, None]
    counts = ~counted.dropped & (~np.isnan(suits) | penalised)
    nowhere = np.zeros(suits.shape[1], dtype=np.bool_)
    return Preferred(suits, counted.values, counts, nowhere if counted.excluded is None else counted.excluded)


def _score(
    rule: SpeciesRule, gates: _Counted | None, weighed: _Counted | None, loss: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return the score for a fall of its logarithm, and where an unknown factor excludes the instant."""
    excluded, judged = np.zeros(loss.shape, dtype=np.bool_), np.zeros(loss.shape, dtype=np.bool_)
    for part, judging in zip((gates, weighed), rule.tree.judging, strict=True):
        if part is not None and judging.any():
            judged = judged | (~part.dropped[judging].all(axis=0) if part.unknown else True)
        if part is not None and part.excluded is not None:
            excluded = excluded | part.excluded
    return np.where(excluded | ~judged, 0.0, np.exp(-loss)), excluded


def _counted(
    nodes: Sequence[Node], memberships: Sequence[FloatArray] | FloatArray, groups: dict[str, FloatArray]
) -> _Counted | None:
    """Return the nodes of a role with what is unknown settled; None where there are none."""
    if not nodes:
        return None
    judged = [_judge(node, memberships, groups) for node in nodes]
    values = np.array([one.value for one in judged])
    unknown = np.isnan(values)
    excluded = None
    if not unknown.any():
        return _Counted(values, unknown, [one.leaf for one in judged], None, False)
    dropped = np.zeros(values.shape, dtype=np.bool_)
    for k, node in enumerate(nodes):
        settled = judged[k].dropped
        if node.unknown == "ignore" or node.weight == 0.0:
            dropped[k] = unknown[k]
        elif settled is not None:
            dropped[k] = settled
        if node.unknown == "exclude" and node.weight > 0.0:
            open_ = unknown[k] & ~dropped[k]
            excluded = open_ if excluded is None else excluded | open_
    penalties = np.array([node.penalty if node.unknown == "penalise" else 1.0 for node in nodes])[:, None]
    values = np.where(unknown, np.where(dropped, 1.0, penalties), values)
    return _Counted(values, dropped, [one.leaf for one in judged], excluded, True)


def suits_of(node: Node, memberships: Mapping[int, FloatArray]) -> FloatArray:
    """Return how well a term or a group suits, NaN where that is unknown; by the memberships of its own leaves."""
    if node.mode == "term":
        return memberships[node.leaf]
    values = np.array([suits_of(child, memberships) for child in node.children])
    if np.isnan(values).any():
        return _judge(node, memberships, {}).value
    return np.asarray(values.min(axis=0) if node.mode == "all" else values.max(axis=0))


def _judge(node: Node, memberships: _Memberships, groups: dict[str, FloatArray]) -> _Judged:
    """Return how well a node suits.

    Of what is known in a group the worst (``all``) or the best (``any``) member decides. A member that is not known
    leaves the group unknown, unless another decides it whatever the unknown one may be: one that is 0, or 1.
    """
    if node.mode == "term":
        return _Judged(memberships[node.leaf], node.leaf)
    inner = [_judge(child, memberships, groups) for child in node.children]
    values = np.array([one.value for one in inner])
    unknown = np.isnan(values)
    dropped = np.zeros(values.shape, dtype=np.bool_)
    penalised = np.zeros((len(inner), 1), dtype=np.bool_)
    for k, child in enumerate(node.children):
        settled = inner[k].dropped
        dropped[k] = unknown[k] if child.unknown == "ignore" else False if settled is None else settled
        penalised[k] = child.unknown == "penalise"
    penalties = np.array([child.penalty for child in node.children])[:, None]
    values = np.where(unknown & penalised & ~dropped, penalties, values)
    open_ = np.isnan(values) & ~dropped
    worst = node.mode == "all"
    filled = np.where(np.isnan(values), np.inf if worst else -np.inf, values)
    which = np.argmin(filled, axis=0) if worst else np.argmax(filled, axis=0)
    rows = np.arange(values.shape[1])
    best = filled[which, rows]
    decided = best <= 0.0 if worst else best >= 1.0
    left_out: BoolArray = np.asarray(dropped.all(axis=0))
    value = np.where((open_.any(axis=0) & ~decided) | left_out, np.nan, best)
    # Where the group is unknown, the first member that is so answers for it.
    which = np.where(np.isnan(value), np.argmax(open_ | left_out, axis=0), which)
    leaves = np.stack([np.broadcast_to(one.leaf, rows.shape) for one in inner])[which, rows]
    groups[node.path] = value
    return _Judged(value, leaves, left_out)


def _preference_losses(tree: RuleTree, counted: _Counted) -> FloatArray:
    """Return the part of each preference in the fall of the logarithm; what is dropped has no weight."""
    weights = np.where(counted.dropped, 0.0, tree.weights) if counted.unknown else tree.weights
    total = weights.sum(axis=0)
    shares = weights / np.where(total > 0.0, total, 1.0)
    losses: FloatArray = 0.0 - shares * np.log(np.maximum(tree.floors, counted.values))
    return losses


def score_rule(rule: SpeciesRule, timeline: Timeline) -> Scores:
    """Return the scores of a rule on the axis of a timeline."""
    if set(rule.factor_names) <= set(timeline.names):
        return score_columns(rule, timeline.columns, flow_reliable=timeline.flow_reliable)
    return score_at(rule, timeline, timeline.grid.times_us())


def score_at(rule: SpeciesRule, timeline: Timeline, times_us: IntArray | FloatArray) -> Scores:
    """Return the scores of a rule at any instants [microseconds since 1970] within a day of the timeline's span."""
    columns = timeline.at(times_us, rule.factor_names)
    return score_columns(rule, columns, flow_reliable=timeline.flow_reliable)
