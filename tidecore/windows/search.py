"""The search: the windows of one rule at one mark, and why there are no more of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.filters import Filter
from tidecore.rules import SpeciesRule, rule_at, suitability
from tidecore.rules.tree import ClosedSeason, Role
from tidecore.safety import Care
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline, find_factor
from tidecore.windows.account import account
from tidecore.windows.filtering import held_to, say_filter, true_spans
from tidecore.windows.rounds import Search, side_by_side
from tidecore.windows.scoring import ROUNDING, Scores, score_rule
from tidecore.windows.spans import Judgement, find_spans
from tidecore.windows.tracks import Tracks, tracks_of
from tidecore.windows.unknowns import unknown_terms
from tidecore.windows.window import UnknownTerm, Window


@dataclass(frozen=True, slots=True)
class TermReport:
    """How one term of a rule fared over a span, on the axis of the timeline.

    ``known_share`` of the time its factor was known; ``met_share`` of the time it suited by at least the rule's
    threshold; ``best_membership`` is the best it ever was, None if it never was known. ``path`` is where it stands in
    the rule.
    """

    factor: str
    role: Role
    known_share: float
    met_share: float
    best_membership: float | None
    path: str


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


def find_windows(
    rule: SpeciesRule, timeline: Timeline, *, within: Filter | None = None, care: Care | None = None
) -> list[Window]:
    """Return the windows of a rule over the span of a timeline.

    A window is a longest span in which the score is at least the rule's threshold for at least its minimum duration.

    Parameters
    ----------
    rule : SpeciesRule
        What the species wants; an override of the mark for the species is heeded, see `tidecore.rules.rule_at`.
    timeline : Timeline
        The mark and the span.
    within : Filter, optional
        Windows lie in time in which it is true; a window that it cuts is as long as what is left of it.
    care : Care, optional
        How hazards are minded: danger cuts windows as a filter does. They are not looked at unless given.

    Returns
    -------
    list of Window
        In time order, disjoint, inside the span. One that the span cuts is flagged, and its duration counts as a
        whole; its account is that of the part inside. None where the rule names beds, the mark has only others, and
        does not declare the species.

    Raises
    ------
    InvalidRule
        If the mark's override for the species makes no rule.

    Notes
    -----
    Edges lie within 0.1 s. What the score does between two samples is found by the breaks and extremes of every
    factor, so a dip of a few seconds splits a window. The windows of a long span are those of its parts.
    """
    return find_all_windows([rule], timeline, within=within, care=care)[0]


def find_all_windows(
    rules: Sequence[SpeciesRule], timeline: Timeline, *, within: Filter | None = None, care: Care | None = None
) -> list[list[Window]]:
    """Return the windows of several rules over the span of a timeline, each as `find_windows` has them.

    Many rules at once cost less each than one: they share the samples of the factors they have in common, and where a
    filter is true.
    """
    here = [rule_at(rule, timeline.mark) for rule in rules]
    wanted = [k for k, rule in enumerate(here) if suitability(rule, timeline.mark) != "other_bed"]
    tracks = tracks_of(timeline)
    tracks.prepare(timeline, tuple(dict.fromkeys(name for k in wanted for name in here[k].factor_names)))
    held = held_by(within, timeline, [here[k] for k in wanted])
    clear = None if care is None or not wanted else care.kept_clear(timeline)
    if clear is not None:
        held = clear if held is None else held_to(held, clear)
    found = side_by_side(timeline, [_searched(here[k], timeline, tracks, held) for k in wanted])
    windows: list[list[Window]] = [[] for _ in rules]
    for k, one in zip(wanted, found, strict=True):
        windows[k] = one
    return windows


def held_by(within: Filter | None, timeline: Timeline, rules: Sequence[SpeciesRule]) -> list[tuple[int, int]] | None:
    """Return where a filter is true as far as windows of the rules may reach; None without one."""
    if within is None or not rules:
        return None
    lead = round(max(rule.minimum_duration_min for rule in rules) * US_PER_MINUTE)
    return true_spans(within, timeline, timeline.span.start_us - lead, timeline.span.end_us + lead)


def _searched(
    rule: SpeciesRule, timeline: Timeline, tracks: Tracks, held: Sequence[tuple[int, int]] | None
) -> Search[list[Window]]:
    """Search for the windows of one rule."""
    judged = Judgement(rule, timeline, tracks)
    spans, samples = yield from find_spans(judged, timeline, tracks, held)
    return (yield from account(judged, timeline, spans, samples))


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
    rule = rule_at(rule, timeline.mark)
    scores = score_rule(rule, timeline)
    count = scores.score.size
    if not count:
        return Explanation(0.0, None, 0.0, 0.0, (), (), (), ("The span holds no instant of the timeline.",))
    unknowns = unknown_terms(scores, timeline, np.array([0, count]), np.ones(count))[0]
    terms = tuple(_report(scores, k) for k in range(len(rule.tree.leaves)))
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
    leaf, membership = scores.rule.tree.leaves[k], scores.memberships[k]
    known = membership[~np.isnan(membership)]
    return TermReport(
        leaf.factor,
        leaf.role,
        known.size / membership.size,
        float(np.sum(known >= scores.rule.threshold)) / membership.size,
        float(known.max()) if known.size else None,
        leaf.path,
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
    suits = suitability(rule, timeline.mark)
    if suits == "unknown" and rule.beds:
        wanted = _listed(rule.beds)
        said.append(f"Suitability unknown: no bed is stated for this mark, nor the species; the rule wants {wanted}.")
    elif suits == "other_bed":
        said.append(f"The ground here is {_listed(timeline.mark.all_beds)}; the rule wants {_listed(rule.beds)}.")
    if not timeline.flow_reliable and any(find.of_the_stream for find in map(find_factor, rule.factor_names)):
        said.append("The stream at this mark is a proxy: it is not known when it turns.")
    gates = {node.leaf for node in rule.tree.require if node.mode == "term"}
    for k in gates:
        said += _shortcoming(rule, terms[k], k)
    if best_score < rule.threshold - ROUNDING:
        said.append(f"The best score of the span is {best_score:.3f}; a window needs {rule.threshold:.3f}.")
    return said


def _shortcoming(rule: SpeciesRule, report: TermReport, k: int) -> list[str]:
    """Return what a requirement that is no group, or a closed season, keeps from holding, in words."""
    term, best = rule.tree.leaves[k].term, report.best_membership
    if isinstance(term, ClosedSeason):
        if report.met_share == 1.0:
            return []
        closed = f"{1.0 - report.met_share:.0%} of the span lie in it"
        return [f"Closed season {term.season} by {term.season.source}: {closed}, and nothing holds there."]
    if best is None or best >= rule.threshold - ROUNDING:
        return []
    return [f"{report.factor} never suits: at best {best:.2f} of {rule.threshold:.2f} needed."]


def _listed(beds: tuple[str, ...]) -> str:
    """Return beds in words."""
    return " or ".join(bed.replace("_", " ") for bed in beds)
