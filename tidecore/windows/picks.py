"""Which methods a session asks for: each judged by the timeline, with what suits, what does not and what is unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.rules import Leaf, Node, lead_hold
from tidecore.rules.method import Method
from tidecore.rules.rod_plan import LONGEST_MIN, SHORTEST_MIN
from tidecore.rules.rule import Species
from tidecore.rules.terms import DEFAULT_FLOOR
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.timeline import Timeline, find_factor
from tidecore.timeline.called import factor_words
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray
from tidecore.windows.scoring import membership_of, preferred
from tidecore.windows.unknowns import why_unknown

#: A session is looked at once in so many minutes at least.
_STEP_MIN = 10.0
#: A term suits from this mean membership on, and is against a method below that one.
SUITS, AGAINST = 0.75, 0.25
_STREAM = "stream_speed"
_NO_STREAM = "whether it holds is not known: the mark has no rates of its stream"
_ROLLS = "{basis} has no wires: it holds to less than {to:.1f} m/s, nobody says how much"
#: Units as they are said.
_UNITS = {"": "", "1": "", "%": " %", "degC": " C", "degree": " degrees", "d": " days"}

Verdict = Literal["suits", "partly", "against", "unknown"]
#: Whether the lead of a method holds: all of the session, hardly for a part, not for a part, or nobody knows.
Held = Literal["holds", "marginal", "does_not_hold", "unknown"]
#: Why a method is not looked at.
LeftOut = Literal["other_species", "other_ground"]


@dataclass(frozen=True, slots=True)
class Reason:
    """What one term of ``suits`` says of a method in a session.

    ``membership`` is its mean over the time it is known, None where it never is; ``known`` is that share of the
    session. ``text`` says the values there were, or why they are unknown.
    """

    path: str
    factors: tuple[str, ...]
    verdict: Verdict
    membership: float | None
    known: float
    weight: float
    text: str


@dataclass(frozen=True, slots=True)
class LeadCheck:
    """Whether the lead of a method holds in the stream of a session, as far as that is known.

    ``fastest`` is the strongest stream that is known [m/s], ``holds_to`` that up to which the lead holds, None where
    nobody says; ``share`` is the part of the session in which it is known not to hold well.
    """

    verdict: Held
    fastest: float | None
    holds_to: float | None
    share: float
    text: str


@dataclass(frozen=True, slots=True)
class MethodPick:
    """A method for a session.

    ``place`` is its place in the list given. ``score`` is the mean over the session of what is known, as of the
    preferences of a rule; None where nothing is. ``least`` and ``most`` are what it would be if all that is unknown
    were at its worst, or best; ``rank`` lies midway between them (geometric mean), and picks are in its order. A method
    without ``suits`` is one of which all is unknown. ``lead`` is beside the score, not in it.
    """

    place: int
    method: Method
    score: float | None
    least: float
    most: float
    rank: float
    reasons: tuple[Reason, ...]
    lead: LeadCheck


@dataclass(frozen=True, slots=True)
class NotPicked:
    """A method that is for other species or other ground."""

    place: int
    method: Method
    reason: LeftOut
    text: str


@dataclass(frozen=True, slots=True)
class MethodPicks:
    """The methods of a session, best first, and those that are not for it."""

    span: TimeSpan
    picks: tuple[MethodPick, ...]
    left_out: tuple[NotPicked, ...]


def pick_methods(
    methods: Sequence[Method],
    timeline: Timeline,
    start: np.datetime64,
    end: np.datetime64,
    species: Sequence[Species] = (),
) -> MethodPicks:
    """Return methods for a session from ``start`` to ``end``, best first; of equals the earlier one given.

    Parameters
    ----------
    methods : sequence of Method
        The methods there are.
    timeline : Timeline
        The mark, over a span that holds the session or comes within a day of it.
    start, end : datetime64
        The session [UTC], from a quarter of an hour to a day long.
    species : sequence of Species, optional
        What is fished for; methods for others are left out. Any species unless given.

    Raises
    ------
    InvalidSpan
        If the session ends before it starts, is too short or too long, or lies outside the timeline.
    """
    span = session_span(start, end)
    times = _instants(span)
    left_out, picks = [], []
    names = tuple(dict.fromkeys(name for method in methods for name in method.factor_names))
    columns = timeline.at(times, names)
    speed = np.abs(timeline.at(times, (_STREAM,))[_STREAM])
    for place, method in enumerate(methods):
        why = _not_for(method, timeline, species)
        if why is not None:
            left_out.append(NotPicked(place, method, *why))
        else:
            picks.append(_picked(place, method, timeline, columns, _lead_check(method, speed)))
    return MethodPicks(span, tuple(sorted(picks, key=lambda one: (-one.rank, one.place))), tuple(left_out))


def session_span(start: np.datetime64, end: np.datetime64) -> TimeSpan:
    """Return the span of a session; InvalidSpan if it is shorter than a quarter of an hour or longer than a day."""
    span = TimeSpan(start, end)
    minutes = (span.end_us - span.start_us) / US_PER_MINUTE
    if not SHORTEST_MIN <= minutes <= LONGEST_MIN:
        raise InvalidSpan(Fault("end", f"{minutes:g} min after the start", f"{SHORTEST_MIN:g} to {LONGEST_MIN:g} min"))
    return span


def _instants(span: TimeSpan) -> IntArray:
    """Return the middles of even parts of a session, no longer than ten minutes [microseconds since 1970]."""
    length = span.end_us - span.start_us
    count = math.ceil(length / (_STEP_MIN * US_PER_MINUTE))
    return span.start_us + (2 * np.arange(count, dtype=np.int64) + 1) * length // (2 * count)


def _not_for(method: Method, timeline: Timeline, species: Sequence[Species]) -> tuple[LeftOut, str] | None:
    if species and not any(method.is_for(one) for one in species):
        names = ", ".join(one.local_name or one.scientific_name for one in method.species)
        return "other_species", f"for {names}"
    beds = timeline.mark.all_beds
    if method.beds and beds and set(method.beds).isdisjoint(beds):
        return "other_ground", f"for {_plain(method.beds)}; the mark has {_plain(beds)}"
    return None


def _plain(names: Sequence[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)


def _lead_check(method: Method, speed: FloatArray) -> LeadCheck:
    """Return whether the lead of a method holds in a stream [m/s], NaN where that is unknown."""
    hold, known = lead_hold(method), speed[~np.isnan(speed)]
    fastest = float(known.max()) if known.size else None
    if hold is None:
        return LeadCheck("unknown", fastest, None, 0.0, "whether it holds is not known: the method has no lead")
    to = hold.to_m_per_s
    limit = f"{hold.basis} holds to about {to:.1f} m/s"
    if fastest is None:
        return LeadCheck("unknown", None, to if hold.grips else None, 0.0, f"{_NO_STREAM}; {limit}{_wires(hold.grips)}")
    run = f"the stream runs up to {fastest:.1f} m/s"
    share = float(np.mean(known > to)) * known.size / speed.size
    if fastest > hold.hardly_m_per_s:
        return LeadCheck("does_not_hold", fastest, to, share, f"{run}, and {limit}: it drags for {share:.0%} of it")
    if not hold.grips:
        return LeadCheck("unknown", fastest, None, share, f"{run}; {_ROLLS.format(basis=hold.basis, to=to)}")
    if fastest > to:
        return LeadCheck("marginal", fastest, to, share, f"{run}, and {limit}: it may drag for {share:.0%} of it")
    part = known.size < speed.size
    told: Held = "unknown" if part else "holds"
    rest = "; for a part of it the stream is not known" if part else ""
    return LeadCheck(told, fastest, to, share, f"{run}, and {limit}{rest}")


def _wires(grips: bool) -> str:
    return "" if grips else " at most, for it has no wires"


def _picked(
    place: int, method: Method, timeline: Timeline, columns: dict[str, AnyArray], lead: LeadCheck
) -> MethodPick:
    tree = method.tree
    if not tree.prefer:
        # It might suit anything or nothing: as one of which all is unknown.
        return MethodPick(place, method, None, DEFAULT_FLOOR, 1.0, math.sqrt(DEFAULT_FLOOR), (), lead)
    memberships = [membership_of(leaf, columns[leaf.factor], timeline.flow_reliable) for leaf in tree.leaves]
    found = preferred(tree, memberships)
    weights, floors = tree.weights, tree.floors
    counts = found.counts & (weights > 0.0)
    total = float(weights.sum())
    known = np.where(counts, weights, 0.0)
    losses = (known * np.log(np.maximum(floors, found.values))).sum(axis=0)
    open_ = np.where(counts, 0.0, weights * np.log(floors)).sum(axis=0)
    shut = found.excluded
    most = np.where(shut, 0.0, np.exp(losses / total)) if total else np.ones(shut.size)
    least = np.where(shut, 0.0, np.exp((losses + open_) / total)) if total else np.ones(shut.size)
    score = _score(losses, known.sum(axis=0), shut)
    low, high = float(least.mean()), float(most.mean())
    reasons = tuple(
        _reason(node, found.suits[k], [tree.leaves[i] for i in range(*node.leaves)], timeline, columns)
        for k, node in enumerate(tree.prefer)
    )
    return MethodPick(place, method, score, low, high, math.sqrt(low * high), reasons, lead)


def _score(losses: FloatArray, known: FloatArray, shut: BoolArray) -> float | None:
    """Return the mean score of the instants at which something is known; None where nothing ever is."""
    judged = (known > 0.0) | shut
    if not judged.any():
        return None
    each = np.where(shut, 0.0, np.exp(losses / np.where(known > 0.0, known, 1.0)))
    return float(each[judged].mean())


def _reason(
    node: Node, suits: FloatArray, leaves: Sequence[Leaf], timeline: Timeline, columns: dict[str, AnyArray]
) -> Reason:
    known = ~np.isnan(suits)
    share, mean = float(known.mean()), float(suits[known].mean()) if known.any() else None
    verdict: Verdict = "partly"
    if mean is None:
        verdict = "unknown"
    elif mean >= SUITS:
        verdict = "suits"
    elif mean < AGAINST:
        verdict = "against"
    names = tuple(dict.fromkeys(leaf.factor for leaf in leaves))
    said = "; ".join(
        _values(leaf, columns[leaf.factor], timeline) for leaf in {one.factor: one for one in leaves}.values()
    )
    path = node.path.replace("prefer", "suits", 1)
    return Reason(path, names, verdict, mean, share, node.weight, said)


def _values(leaf: Leaf, column: AnyArray, timeline: Timeline) -> str:
    """Say what a factor was over a session, in its unit."""
    factor, called = find_factor(leaf.factor), factor_words(leaf.factor)
    known = factor.known(column)
    if not known.any():
        return f"{called} unknown: {why_unknown(leaf, timeline)}"
    values, part = column[known], "" if known.all() else ", unknown for a part"
    if factor.kind == "number":
        unit = _UNITS.get(factor.unit, f" {factor.unit}")
        low, high = (f"{round(float(one), 2) + 0.0:g}" for one in (values.min(), values.max()))
        return f"{called} {low if low == high else f'{low} to {high}'}{unit}{part}"
    if factor.kind == "boolean":
        told = ["no" if value == 0 else "yes" for value in dict.fromkeys(values.tolist())]
    else:
        told = [str(value).replace("_", " ") for value in dict.fromkeys(values.tolist())]
    return f"{called} {', then '.join(told)}{part}"
