"""The plan of pegs of a session at a mark: its ground, its tide with surge, the largest run-up of the outing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from tidecore.roots.brackets import TimeFunction
from tidecore.shore import Ground, PegMove, RunUp, TurnBack, Waves, covered_spans, largest_over_r2, peg_plan
from tidecore.shore.dryness import wetted_level
from tidecore.shore.pegging import LEAST_STAY_MIN, NOTICE_MIN, PEG_STEP_M, REACH_MARGIN_M
from tidecore.shore.swash import CALLED_OFF, REASONS
from tidecore.shore.turning_back import NAMED_MIN, USUAL, Allowances
from tidecore.shore.waves import waves_in
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE, TimeSpan, from_microseconds
from tidecore.timeline.columns import Timeline
from tidecore.timeline.frame import Frame
from tidecore.timeline.shore_columns import LONGEST_LEFT_MIN, WAVES_IN_MARGIN
from tidecore.timeline.shore_sea import shore_sea
from tidecore.timeline.sources import Sources
from tidecore.timeline.surge import surge_at, surge_unsure
from tidecore.timeline.tide_levels import upper_level
from tidecore.units import AnyArray, FloatArray, IntArray

#: Why one moves: the water goes with the ebb, comes with the flood, or the sea itself falls or rises.
MoveCause = Literal["set_up", "ebb", "flood", "sea_falls", "sea_rises"]

ALL_REACHED = "no ground of the profile stays dry: the largest run-up comes to all of it"
TOO_SHORT = (
    "ground stays dry only for too short a time: less than a stay is worth and the notice before the water comes"
)
#: Steps by which the largest run-up is rounded up, so that alike outings share their tables.
_LARGEST_STEP = 0.05
_CHECK_US = US_PER_MINUTE
#: A sill that is under water when an outing begins went under no longer ago than this, or is never dry.
_LOOK_BACK_US = US_PER_DAY
#: Reasons without a run-up that are of the sea, not of the ground that the water stands on just then.
_SEA_UNKNOWN = (1, 2, *CALLED_OFF)


@dataclass(frozen=True, slots=True)
class Stand:
    """A move of the plan and its cause; ``still_m`` is the still water then [m above the zero of the ground]."""

    move: PegMove
    cause: MoveCause
    still_m: float


@dataclass(frozen=True, slots=True)
class Untold:
    """When no peg is told [microseconds since 1970], and why: all is reached, or how far waves run is not known."""

    start_us: int
    end_us: int
    why: str


@dataclass(frozen=True, slots=True)
class PegPlan:
    """Where to set up and when to move in a span.

    Parameters
    ----------
    span : TimeSpan
        What was asked.
    until_us : int
        When the plan ends: the end of the span, or turning back before it [microseconds since 1970].
    stands : tuple of Stand
        In time order; empty where something is missing.
    untold : tuple of Untold
        When there is no peg though there is a plan, in time order.
    missing : tuple of str
        What is not known, so that there is no plan; empty where there is one.
    not_assessed : tuple of str
        What is not known and not in the plan.
    turn_back : TurnBack or None
        When to turn back; None where the way back is not known.
    largest_over_r2 : float
        How many times R2 the largest run-up of the outing was taken for; NaN without a plan.
    surge_m : float or None
        The surge that was given and is in the levels [m]; None where none was: they then hold that of the pressure.
    """

    span: TimeSpan
    until_us: int
    stands: tuple[Stand, ...]
    untold: tuple[Untold, ...]
    missing: tuple[str, ...]
    not_assessed: tuple[str, ...]
    turn_back: TurnBack | None
    largest_over_r2: float
    surge_m: float | None


def plan_pegs(
    timeline: Timeline,
    span: TimeSpan,
    *,
    surge_m: float | None = None,
    step_m: float = PEG_STEP_M,
    notice_min: float = NOTICE_MIN,
    least_stay_min: float = LEAST_STAY_MIN,
    allowances: Allowances = USUAL,
) -> PegPlan:
    """Return where to set up and when to move over a session.

    Parameters
    ----------
    timeline : Timeline
        Of the mark, over the span or more.
    span : TimeSpan
        From setting up to packing up.
    surge_m : float, optional
        Surge over the whole span [m]; that of the pressure of the air unless given, as far as that is known.
    step_m, notice_min, least_stay_min : float
        See `tidecore.shore.peg_plan`.
    allowances : Allowances
        What is allowed for in turning back.

    Returns
    -------
    PegPlan
        No peg is on ground that the largest run-up of the outing and 0.38 m on it reaches, nor has lower ground than
        that between itself and the land. Where ground, datum or sea are not known there is no plan, and it says so;
        where only the ground that the water stands on at some stage has no run-up, no peg is told then.

    Raises
    ------
    InvalidInput
        For a step or times that are none.
    """
    sources = timeline.sources
    setting, notice = sources.setting, round(notice_min * US_PER_MINUTE)
    back, unsure = turning_back(sources, span, surge_m, allowances)
    unsure = (*unsure, *surge_unsure(sources.conditions, span, surge_m))
    until = span.end_us if back is None or back.time_us is None else min(span.end_us, back.time_us)

    def nothing(*missing: str) -> PegPlan:
        return PegPlan(span, until, (), (), missing, unsure, back, np.nan, surge_m)

    missing = setting.missing("run_up")
    if missing:
        return nothing(*missing)
    if until <= span.start_us:
        return nothing("it is too late: the way back may be cut off, see when to turn back")
    looked_at = np.append(np.arange(span.start_us, until + notice, _CHECK_US, dtype=np.int64), until + notice)
    frame = Frame(sources, looked_at)
    if np.isnan(frame.height).any():
        return nothing("the tide is not known over the whole session")
    sea = shore_sea(frame)
    known = setting.run_up(_still(frame, surge_m), sea.waves, sea.reaches)
    assert known is not None
    if np.isin(known.why, _SEA_UNKNOWN).any() or (known.why > 0).all():
        return nothing(*_said(known))
    largest = _largest(sea.waves, span)

    stands: list[Stand] = []
    untold: list[Untold] = []
    for start, end, why in _stretches(looked_at, known.why, notice):
        if why:
            untold.append(Untold(start, end, why))
            continue
        assert setting.beach is not None
        limit = _limit(sources, setting.beach, surge_m, largest)
        found = peg_plan(limit, setting.beach, start, end, step_m, notice_min, least_stay_min)
        stands += [_stand(sources, move, surge_m) for move in found.moves]
        for bare in found.without:
            ever = peg_plan(limit, setting.beach, *bare, step_m, 0.0, 0.0).moves
            untold.append(Untold(*bare, TOO_SHORT if ever else ALL_REACHED))
    return PegPlan(span, until, tuple(stands), tuple(untold), (), unsure, back, largest, surge_m)


def _limit(sources: Sources, ground: Ground, surge_m: float | None, largest: float) -> TimeFunction:
    """Return the level that no peg may be reached by [m above the zero of the ground], at instants."""

    def limit(at: IntArray | FloatArray) -> FloatArray:
        there = Frame(sources, np.rint(np.asarray(at)).astype(np.int64))
        wetted = wetted_level(ground, _still(there, surge_m), shore_sea(there).waves, largest)
        return np.asarray(wetted + REACH_MARGIN_M)

    return limit


def _stretches(times_us: IntArray, why: AnyArray, notice: int) -> Iterator[tuple[int, int, str]]:
    """Return in time order when the run-up is known, with empty text, and when it is not, with why.

    Every stretch that is known ends ``notice`` before the run-up is not known any more, or the last instant.
    """
    here, end = int(times_us[0]), int(times_us[-1]) - notice
    borders = [0, *(1 + np.flatnonzero((why[1:] > 0) != (why[:-1] > 0))).tolist(), why.size]
    reasons: dict[str, None] = {}
    for first, after in pairwise(borders):
        start, last = int(times_us[first]), int(times_us[after - 1]) - notice
        if why[first] > 0:
            reasons |= {REASONS[code]: None for code in np.unique(why[first:after])}
        elif last > start:
            if here < start:
                yield here, start, "; ".join(reasons)
            yield start, last, ""
            here, reasons = last, {}
    if here < end:
        yield here, end, "; ".join(reasons)


def _said(known: RunUp) -> tuple[str, ...]:
    """Return why there is no run-up, in words."""
    return tuple(
        reason if share > 0.995 else f"{reason} ({max(share, 0.01):.0%} of the session)"
        for reason, share in known.reasons().items()
    )


def _still(frame: Frame, surge_m: float | None) -> FloatArray:
    """Return the still level with surge; the uncertainty of the zero of the ground counts as water."""
    sources = frame.sources
    return frame.still_level + surge_at(sources.conditions, frame.times_us, surge_m) + sources.setting.uncertainty_m


def _largest(waves: Waves, span: TimeSpan) -> float:
    """Return how many times R2 the largest run-up of the outing is, of a thousand waves at least."""
    minutes = (span.end_us - span.start_us) / US_PER_MINUTE
    shortest = np.nanmin(waves.zero_crossing_period) if np.isfinite(waves.zero_crossing_period).any() else np.nan
    count = np.fmax(float(waves_in(minutes, shortest)), WAVES_IN_MARGIN)
    return float(np.ceil(largest_over_r2(count) / _LARGEST_STEP) * _LARGEST_STEP)


def turning_back(
    sources: Sources, span: TimeSpan, surge_m: float | None = None, allowances: Allowances = USUAL
) -> tuple[TurnBack | None, tuple[str, ...]]:
    """Return when to turn back in an outing, and why that is not known.

    Where the sill is under water when the outing begins it is when turning back was due, looked for in the day before.
    It is told where it is due up to three hours after the walk out, as hazards tell it: who is late must know.
    The surge is the one given or, where none is, that of the pressure; one below 0 is not counted on.
    """
    setting = sources.setting
    missing = setting.missing("minutes_to_turn_back")
    if missing:
        return None, tuple(f"turn-back not assessed: {one}" for one in missing)
    way = setting.way
    assert way is not None
    assert way.walk_min is not None
    lead_min = way.lead_with(allowances)
    assert lead_min is not None
    above = setting.uncertainty_m - setting.zero_m
    lead = round(lead_min * US_PER_MINUTE)
    first = span.start_us - _LOOK_BACK_US
    way = replace(way, walk_min=way.walk_min * allowances.pace)
    assert way.walk_min is not None
    last = min(span.end_us + lead + round((way.walk_min + NAMED_MIN) * US_PER_MINUTE), sources.tables.end_us)

    def level(at: IntArray | FloatArray) -> FloatArray:
        return upper_level(sources.tables, at) + above + np.maximum(surge_at(sources.conditions, at, surge_m), 0.0)

    spans = covered_spans(level, way.sill_m - allowances.sill_margin_m, first, last)
    ahead = spans[spans[:, 1] > span.start_us]
    if not len(ahead):
        return TurnBack(way, None, None, looked_us=last), ()
    covered = int(ahead[0, 0])
    return TurnBack(way, covered - lead, covered, covered <= first, last), ()


def minutes_left(sources: Sources, time_us: int, surge_m: float | None = None, allowances: Allowances = USUAL) -> float:
    """Return the minutes from an instant until turning back; NaN where that is not known.

    They are those to what `turning_back` tells of an outing that begins then; negative where it was due before, and no
    more than a day.
    """
    ends = from_microseconds(np.array([time_us, time_us + round(LONGEST_LEFT_MIN * US_PER_MINUTE)], dtype=np.int64))
    found, _ = turning_back(sources, TimeSpan(*ends), surge_m, allowances)
    if found is None or np.isnan(sources.curve(np.array([time_us]))).any():
        return float("nan")
    if found.time_us is None:
        return LONGEST_LEFT_MIN
    return min((found.time_us - time_us) / US_PER_MINUTE, LONGEST_LEFT_MIN)


def _stand(sources: Sources, move: PegMove, surge_m: float | None) -> Stand:
    frame = Frame(sources, np.array([move.time_us], dtype=np.int64))
    still, rises = float(_still(frame, surge_m)[0]), float(frame.rate[0]) > 0.0
    if move.metres == 0.0 and move.minutes == 0.0:
        return Stand(move, "set_up", still)
    if move.metres > 0.0:
        return Stand(move, "sea_falls" if rises else "ebb", still)
    return Stand(move, "flood" if rises else "sea_rises", still)
