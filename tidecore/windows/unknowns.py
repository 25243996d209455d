"""What was unknown where a rule was judged, what was done about it, and why it was."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress

import numpy as np

from tidecore.rules import Leaf
from tidecore.timeline import Timeline, find_factor
from tidecore.units import FloatArray, IntArray
from tidecore.windows.scoring import Scores
from tidecore.windows.window import Done, UnknownTerm


def unknown_terms(
    scores: Scores, timelines: Sequence[Timeline], bounds: IntArray, weights: FloatArray
) -> list[tuple[UnknownTerm, ...]]:
    """Return, part by part, the terms whose factor is unknown for some of the time, weighed, and why.

    Part ``k`` are the instants from ``bounds[k]`` to before ``bounds[k + 1]``, and of timeline ``k``.
    """
    unknown, parts = scores.unknown, bounds.size - 1
    found: list[list[UnknownTerm]] = [[] for _ in range(parts)]
    rows = np.flatnonzero(unknown.any(axis=1)).tolist()
    if not rows:
        return [()] * parts
    totals = np.add.reduceat(weights, bounds[:-1])
    for row in rows:
        leaf, policy = scores.rule.tree.leaves[row], scores.rule.tree.policy_of(row)
        shares = (np.add.reduceat(weights * unknown[row], bounds[:-1]) / totals).tolist()
        out = np.logical_or.reduceat(unknown[row] & scores.excluded, bounds[:-1]).tolist()
        seen = np.logical_or.reduceat(unknown[row], bounds[:-1]).tolist()
        reasons: dict[int, str] = {}
        for k, timeline in enumerate(timelines):
            if seen[k]:
                reason = reasons.get(id(timeline)) or reasons.setdefault(id(timeline), why_unknown(leaf, timeline))
                done: Done = "decided" if policy == "exclude" and not out[k] else policy
                found[k].append(UnknownTerm(leaf.factor, leaf.role, done, shares[k], reason, leaf.path))
    return [tuple(one) for one in found]


def unknown_factors(scores: Scores, bounds: IntArray) -> list[tuple[str, ...]]:
    """Return, part by part, the factors of the terms that `unknown_terms` tells of."""
    unknown = scores.unknown
    rows = np.flatnonzero(unknown.any(axis=1))
    if not rows.size:
        return [()] * (bounds.size - 1)
    names = [scores.rule.tree.leaves[row].factor for row in rows.tolist()]
    seen = np.logical_or.reduceat(unknown[rows], bounds[:-1], axis=1)
    return [tuple(dict.fromkeys(compress(names, here))) for here in seen.T.tolist()]


def why_unknown(leaf: Leaf, timeline: Timeline) -> str:
    """Return why a factor is unknown."""
    factor = find_factor(leaf.factor)
    if factor.why_unknown is not None:
        return factor.why_unknown(timeline.sources)
    if factor.compute is None:
        return factor.provenance
    if factor.of_the_stream and not timeline.flow_reliable and leaf.role == "require":
        return "the mark has no slack lags, so it is not known when the stream turns"
    if factor.group == "tide":
        return "no tide: a range under 5 cm, or no high or low water within two days"
    return "no such event within a day"
