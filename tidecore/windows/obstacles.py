"""Why not: what stops a rule at a mark at an instant or in a span, by how much, and what alone would change it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.rules import SpeciesRule, rule_at, suitability
from tidecore.timebase import TimeSpan, instant
from tidecore.timeline import Timeline, find_factor
from tidecore.timeline.factor import Factor
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray
from tidecore.windows.obstacle import Obstacle, WhyNot
from tidecore.windows.obstacle_words import obstacle_sentences
from tidecore.windows.scoring import ROUNDING, score_at, score_columns
from tidecore.windows.search import find_windows
from tidecore.windows.unknowns import unknown_terms

#: Values between one that does not suit and one that does, among which the first that suits is looked for.
_STEPS = 512
_EQUAL = 1e-9


def explain_why_not(
    rule: SpeciesRule, timeline: Timeline, start: np.datetime64 | str, end: np.datetime64 | str | None = None
) -> WhyNot:
    """Return what stops a rule at an instant, or in the half-open span from ``start`` to ``end`` [UTC].

    Parameters
    ----------
    rule : SpeciesRule
        What the species wants.
    timeline : Timeline
        The mark and a span around what is asked, in which the nearest time that would do is looked for.
    start, end : datetime64 or ISO text
        The instant, or the span.

    Raises
    ------
    InvalidSpan
        If what is asked does not lie in the span of the timeline, or the end is not after the start.
    """
    rule = rule_at(rule, timeline.mark)
    first = instant(start, "start")
    asked = None if end is None else TimeSpan(first, instant(end, "end"))
    span, last = timeline.span, first if asked is None else asked.end
    if first < span.start or last > span.end or (asked is None and last == span.end):
        raise InvalidSpan(Fault("start", f"{first} to {last} leaves the timeline", f"{span.start} to {span.end}"))
    first_us, last_us = _ticks(first), _ticks(last)
    time_us = first_us if asked is None else _best_instant(rule, timeline, asked)
    scores = score_at(rule, timeline, np.array([time_us], dtype=np.int64))
    ground = suitability(rule, timeline.mark)
    holds = bool(scores.holds[0]) and ground != "other_bed"
    windows = find_windows(rule, timeline)
    before = [one for one in windows if _ticks(one.end) <= first_us]
    after = [one for one in windows if _ticks(one.start) > first_us and _ticks(one.start) >= last_us]
    inside = tuple(one for one in windows if one not in before and one not in after)
    obstacles = () if holds and inside else tuple(_obstacles(rule, timeline, time_us))
    found = WhyNot(
        time=np.datetime64(time_us, "us"),
        holds=holds,
        score=float(scores.score[0]),
        threshold=rule.threshold,
        suitability=ground,
        obstacles=obstacles,
        before=before[-1] if before else None,
        after=after[0] if after else None,
        inside=inside,
        sentences=(),
    )
    return replace(found, sentences=obstacle_sentences(found, rule, timeline.mark, over_span=asked is not None))


def _best_instant(rule: SpeciesRule, timeline: Timeline, span: TimeSpan) -> int:
    """Return the instant of a span at which a rule holds best: the first of equals, by its terms where no score is."""
    step = timeline.grid.step_us
    times = np.arange(-(-span.start_us // step), -(-span.end_us // step), dtype=np.int64) * step
    times = np.unique(np.append(times, span.start_us))
    scores = score_at(rule, timeline, times)
    best = int(np.argmax(scores.score >= scores.score.max() - _EQUAL))
    if scores.score[best] > 0.0:
        return int(times[best])
    # Nothing lets it through at any time: where most of the terms suit.
    suiting = np.nan_to_num(scores.memberships).sum(axis=0)
    return int(times[int(np.argmax(suiting >= suiting.max() - _EQUAL))])


def _obstacles(rule: SpeciesRule, timeline: Timeline, time_us: int) -> list[Obstacle]:
    """Return what stands in the way of a rule at an instant, what takes most first."""
    at, axis = np.array([time_us], dtype=np.int64), timeline.grid.times_us()
    columns = timeline.at(at, rule.factor_names)
    scores = score_columns(rule, columns, flow_reliable=timeline.flow_reliable)
    along = score_at(rule, timeline, axis)
    reasons = {one.factor: one.reason for one in unknown_terms(scores, [timeline], np.array([0, 1]), np.ones(1))[0]}
    found = []
    for k, leaf in enumerate(rule.tree.leaves):
        term, role = leaf.term, leaf.role
        membership = float(scores.memberships[k, 0])
        unknown, loss = bool(np.isnan(membership)), float(scores.losses[k, 0])
        barred = unknown and bool(scores.excluded[0]) and rule.tree.policy_of(k) == "exclude"
        # Were all as good as the threshold, so would be the score: what is, is not in the way.
        if not barred and not (unknown and loss > _EQUAL) and not membership < rule.threshold - ROUNDING:
            continue
        # What is left out, or stands in a group that another member decides, is not either.
        if not barred and loss <= _EQUAL and role != "require":
            continue
        factor = find_factor(term.factor)
        value = _plain(factor, columns[term.factor])
        shape = getattr(term, "shape", None)
        needed = None if shape is None else _nearest_suiting(shape, factor, columns[term.factor], rule.threshold)
        without = _score_without(rule, timeline, columns, term.factor, shape)
        suits = along.memberships[k] >= rule.threshold - ROUNDING
        before, after = _nearest_times(axis, suits, time_us)
        off = abs(_apart(factor, value, needed)) if _numbers(value, needed) else None
        found.append(
            Obstacle(
                factor=term.factor,
                role=role,
                value=value,
                needed=needed,
                off_by=off,
                unit=factor.unit,
                membership=None if unknown else membership,
                loss=np.inf if barred else loss,
                score_without=without,
                enough_alone=without >= rule.threshold - ROUNDING,
                before=before,
                after=after,
                unknown_because=reasons.get(term.factor) if unknown else None,
            )
        )
    # Gates first: what they do not let through, no preference brings back.
    found.sort(key=lambda one: (one.role != "require", -one.loss, one.factor))
    return found


def _score_without(rule: SpeciesRule, timeline: Timeline, columns: dict[str, AnyArray], name: str, shape: Any) -> float:
    """Return the best score that a change of one factor alone would give."""
    factor = find_factor(name)
    candidates = [] if shape is None else list(_suiting_values(shape, factor, columns[name]))
    reliable = timeline.flow_reliable or factor.of_the_stream
    found = [
        score_columns(rule, {**columns, name: _as_column(factor, value)}, flow_reliable=reliable).score[0]
        for value in candidates
    ]
    return float(max(found, default=0.0))


def _suiting_values(shape: Any, factor: Factor, column: AnyArray) -> list[float | str | int]:
    """Return values of a factor with which a shape suits wholly, the nearest to what it is first."""
    if shape.kind == "set":
        return [int(value) if factor.kind == "boolean" else str(value) for value in shape.values]
    ends = [end for end in (shape.full_from, shape.full_to) if end is not None]
    now = float(column[0])
    if np.isnan(now):
        return [float(end) for end in ends]
    return sorted((float(end) for end in ends), key=lambda end: abs(_apart(factor, now, end)))


def _nearest_suiting(shape: Any, factor: Factor, column: AnyArray, threshold: float) -> float | str | bool | None:
    """Return the nearest value of a factor with which a shape suits by at least a threshold."""
    values = _suiting_values(shape, factor, column)
    if factor.kind != "number":
        return bool(values[0]) if factor.kind == "boolean" else str(values[0])
    now = float(column[0])
    if np.isnan(now) or not values:
        return float(values[0]) if values else None
    # Either way round: one side of the shape may fall less steeply than the other.
    ends = np.array(values, dtype=np.float64)
    away = np.array([_apart(factor, now, end) for end in ends])
    if factor.period is not None:
        ends, away = np.tile(ends, 2), np.concatenate((away, away - np.copysign(factor.period, away)))
    steps = np.multiply.outer(np.linspace(0.0, 1.0, _STEPS + 1), away)
    there = now + steps if factor.period is None else np.mod(now + steps, factor.period)
    # Each way ends where the shape suits wholly.
    there[-1] = ends
    suits = shape.membership(there.ravel(), factor).reshape(there.shape) >= threshold - ROUNDING
    first = np.argmax(suits, axis=0), np.arange(away.size)
    return float(there[first][np.argmin(np.abs(steps[first]))])


def _apart(factor: Factor, start: Any, end: Any) -> float:
    """Return how far a number must go to another, the shorter way round where its scale closes on itself."""
    away = float(end) - float(start)
    if factor.period is None:
        return away
    return (away + factor.period / 2.0) % factor.period - factor.period / 2.0


def _numbers(*values: Any) -> bool:
    return all(isinstance(value, float) for value in values)


def _plain(factor: Factor, column: AnyArray) -> float | str | bool | None:
    """Return the one value of a column, None where it is not known."""
    if not factor.known(column)[0]:
        return None
    if factor.kind == "number":
        return float(column[0])
    return bool(column[0]) if factor.kind == "boolean" else str(column[0])


def _as_column(factor: Factor, value: float | str | int) -> AnyArray:
    if factor.kind == "number":
        return np.array([value], dtype=np.float64)
    return np.array([value], dtype=np.int8) if factor.kind == "boolean" else np.array([value], dtype=np.str_)


def _nearest_times(
    axis: IntArray | FloatArray, suits: BoolArray, time_us: int
) -> tuple[np.datetime64 | None, np.datetime64 | None]:
    """Return the nearest instants of an axis before and after an instant at which something suits."""
    there = axis[suits]
    k = int(np.searchsorted(there, time_us, side="left"))
    after = there[k:][there[k:] > time_us]
    before = np.datetime64(int(there[k - 1]), "us") if k > 0 else None
    return before, np.datetime64(int(after[0]), "us") if after.size else None


def _ticks(time: np.datetime64) -> int:
    return int(time.astype("datetime64[us]").astype(np.int64))
