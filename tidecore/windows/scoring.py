"""How well a rule holds at instants: score = min(require) x exp(sum of w ln max(floor, p) / sum of w)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tidecore.rules import Preference, Requirement, SpeciesRule
from tidecore.timeline import Timeline, find_factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: What a score may lack of its threshold by rounding alone.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """A rule at ``n`` instants, term by term; the terms are those of ``rule.terms``, requirements first.

    Parameters
    ----------
    rule : SpeciesRule
        The rule.
    score : float64 array, shape ``(n,)``
        0 to 1; 0 where an unknown factor excludes the instant, or where no term at all could be judged.
    memberships : float64 array, shape ``(terms, n)``
        How well each factor suits, 0 to 1; NaN where it is unknown.
    losses : float64 array, shape ``(terms, n)``
        What each term takes from the score, as the fall of its logarithm: they add up to -ln(score) where the score
        is not 0 and nothing is excluded. The gate's loss is that of the requirement which suits worst, of the first
        where several do.
    excluded : bool array, shape ``(n,)``
        Where an unknown factor excludes the instant.
    """

    rule: SpeciesRule
    score: FloatArray
    memberships: FloatArray
    losses: FloatArray
    excluded: BoolArray

    @property
    def unknown(self) -> BoolArray:
        """Where each factor is unknown, shape ``(terms, n)``."""
        return np.isnan(self.memberships)

    @property
    def holds(self) -> BoolArray:
        """Where the score reaches the rule's threshold, shape ``(n,)``; 1e-9 less is rounding, and reaches it."""
        return self.score >= self.rule.threshold - ROUNDING


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
    memberships = np.stack([_membership(term, columns, flow_reliable) for term in rule.terms])
    unknown = np.isnan(memberships)
    policies = np.array([term.unknown for term in rule.terms])[:, None]
    excluded = np.any(unknown & (policies == "exclude"), axis=0)
    dropped = unknown & (policies != "penalise")
    penalties = np.array([term.penalty for term in rule.terms])[:, None]
    counted = np.where(unknown, np.where(dropped, 1.0, penalties), memberships)
    gates, count = counted[: len(rule.require)], len(rule.require)
    losses = np.zeros(counted.shape)
    with np.errstate(divide="ignore"):
        if count:
            worst = np.argmin(gates, axis=0)[None, :]
            gate = np.take_along_axis(gates, worst, axis=0)
            np.put_along_axis(losses[:count], worst, 0.0 - np.log(gate), axis=0)
        if rule.prefer:
            losses[count:] = _preference_losses(rule.prefer, counted[count:], dropped[count:])
    nothing = excluded | dropped.all(axis=0)
    score = np.where(nothing, 0.0, np.exp(-losses.sum(axis=0)))
    return Scores(rule, score, memberships, losses, excluded)


def _membership(term: Requirement, columns: Mapping[str, AnyArray], flow_reliable: bool) -> FloatArray:
    """Return how well the term's factor suits, NaN where it is unknown."""
    factor, values = find_factor(term.factor), columns[term.factor]
    if factor.of_the_stream and not flow_reliable and not isinstance(term, Preference):
        return np.full(values.shape, np.nan)
    return term.shape.membership(values, factor)


def _preference_losses(terms: tuple[Preference, ...], counted: FloatArray, dropped: BoolArray) -> FloatArray:
    """Return the part of each preference in the fall of the logarithm; what is dropped has no weight."""
    weights = np.where(dropped, 0.0, np.array([term.weight for term in terms])[:, None])
    floors = np.array([term.floor for term in terms])[:, None]
    total = weights.sum(axis=0)
    shares = weights / np.where(total > 0.0, total, 1.0)
    losses: FloatArray = 0.0 - shares * np.log(np.maximum(floors, counted))
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
