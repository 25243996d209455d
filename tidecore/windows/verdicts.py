"""Three verdicts, kept apart: is it safe, does the mark fish, do they feed. What is not known is never a good one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.safety import Grade
from tidecore.shore.fishability import REACH_WIND_M_PER_S
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline, factors, find_factor
from tidecore.timeline.called import factor_words
from tidecore.units import AnyArray, BoolArray, IntArray
from tidecore.windows.wording import listed

FishableGrade = Literal["yes", "hard", "no", "unknown"]

_FISHABLE_ORDER: tuple[FishableGrade, ...] = ("yes", "unknown", "hard", "no")
#: Columns that say why a mark does not fish, and their values that do, or over which they do.
REASONS: dict[str, tuple[str, ...] | float] = {
    "holding": ("marginal", "does_not_hold"),
    "surf": ("unfishable",),
    "weed": ("every_cast", "unfishable", "likely", "high"),
    "crosswind": REACH_WIND_M_PER_S,
}
#: Verdicts look at factors so often [microseconds].
_LOOK_US = 10 * US_PER_MINUTE
#: A mark does not fish if it does not for so much of the time, and is hard to fish if it is for so much.
_MOSTLY, _SOMETIMES = 0.5, 0.25


@dataclass(frozen=True, slots=True)
class Safe:
    """Whether it is safe to be there, from walking in to walking out: never said to be, only what is against it."""

    grade: Grade
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FishableVerdict:
    """Whether the mark fishes while it is fished: will the lead hold, is there weed, surf, wind.

    ``unknown`` as soon as it is not known for a part of the time, unless the rest is bad enough.
    """

    grade: FishableGrade
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Feeding:
    """Whether they feed: the rule that gives most, its mean score over the fishing, and what limits it."""

    rule: str | None
    mean_score: float
    limiting_factor: str | None


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The three verdicts of a session."""

    safe: Safe
    fishable: FishableVerdict
    feeding: Feeding


def _instants(start_us: int, end_us: int) -> IntArray:
    even = np.arange(start_us, end_us, _LOOK_US, dtype=np.int64)
    return even if even.size else np.array([start_us], dtype=np.int64)


def _column(timeline: Timeline, name: str, times: IntArray) -> AnyArray | None:
    """Return a factor at instants, None where there is no such factor."""
    return timeline.at(times, (name,))[name] if name in factors() else None


def judge_fishing(timeline: Timeline, start_us: int, end_us: int) -> FishableVerdict:
    """Return whether a mark fishes over a span."""
    times, mark = _instants(start_us, end_us), timeline.mark.name
    column = _column(timeline, "fishable", times)
    if column is None or not (column != "").any():
        return FishableVerdict("unknown", (f"{mark}: not known whether it fishes{_for_want_of(timeline, times)}.",))
    shares = {value: float(np.mean(column == value)) for value in ("no", "hard", "")}
    reasons = []
    worse = (column == "no") | (column == "hard")
    if worse.any():
        because = _because(timeline, times[worse])
        word = "does not fish" if shares["no"] >= _MOSTLY else "is hard to fish"
        reasons.append(f"{mark}: {word} for {shares['no'] + shares['hard']:.0%} of the time{because}.")
    if shares[""] > 0.0:
        lacking = _for_want_of(timeline, times[column == ""])
        reasons.append(f"{mark}: not known whether it fishes for {shares['']:.0%} of the time{lacking}.")
    return FishableVerdict(_graded(shares["no"], shares["hard"], shares[""]), tuple(reasons))


def grade_stays(timeline: Timeline, spans: Sequence[tuple[int, int]]) -> list[FishableGrade]:
    """Return the grades that `judge_fishing` gives some spans [microseconds since 1970], without its reasons."""
    each = [_instants(start, end) for start, end in spans]
    column = _column(timeline, "fishable", np.concatenate(each)) if each else None
    if column is None:
        return ["unknown"] * len(each)
    counts = np.array([one.size for one in each])
    firsts = np.cumsum(counts) - counts
    shares = [np.add.reduceat(column == value, firsts, dtype=np.int64) / counts for value in ("no", "hard", "")]
    return [_graded(*parts) for parts in zip(*(one.tolist() for one in shares), strict=True)]


def _graded(no: float, hard: float, unknown: float) -> FishableGrade:
    """Return the grade of a span by the parts of its time in which the factor ``fishable`` is so."""
    if unknown == 1.0:
        return "unknown"
    if no >= _MOSTLY:
        return "no"
    if no + hard >= _SOMETIMES:
        return "hard"
    return "unknown" if unknown > 0.0 else "yes"


def _for_want_of(timeline: Timeline, times: IntArray) -> str:
    """Return what is unknown at instants at which it is not known whether a mark fishes, as the end of a sentence."""
    found = []
    for name in REASONS:
        column = _column(timeline, name, times)
        if column is not None and not find_factor(name).known(column).all():
            found.append(factor_words(name))
    return f", for want of: {listed(found)}" if found else ""


def _hinders(column: AnyArray, bad: tuple[str, ...] | float) -> BoolArray:
    """Return where a reason is bad: one of some values, or over a number."""
    return np.asarray(column > bad) if isinstance(bad, float) else np.isin(column, bad)


def _because(timeline: Timeline, times: IntArray) -> str:
    """Return what makes a mark hard to fish at instants, as the end of a sentence."""
    found = []
    for name, bad in REASONS.items():
        column = _column(timeline, name, times)
        if column is not None and _hinders(column, bad).any():
            found.append(factor_words(name))
    return f": {listed(found)}" if found else ""


def worst(verdicts: Sequence[FishableVerdict]) -> FishableVerdict:
    """Return the verdicts on all the legs of a session as one: the worst, with every reason."""
    grade = max((one.grade for one in verdicts), key=_FISHABLE_ORDER.index)
    return FishableVerdict(grade, tuple(reason for one in verdicts for reason in one.reasons))
