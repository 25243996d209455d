"""The search: the windows of one rule at one mark, and why there are no more of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.filters import Filter
from tidecore.rules import SpeciesRule, rule_at, suitability
from tidecore.rules.tree import ClosedSeason, Role
from tidecore.safety import Care
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline, factor_words, find_factor
from tidecore.windows.account import account
from tidecore.windows.axis import Axis, axes
from tidecore.windows.filtering import held_to, say_filter, true_spans
from tidecore.windows.groups import Group, search_groups
from tidecore.windows.rounds import Search, side_by_side
from tidecore.windows.scoring import ROUNDING, Scores, score_rule
from tidecore.windows.spans import find_spans
from tidecore.windows.unknowns import unknown_terms
from tidecore.windows.window import Done, UnknownTerm, Window

_ROLES: dict[Role, str] = {"require": "required", "prefer": "preferred"}


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
    return find_windows_at_marks(rules, [timeline], within=within, care=care)[0]


def find_windows_at_marks(
    rules: Sequence[SpeciesRule],
    timelines: Sequence[Timeline],
    *,
    within: Filter | None = None,
    care: Care | None = None,
) -> list[list[list[Window]]]:
    """Return the windows of several rules over each of several timelines, timeline by timeline as `find_all_windows`.

    Many marks at once cost less each than one: timelines of one span and one step are searched in one go.
    """
    windows: list[list[list[Window]]] = [[[] for _ in rules] for _ in timelines]
    for marks, axis in axes(timelines):
        groups = search_groups(rules, axis)
        held = [_held(groups, axis, place, within, care) for place in axis.everywhere]
        kept = {place: one for place, one in enumerate(held) if one is not None}
        found = side_by_side(axis.at, [_searched(group, axis, kept) for group in groups])
        for group, some in zip(groups, found, strict=True):
            for place, window in some:
                windows[marks[place]][group.rule].append(window)
    return windows


def _held(
    groups: Sequence[Group],
    axis: Axis,
    place: int,
    within: Filter | None,
    care: Care | None,
) -> list[tuple[int, int]] | None:
    """Return where windows may lie at a mark, None if anywhere."""
    here = [group.judged.rule for group in groups if place in group.places]
    timeline = axis.timelines[place]
    held = held_by(within, timeline, here)
    clear = None if care is None or not here else care.kept_clear(timeline)
    if clear is None:
        return held
    return clear if held is None else held_to(held, clear)


def held_by(within: Filter | None, timeline: Timeline, rules: Sequence[SpeciesRule]) -> list[tuple[int, int]] | None:
    """Return where a filter is true as far as windows of the rules may reach; None without one."""
    if within is None or not rules:
        return None
    lead = round(max(rule.minimum_duration_min for rule in rules) * US_PER_MINUTE)
    return true_spans(within, timeline, timeline.span.start_us - lead, timeline.span.end_us + lead)


def _searched(
    group: Group, axis: Axis, kept: Mapping[int, Sequence[tuple[int, int]]]
) -> Search[list[tuple[int, Window]]]:
    """Search for the windows of one rule at marks that are alike to it, each with the place of its mark."""
    spans, samples = yield from find_spans(group.judged, axis, group.places, kept)
    windows = yield from account(group.judged, axis, spans, samples)
    return [(span.place, window) for span, window in zip(spans, windows, strict=True)]


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
    unknowns = unknown_terms(scores, [timeline], np.array([0, count]), np.ones(count))[0]
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
    done: dict[Done, str] = {
        "exclude": "excluded",
        "ignore": "ignored",
        "penalise": "penalised",
        "decided": "settled by others of its group",
    }
    said = [
        f"The {factor_words(unknown.factor)} ({_ROLES[unknown.role]}) is unknown for {unknown.share:.0%} of the span "
        f"and {done[unknown.policy]}: {unknown.reason}."
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
    return [f"The {factor_words(report.factor)} never suits: at best {best:.2f} of {rule.threshold:.2f} needed."]


def _listed(beds: tuple[str, ...]) -> str:
    """Return beds in words."""
    return " or ".join(bed.replace("_", " ") for bed in beds)
