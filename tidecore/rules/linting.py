"""What a rule can hardly mean: requirements that exclude each other, terms that never bite, seasons without an end."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from tidecore.place import Mark
from tidecore.rules.overrides import rule_at, suitability
from tidecore.rules.remarks import WHOLE, Remark, possible_values
from tidecore.rules.rule import SpeciesRule
from tidecore.rules.seasons import YEAR_DAYS
from tidecore.rules.terms import EventWindow
from tidecore.rules.tree import Leaf, Node
from tidecore.timeline import Timeline, find_factor
from tidecore.units import FloatArray

_ROUNDING = 1e-9
#: The nearest high or low water of a tide with two a day is never much further away [min].
_HALF_TIDE_MIN = 390.0
#: A season is said to leave a mark untouched only over spans of at least so many days.
_LONG_DAYS = 300.0
#: Last day of each month, as the calendar counts the days of the year.
_MONTH_ENDS = np.cumsum([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def lint(rule: SpeciesRule, mark: Mark | None = None, timeline: Timeline | None = None) -> tuple[Remark, ...]:
    """Return what the author of a rule can hardly mean.

    Parameters
    ----------
    rule : SpeciesRule
        The rule.
    mark : Mark, optional
        A mark, whose ground, override and slack lags are looked at; that of the timeline unless given.
    timeline : Timeline, optional
        A mark over a span, on whose axis every term is judged.

    Returns
    -------
    tuple of Remark
        In the order of the rule, those of the rule as a whole last. None says that nothing was found, not that the rule
        is a good one.

    Raises
    ------
    InvalidRule
        If the mark's override for the species makes no rule.
    """
    mark = timeline.mark if mark is None and timeline is not None else mark
    rule = rule if mark is None else rule_at(rule, mark)
    found = [*_terms(rule), *_groups(rule), *_exclusions(rule)]
    found += [*_days(rule, {one.path for one in found if one.kind in ("contradiction", "never_met")}), *_reach(rule)]
    if mark is not None:
        found += _at_mark(rule, mark)
    if timeline is not None:
        found += _along(rule, timeline)
    places = {leaf.path: k for k, leaf in enumerate(rule.tree.leaves)}
    last = len(places)
    return tuple(sorted(dict.fromkeys(found), key=lambda one: places.get(one.path, last)))


def _best(leaf: Leaf, threshold: float) -> tuple[float, float]:
    """Return the least and the greatest membership that a term can have."""
    suits = leaf.term.membership(possible_values([leaf], threshold))
    return float(suits.min()), float(suits.max())


def _terms(rule: SpeciesRule) -> Iterator[Remark]:
    """Look at each term alone."""
    seen: dict[object, str] = {}
    for leaf in rule.tree.leaves:
        low, high = _best(leaf, rule.threshold)
        if leaf.closes:
            continue
        if high < _ROUNDING:
            problem = f"no value of {leaf.factor} meets it"
            yield Remark(leaf.path, "never_met", problem, "a shape that some value of the factor meets")
        elif low >= 1.0:
            problem = f"every value of {leaf.factor} meets it fully"
            yield Remark(leaf.path, "no_effect", problem, "leave it out, or narrow it")
        term = leaf.term
        if isinstance(term, EventWindow) and find_factor(leaf.factor).group == "tide":
            far = [minutes for minutes in (term.from_min, term.to_min) if abs(minutes) > _HALF_TIDE_MIN]
            if far:
                problem = f"reaches {far[0]:g} min from {term.event}, where another one is nearer on most tides"
                yield Remark(leaf.path, "no_effect", problem, "minutes from the event that is nearest")
        said = (leaf.role, type(term), repr(term))
        if said in seen:
            problem = f"says the same as {seen[said]}"
            yield Remark(leaf.path, "no_effect", problem, "say it once")
        seen.setdefault(said, leaf.path)


def _groups(rule: SpeciesRule) -> Iterator[Remark]:
    """Look at groups and weights."""
    for node, _ in rule.tree.groups:
        if len(node.children) == 1:
            yield Remark(node.path, "no_effect", "is a group of one", "its member alone")
    for node in rule.tree.prefer:
        if node.weight == 0.0 and node.unknown != "ignore":
            problem = f"has no weight, so that {node.unknown!r} for what is unknown does nothing"
            yield Remark(node.path, "no_effect", problem, "a weight above 0, or 'ignore'")


def _required(rule: SpeciesRule) -> list[Leaf]:
    """Return the terms that must all be met: requirements, and members of required ``all`` groups."""
    found: list[Leaf] = []

    def walk(node: Node) -> None:
        if node.mode == "term":
            found.append(rule.tree.leaves[node.leaf])
        elif node.mode == "all":
            for child in node.children:
                walk(child)

    for node in rule.tree.require:
        walk(node)
    return found


def _exclusions(rule: SpeciesRule) -> Iterator[Remark]:
    """Find requirements of one factor that no value of it meets together."""
    least = rule.threshold - _ROUNDING
    for one, other in combinations([leaf for leaf in _required(rule) if not leaf.closes], 2):
        if one.factor == other.factor:
            values = possible_values([one, other], rule.threshold)
            suits = [leaf.term.membership(values) for leaf in (one, other)]
            if min(float(suit.max()) for suit in suits) >= least and np.minimum(*suits).max() < least:
                problem = f"excludes {one.path}: no {one.factor} meets both by {rule.threshold:g}"
                yield Remark(other.path, "contradiction", problem, "shapes that overlap, or a group 'any' of both")


def _days(rule: SpeciesRule, said: set[str]) -> Iterator[Remark]:
    """Find rules that no day of the year is left to, unless that follows from what was ``said`` of a term already."""
    seasonal = [leaf for leaf in _required(rule) if leaf.factor in WHOLE]
    if not seasonal or any(leaf.path in said for leaf in seasonal):
        return
    days = np.arange(1.0, YEAR_DAYS + 1.0)
    months = np.searchsorted(_MONTH_ENDS, days) + 1.0
    suits = [leaf.term.membership(months if leaf.factor == "month" else days) for leaf in seasonal]
    if np.min(suits, axis=0).max() < rule.threshold - _ROUNDING:
        paths = ", ".join(leaf.path for leaf in seasonal)
        closed = all(leaf.closes for leaf in seasonal)
        problem = "closed all year" if closed else f"no day of the year is left by {paths}"
        yield Remark(seasonal[-1].path, "contradiction", problem, "seasons that leave some days")


def _reach(rule: SpeciesRule) -> Iterator[Remark]:
    """Compare the threshold with the least and greatest score that floors, weights and shapes allow."""
    least = rule.threshold - _ROUNDING
    gates = [_highest(rule, node) for node in rule.tree.require]
    weighed = [(node, max(node.floor, _highest(rule, node))) for node in rule.tree.prefer if node.weight > 0.0]
    total = sum(node.weight for node, _ in weighed)
    mean = np.exp(sum(node.weight * np.log(best) for node, best in weighed) / total) if total else 1.0
    best = min([1.0, *gates]) * mean
    if best < least and min([1.0, *gates]) > 0.0:
        problem = f"is {rule.threshold:g}, and the score is {best:.2f} at best"
        yield Remark("threshold", "contradiction", problem, "a lower threshold, or shapes that can be met fully")
    if total:
        worst = float(np.exp(sum(node.weight * np.log(node.floor) for node, _ in weighed) / total))
        if worst >= least:
            problem = f"is {rule.threshold:g}, and preferences alone never take the score below {worst:.2f}"
            yield Remark("threshold", "no_effect", problem, "lower floors, or a higher threshold")


def _highest(rule: SpeciesRule, node: Node) -> float:
    """Return the greatest membership that a node can have."""
    if node.mode == "term":
        return _best(rule.tree.leaves[node.leaf], rule.threshold)[1]
    inner = [_highest(rule, child) for child in node.children]
    return min(inner) if node.mode == "all" else max(inner)


def _at_mark(rule: SpeciesRule, mark: Mark) -> Iterator[Remark]:
    """Look at a rule as it would stand at a mark."""
    if suitability(rule, mark) == "other_bed":
        problem = f"none of them is at the mark, which has {', '.join(mark.all_beds)} and does not declare the species"
        yield Remark("beds", "ground", problem, "declare the species at the mark, or accept its ground")
    for leaf in rule.tree.leaves:
        if leaf.needs_lags and not mark.flow_reliable:
            problem = f"{leaf.factor} is never known as a requirement: the mark has no slack lags"
            yield Remark(leaf.path, "never_known", problem, "slack lags of the mark, or a preference of it")


def _along(rule: SpeciesRule, timeline: Timeline) -> Iterator[Remark]:
    """Look at every term on the axis of a timeline."""
    columns = timeline.at(timeline.times, rule.factor_names)
    if not timeline.times.size:
        return
    least, suits = rule.threshold - _ROUNDING, {}
    for k, leaf in enumerate(rule.tree.leaves):
        found = leaf.term.membership(columns[leaf.factor])
        if leaf.needs_lags and not timeline.flow_reliable:
            continue
        suits[leaf.path] = found
        known = found[~np.isnan(found)]
        if not known.size:
            yield _never_known(rule, leaf, k)
        elif known.min() >= 1.0 and not leaf.closes:
            if find_factor(leaf.factor).group != "season" or timeline.span.days >= _LONG_DAYS:
                problem = f"{leaf.factor} meets it fully whenever it is known: it never bites here in this span"
                yield Remark(leaf.path, "no_effect", problem, "leave it out here, or narrow it")
        elif leaf.role == "require" and known.max() < least:
            problem = f"{leaf.factor} meets it by {known.max():.2f} at best here in this span"
            yield Remark(leaf.path, "never_met", problem, f"a shape that it meets by {rule.threshold:g}")
        elif leaf.role == "prefer" and known.max() <= 0.0:
            problem = f"{leaf.factor} never meets it here in this span: it lowers every score alike"
            yield Remark(leaf.path, "never_met", problem, "a shape that it meets now and then")
    yield from _together(rule, suits)


def _never_known(rule: SpeciesRule, leaf: Leaf, place: int) -> Remark:
    """Say what follows where a factor is never known."""
    does = {
        "exclude": "nothing holds unless its group is decided without it"
        if leaf.path.count(".") > 1
        else "nothing holds",
        "ignore": "the term says nothing",
        "penalise": f"it counts as {leaf.term.penalty:g} throughout",
    }
    problem = f"{leaf.factor} is never known here in this span: {does[rule.tree.policy_of(place)]}"
    return Remark(leaf.path, "never_known", problem, "conditions that give it, or 'ignore' for what is unknown")


def _together(rule: SpeciesRule, suits: dict[str, FloatArray]) -> Iterator[Remark]:
    """Find requirements each of which is met in the span, and never all at once."""
    least = rule.threshold - _ROUNDING
    found = [np.where(np.isnan(one), 1.0, one) for leaf in _required(rule) if (one := suits.get(leaf.path)) is not None]
    if len(found) > 1 and min(one.max() for one in found) >= least and np.min(found, axis=0).max() < least:
        problem = "each is met at times here in this span, and never all together"
        yield Remark("require", "never_met", problem, "fewer or wider requirements, or preferences")
