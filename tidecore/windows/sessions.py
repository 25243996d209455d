"""Sessions: an outing made into a full account of itself, and the door for scripts, `find_sessions`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from tidecore.calendars import clipped, clock_changes, difference, merged
from tidecore.errors import Fault, InvalidInput
from tidecore.rules import SpeciesRule
from tidecore.safety import Care, joined
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND, TimeSpan, instant
from tidecore.timeline import Timeline, find_factor
from tidecore.timeline.wall_clock import shown_minute
from tidecore.units import AnyArray, FloatArray, IntArray
from tidecore.windows.axis import Axis
from tidecore.windows.curves import MarkSearch, RuleCurve, search_mark
from tidecore.windows.fished import FishedPart, account_for, parts_fished
from tidecore.windows.found import Found
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import Outing, OutingLeg, find_outings, leg_at, outing_of
from tidecore.windows.reasons import session_reasons
from tidecore.windows.rounds import Question, Search, side_by_side
from tidecore.windows.scoring import Scores, score_at, score_memberships
from tidecore.windows.session import (
    FactorAccount,
    FactorSummary,
    Lull,
    RuleAccount,
    Session,
    SessionLeg,
    SessionWindow,
)
from tidecore.windows.unknowns import unknown_terms
from tidecore.windows.verdicts import Feeding, Safe, Verdicts, judge_fishing, worst
from tidecore.windows.window import BestHour, Window

#: Accounts of rules and factors rest on the fishing time so often [microseconds].
_LOOK_US = 5 * US_PER_MINUTE
#: Of a loss no more counts than that of this score.
_LEAST_SCORE = 1e-3
_EQUAL = 1e-9


def find_sessions(
    rules: Sequence[SpeciesRule],
    timeline: Timeline,
    options: SessionOptions | None = None,
    *,
    travel_min: float = 0.0,
    care: Care | None = None,
) -> list[Session]:
    """Return the sessions of some rules at one mark, in time order.

    A session lasts from arriving to leaving. It holds one or more windows of one or several rules; a lull between two
    of them is sat out. All of it, with the way there and back, lies in the span of the timeline, in the free time that
    the timeline was built with if it was, and in time in which access is not known to be closed.

    Parameters
    ----------
    rules : sequence of SpeciesRule
        What the species want; each is called by its name, and ``rule 2`` and so on where a name comes twice.
    timeline : Timeline
        The mark and the span.
    options : SessionOptions, optional
        How an angler goes out.
    travel_min : float
        The way there, and the way back [min].
    care : Care, optional
        How hazards are minded: sessions keep out of time of danger unless it says otherwise.

    Notes
    -----
    A session is worth the integral over its fishing of the best score of all its rules at each instant: fishing for
    two species at once is not worth the sum. Each rule's own integral stands beside it. Time in which the mark is known
    not to fish counts nothing, time in which it is hard to fish half.
    """
    search = search_mark(timeline.mark.name, timeline, _named(rules), care)
    outings = find_outings(search, options or SessionOptions(), timeline.sources.free_us, travel_min)
    return complete_all(outings, {search.key: search})


def session_at(
    search: MarkSearch,
    start: np.datetime64,
    end: np.datetime64,
    options: SessionOptions | None = None,
    travel_min: float = 0.0,
) -> Session:
    """Return the session that fishes a mark from ``start`` to ``end`` [UTC], whatever it is worth.

    Raises
    ------
    InvalidInput
        If the fishing, with setting up and packing up, does not lie in the span of the search.
    """
    some = options or SessionOptions()
    fishing = TimeSpan(instant(start, "start"), instant(end, "end"))
    span, way = search.timeline.span, round(travel_min * US_PER_MINUTE)
    leg = leg_at(search, fishing.start_us, fishing.end_us, some)
    if leg.arrive_us < span.start_us or leg.leave_us > span.end_us:
        problem = f"{start} to {end} leaves the span from {span.start} to {span.end}"
        raise InvalidInput(Fault("start", problem, "fishing in the span, with setting up and packing up"))
    return complete(outing_of((leg,), (search,), way, way), {search.key: search})


def _named(rules: Sequence[SpeciesRule]) -> dict[str, SpeciesRule]:
    found: dict[str, SpeciesRule] = {}
    for number, rule in enumerate(rules, start=1):
        found[rule.name if rule.name not in found else f"rule {number}"] = rule
    return found


def complete_all(outings: Sequence[Outing], searches: Mapping[str, MarkSearch]) -> list[Session]:
    """Return the full account of each outing, as `complete` does; the windows of all are accounted for in one go."""
    legs = [leg for outing in outings for leg in outing.legs]
    account_for([(search.curves, [leg for leg in legs if leg.mark == key]) for key, search in searches.items()])
    return [complete(outing, searches) for outing in outings]


def complete(outing: Outing, searches: Mapping[str, MarkSearch]) -> Session:
    """Return the full account of an outing.

    Parameters
    ----------
    outing : Outing
        When to be where.
    searches : mapping of str to MarkSearch
        What was found at its marks, by their keys.
    """
    legs = tuple(_leg(leg, searches[leg.mark]) for leg in outing.legs)
    start, end = (_time(one) for one in outing.best_us)
    best = BestHour(start, end, outing.best_score, outing.best_us[1] - outing.best_us[0] < 60 * US_PER_MINUTE)
    timelines = [searches[leg.mark].timeline for leg in outing.legs]
    hazards = joined(
        searches[leg.mark].care.stay(searches[leg.mark].timeline, _time(leg.arrive_us), _time(leg.leave_us))
        for leg in outing.legs
    )
    fishable = worst(
        [judge_fishing(line, leg.start_us, leg.end_us) for line, leg in zip(timelines, outing.legs, strict=True)]
    )
    away = TimeSpan(_time(outing.arrive_us - outing.there_us), _time(outing.leave_us + outing.back_us))
    changes = tuple(str(change) for change in clock_changes(timelines[0].mark.zone, away))
    verdicts = Verdicts(Safe(hazards.grade, hazards.sentences), fishable, _feeding(legs))
    told = dict.fromkeys(said for line in timelines for said in _conditions_said(line, away))
    reasons = session_reasons(outing, legs, best, verdicts, (*(f"In between the {one}." for one in changes), *told))
    return Session(outing, legs, best, hazards, verdicts, changes, reasons)


def _conditions_said(timeline: Timeline, span: TimeSpan) -> tuple[str, ...]:
    """Return what is not assessed over a span, or rests on old forecasts, in sentences, by the clock of the mark."""
    conditions = timeline.sources.conditions
    if conditions is None:
        return ()
    clock = partial(shown_minute, timeline.mark.zone)
    said = (one.rstrip(".") for one in conditions.sentences(span, clock=clock))
    return tuple(f"{one[:1].upper()}{one[1:]}." for one in said)


def _leg(leg: OutingLeg, search: MarkSearch) -> SessionLeg:
    """Return the full account of one leg."""
    timeline, fished = search.timeline, {key for key, _ in leg.rule_hours}
    curves = [one for one in search.curves if one.key in fished]
    (windows,) = windows_fished(curves, [leg])
    times = _looked_at(leg)
    scores = {one.key: score_at(one.rule, timeline, times) for one in curves}
    names = tuple(dict.fromkeys(name for one in curves for name in one.rule.factor_names))
    arrive, start, end, leave = (_time(t) for t in (leg.arrive_us, leg.start_us, leg.end_us, leg.leave_us))
    columns = timeline.at(times, names)
    return SessionLeg(
        key=leg.mark,
        mark=timeline.mark,
        arrive=arrive,
        start=start,
        end=end,
        leave=leave,
        score_hours=leg.score_hours,
        windows=windows,
        lulls=_lulls(curves, windows, timeline, leg),
        rules=tuple(_rule_account(one, scores[one.key], leg, timeline) for one in curves),
        factors=tuple(_summary(name, columns[name]) for name in sorted(names)),
        key_times=timeline.events(arrive, leave),
    )


def _looked_at(leg: OutingLeg) -> IntArray:
    """Return the instants at which it is looked how rules fare over the fishing of a leg."""
    return np.arange(leg.start_us, leg.end_us, _LOOK_US, dtype=np.int64)


def limiting_factors(asked: Sequence[tuple[RuleCurve, OutingLeg]]) -> list[str | None]:
    """Return what takes most from a rule over the fishing of a leg in which it has a window, as `complete` has it; of
    many rules and legs in one go."""
    laid: dict[Axis, dict[Found, list[int]]] = {}
    for k, (one, _) in enumerate(asked):
        laid.setdefault(one.found.axis, {}).setdefault(one.found, []).append(k)
    limits: dict[int, str | None] = {}
    for axis, each in laid.items():
        searches = [_fared(found, [asked[k] for k in some]) for found, some in each.items()]
        for some, factors in zip(each.values(), side_by_side(axis.at, searches), strict=True):
            limits |= zip(some, factors, strict=True)
    return [limits[k] for k in range(len(asked))]


def _fared(found: Found, asked: Sequence[tuple[RuleCurve, OutingLeg]]) -> Search[list[str | None]]:
    """Search for what takes most from a rule over the fishing of legs at the marks of an axis."""
    judged, shift = found.judged, found.axis.shift_us
    each = [_looked_at(leg) + shift(found.spans[one.numbers.start].place) for one, leg in asked]
    times, counts = np.concatenate(each), np.array([part.size for part in each])
    columns = yield Question(judged.names, times)
    suits = judged.scorer.memberships(judged.memberships(columns), times.size)
    lost = _counted(score_memberships(judged.rule, suits))
    means = np.add.reduceat(lost, np.cumsum(counts) - counts, axis=1) / counts
    return [_limiting(_by_factor(judged.rule, losses)) for losses in means.T.tolist()]


def windows_fished(curves: Sequence[RuleCurve], legs: Sequence[OutingLeg]) -> list[tuple[SessionWindow, ...]]:
    """Return the parts of windows that each leg fishes, in time order."""
    account_for([(curves, legs)])
    return [tuple(map(_window, parts)) for parts in parts_fished(curves, legs, Found.windows)]


def _window(one: FishedPart[Window]) -> SessionWindow:
    start, end = (_time(ticks) for ticks in one.span_us)
    return SessionWindow(one.rule, start, end, one.peak_score, _time(one.peak_us), one.window)


def _lulls(
    curves: Sequence[RuleCurve], windows: Sequence[SessionWindow], timeline: Timeline, leg: OutingLeg
) -> tuple[Lull, ...]:
    """Return the times between windows, those under a second left out."""
    spans = merged(np.array([[_ticks(one.start), _ticks(one.end)] for one in windows], dtype=np.int64).reshape(-1, 2))
    if not len(spans):
        return ()
    inside = clipped(spans, leg.start_us, leg.end_us)
    gaps = difference(np.array([[inside[0, 0], inside[-1, 1]]], dtype=np.int64), inside)
    gaps = gaps[gaps[:, 1] - gaps[:, 0] >= US_PER_SECOND]
    return tuple(
        Lull(_time(start), _time(end), _standing_in_the_way(curves, timeline, (start + end) // 2))
        for start, end in gaps.tolist()
    )


def _standing_in_the_way(curves: Sequence[RuleCurve], timeline: Timeline, time_us: int) -> str | None:
    """Return the factor that takes most from the rule that fares best at an instant."""
    at = np.array([time_us], dtype=np.int64)
    found = [score_at(one.rule, timeline, at) for one in curves]
    best = max(found, key=lambda one: float(one.score[0]))
    unknown = [term.factor for term, nothing in zip(best.rule.tree.leaves, best.unknown[:, 0], strict=True) if nothing]
    if best.excluded[0] and unknown:
        return unknown[0]
    return _limiting(_losses(best))


def _losses(scores: Scores) -> dict[str, float]:
    """Return the mean loss of every factor of a rule."""
    return _by_factor(scores.rule, _counted(scores).mean(axis=1).tolist())


def _counted(scores: Scores) -> FloatArray:
    """Return what counts of the losses of every term."""
    counted: FloatArray = np.minimum(np.nan_to_num(scores.losses, nan=0.0, posinf=np.inf), -np.log(_LEAST_SCORE))
    return counted


def _by_factor(rule: SpeciesRule, terms: Sequence[float]) -> dict[str, float]:
    """Return the losses of every factor of a rule by those of its terms."""
    losses: dict[str, float] = {}
    for term, loss in zip(rule.tree.leaves, terms, strict=True):
        losses[term.factor] = losses.get(term.factor, 0.0) + loss
    return losses


def _limiting(losses: Mapping[str, float]) -> str | None:
    """Return the factor that takes most, the first by name of equals; None if nothing was lost."""
    name = min(losses, key=lambda one: (-round(losses[one], 9), one))
    return name if losses[name] > _EQUAL else None


def _rule_account(one: RuleCurve, scores: Scores, leg: OutingLeg, timeline: Timeline) -> RuleAccount:
    """Return how a rule fared over the fishing of a leg."""
    hours, losses = dict(leg.rule_hours)[one.key], _losses(scores)
    means: dict[str, list[float]] = {name: [] for name in losses}
    for term, membership in zip(scores.rule.tree.leaves, scores.memberships, strict=True):
        known = membership[~np.isnan(membership)]
        means[term.factor] += [float(known.mean())] if known.size else []
    accounts = tuple(
        FactorAccount(name, min(means[name]) if means[name] else None, losses[name]) for name in sorted(losses)
    )
    return RuleAccount(
        rule=one.key,
        name=one.rule.name,
        species=one.rule.species.local_name or one.rule.species.scientific_name,
        score_hours=hours,
        mean_score=hours * 60.0 * US_PER_MINUTE / (leg.end_us - leg.start_us),
        limiting_factor=_limiting(losses),
        factors=accounts,
        unknowns=unknown_terms(scores, [timeline], np.array([0, scores.score.size]), np.ones(scores.score.size))[0],
    )


def _summary(name: str, column: AnyArray) -> FactorSummary:
    """Return a factor over the fishing."""
    factor = find_factor(name)
    known = column[factor.known(column)]
    share = known.size / column.size
    if factor.kind == "number":
        values: FloatArray = known.astype(np.float64)
        if not values.size:
            return FactorSummary(name, factor.unit, share, None, None, None, None)
        mean, least, greatest = float(values.mean()), float(values.min()), float(values.max())
        return FactorSummary(name, factor.unit, share, mean, least, greatest, None)
    values_, counts = np.unique(known, return_counts=True)
    commonest = str(values_[int(np.argmax(counts))]) if known.size else None
    if commonest is not None and factor.kind == "boolean":
        commonest = "true" if commonest == "1" else "false"
    return FactorSummary(name, factor.unit, share, None, None, None, commonest)


def _feeding(legs: Sequence[SessionLeg]) -> Feeding:
    """Return what the best rule of a session gives."""
    accounts = sorted(
        (one for leg in legs for one in leg.rules), key=lambda one: (-round(one.score_hours, 9), one.rule)
    )
    if not accounts:
        return Feeding(None, 0.0, None)
    return Feeding(accounts[0].rule, accounts[0].mean_score, accounts[0].limiting_factor)


def _time(ticks: int) -> np.datetime64:
    return np.datetime64(ticks, "us")


def _ticks(time: np.datetime64) -> int:
    return int(time.astype(np.int64))
