"""The search: the windows of one rule at one mark, and why there are no more of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.filters import Filter
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, find_factor
from tidecore.windows.account import account, role_of, unknown_terms
from tidecore.windows.filtering import say_filter
from tidecore.windows.scoring import ROUNDING, Scores, score_rule
from tidecore.windows.spans import find_spans
from tidecore.windows.window import Role, UnknownTerm, Window


@dataclass(frozen=True, slots=True)
class TermReport:
    """How one term of a rule fared over a span, on the axis of the timeline.

    ``known_share`` of the time its factor was known; ``met_share`` of the time it suited by at least the rule's
    threshold; ``best_membership`` is the best it ever was, None if it never was known.
    """

    factor: str
    role: Role
    known_share: float
    met_share: float
    best_membership: float | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a rule does or does not hold over a span, on the axis of the timeline.

    Parameters
    ----------
    best_score : float
        Highest score.
    best_time : datetime64[us] or None
        First instant that has it; None if every score is 0.
    holding_share : float
        Share of the time in which the score reaches the threshold.
    excluded_share : float
        Share of the time that an unknown factor excludes.
    excluded_by : tuple of str
        The factors that exclude it, unknown for a part of the time or all of it.
    terms : tuple of TermReport
        Term by term, requirements first.
    unknowns : tuple of UnknownTerm
        Terms whose factor is unknown for a part of the span.
    sentences : tuple of str
        The same for a reader.
    """

    best_score: float
    best_time: np.datetime64 | None
    holding_share: float
    excluded_share: float
    excluded_by: tuple[str, ...]
    terms: tuple[TermReport, ...]
    unknowns: tuple[UnknownTerm, ...]
    sentences: tuple[str, ...]


def find_windows(rule: SpeciesRule, timeline: Timeline, *, within: Filter | None = None) -> list[Window]:
    """Return the windows of a rule over the span of a timeline.

    A window is a longest span in which the score is at least the rule's threshold for at least its minimum duration.

    Parameters
    ----------
    rule : SpeciesRule
        What the species wants.
    timeline : Timeline
        The mark and the span.
    within : Filter, optional
        Windows lie in time in which it is true; a window that it cuts is as long as what is left of it.

    Returns
    -------
    list of Window
        In time order, disjoint, inside the span. One that the span cuts is flagged, and its duration counts as a
        whole; its account is that of the part inside. None where the rule names beds and the mark has only others.

    Notes
    -----
    Edges lie within 0.1 s. What the score does between two samples is found by the breaks and extremes of every
    factor, so a dip of a few seconds splits a window. The windows of a long span are those of its parts.
    """
    if rule.accepts_ground(timeline.mark) is False:
        return []
    spans, samples = find_spans(rule, timeline, within)
    return account(rule, timeline, spans, samples)


def explain(rule: SpeciesRule, timeline: Timeline, *, within: Filter | None = None) -> Explanation:
    """Return why a rule does or does not hold over the span of a timeline.

    Parameters
    ----------
    rule : SpeciesRule
        What the species wants.
    timeline : Timeline
        The mark and the span. Shares and the best score are those of its axis.
    within : Filter, optional
        The filter that windows were held to; the last sentence says how it fared. The rest is of the rule alone.
    """
    scores = score_rule(rule, timeline)
    count = scores.score.size
    if not count:
        return Explanation(0.0, None, 0.0, 0.0, (), (), (), ("The span holds no instant of the timeline.",))
    unknowns = unknown_terms(scores, np.ones(count), timeline)
    terms = tuple(_report(scores, k) for k in range(len(rule.terms)))
    best = int(np.argmax(scores.score))
    best_score, holding = float(scores.score[best]), float(np.mean(scores.holds))
    excluded_by = tuple(dict.fromkeys(u.factor for u in unknowns if u.policy == "exclude"))
    return Explanation(
        best_score=best_score,
        best_time=timeline.times[best] if best_score > 0.0 else None,
        holding_share=holding,
        excluded_share=float(np.mean(scores.excluded)),
        excluded_by=excluded_by,
        terms=terms,
        unknowns=unknowns,
        sentences=(
            *_sentences(rule, timeline, best_score, unknowns, terms),
            *(() if within is None else (say_filter(within, timeline),)),
        ),
    )


def _report(scores: Scores, k: int) -> TermReport:
    """Return how term ``k`` fared."""
    term, membership = scores.rule.terms[k], scores.memberships[k]
    known = membership[~np.isnan(membership)]
    return TermReport(
        term.factor,
        role_of(term),
        known.size / membership.size,
        float(np.sum(known >= scores.rule.threshold)) / membership.size,
        float(known.max()) if known.size else None,
    )


def _sentences(
    rule: SpeciesRule,
    timeline: Timeline,
    best_score: float,
    unknowns: tuple[UnknownTerm, ...],
    terms: tuple[TermReport, ...],
) -> list[str]:
    """Return the explanation in words."""
    done = {"exclude": "excluded", "ignore": "ignored", "penalise": "penalised"}
    said = [
        f"{unknown.factor} ({unknown.role}) is unknown for {unknown.share:.0%} of the span and {done[unknown.policy]}: "
        f"{unknown.reason}."
        for unknown in unknowns
    ]
    suits = rule.accepts_ground(timeline.mark)
    if suits is None:
        said.append(f"No bed is stated for this mark; the rule wants {_listed(rule.beds)}.")
    elif not suits:
        said.append(f"The ground here is {_listed(timeline.mark.beds)}; the rule wants {_listed(rule.beds)}.")
    if not timeline.flow_reliable and any(find.of_the_stream for find in map(find_factor, rule.factor_names)):
        said.append("The stream at this mark is a proxy: it is not known when it turns.")
    for term in terms:
        if (
            term.role == "require"
            and term.best_membership is not None
            and term.best_membership < rule.threshold - ROUNDING
        ):
            said.append(
                f"{term.factor} never suits: at best {term.best_membership:.2f} of {rule.threshold:.2f} needed."
            )
    if best_score < rule.threshold - ROUNDING:
        said.append(f"The best score of the span is {best_score:.3f}; a window needs {rule.threshold:.3f}.")
    return said


def _listed(beds: tuple[str, ...]) -> str:
    """Return beds in words."""
    return " or ".join(bed.replace("_", " ") for bed in beds)
