"""The sessions of a month at a mark, as a plan keeps them: the best of them, each told briefly, all told at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.calendars import ClockChange, clock_changes
from tidecore.safety import HazardReport
from tidecore.timeline import KeyTime, Timeline, find_factor
from tidecore.units import AnyArray
from tidecore.windows.curves import MarkSearch
from tidecore.windows.fished import FishedPart, account_for, parts_fished
from tidecore.windows.found import Found
from tidecore.windows.nothing import explain_no_outings
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import Outing, find_outings
from tidecore.windows.ranking import RankedOuting, local_days, rank_outings
from tidecore.windows.sessions import limiting_factors
from tidecore.windows.verdicts import FishableGrade, grade_stays
from tidecore.windows.window import BestHour, BriefWindow

#: Factors that a plan tells of the middle of each best hour.
AT_BEST = (
    "height",
    "flow_index",
    "range_ratio",
    "light",
    "wave_height",
    "wave_peak_period",
    "wind_speed",
    "wind_from",
)


@dataclass(frozen=True, slots=True)
class PlannedSession:
    """One session of a plan.

    Parameters
    ----------
    rank : int
        Its place among those of the mark, from 1.
    worth_h : float
        By which it is ranked: the integral over the fishing of the best score of all rules [h].
    date_local : str
        Date of the arrival by the clocks of the mark.
    outing : Outing
        When to be there, with the way there and back.
    best_hour : BestHour
        The hour of the best score; the whole where it is shorter.
    windows : tuple of FishedPart
        The parts of windows that are fished, in time order.
    rule : str or None
        The rule that gives most.
    limiting_factor : str or None
        What takes most from that rule over the fishing.
    fishable : str
        Whether the mark fishes meanwhile.
    hazards : HazardReport
        What is known against it, from walking in to walking out.
    key_times : tuple of KeyTime
        What happens from arriving to leaving.
    at_best : mapping of str to float, str or None
        Factors at the middle of the best hour, None where unknown.
    unknowns : tuple of str
        Factors of the rules that are unknown for a part of the windows.
    """

    rank: int
    worth_h: float
    date_local: str
    outing: Outing
    best_hour: BestHour
    windows: tuple[FishedPart[BriefWindow], ...]
    rule: str | None
    limiting_factor: str | None
    fishable: FishableGrade
    hazards: HazardReport
    key_times: tuple[KeyTime, ...]
    at_best: Mapping[str, float | str | None]
    unknowns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlannedMark:
    """A mark in a plan: how many sessions there are, the best of them in time order, why there is none.

    ``clock_changes`` are those of the mark's clocks in the span, ``datum`` is what heights there are above.
    """

    found: int
    sessions: tuple[PlannedSession, ...]
    nothing: tuple[str, ...]
    clock_changes: tuple[ClockChange, ...]
    datum: str


def plan_sessions(
    search: MarkSearch,
    options: SessionOptions,
    *,
    travel_min: float = 0.0,
    most: int | None = None,
    diverse: bool = True,
) -> PlannedMark:
    """Return the sessions of a search at one mark as a plan keeps them.

    Parameters
    ----------
    search : MarkSearch
        What the rules find there; free time is that of its timeline.
    options : SessionOptions
        How an angler goes out.
    travel_min : float
        The way there, and the way back [min].
    most : int, optional
        Most sessions that are kept: the first by rank.
    diverse : bool
        Whether a session counts less beside those like it that are ranked before it.

    Notes
    -----
    The same sessions as `find_outings` has, with hazards as `assess` has them; what is the same work for all of them
    is done once.
    """
    return plan_marks({search.key: search}, options, travel_min=travel_min, most=most, diverse=diverse)[search.key]


def plan_marks(
    searches: Mapping[str, MarkSearch],
    options: SessionOptions,
    *,
    travel_min: float = 0.0,
    most: int | None = None,
    diverse: bool = True,
) -> dict[str, PlannedMark]:
    """Return the sessions of several marks by key, each as `plan_sessions` has them, and windows told in one go."""
    found: dict[str, list[Outing]] = {}
    kept: dict[str, list[RankedOuting]] = {}
    for key, search in searches.items():
        outings = find_outings(search, options, search.timeline.sources.free_us, travel_min)
        ranked = rank_outings(outings, {search.key: search}, diverse=diverse, each=most)
        found[key], kept[key] = outings, sorted(ranked, key=lambda one: one.outing.order)
    legs = [(search.curves, [one.outing.legs[0] for one in kept[key]]) for key, search in searches.items()]
    account_for(legs, briefly=True)
    limits = _limits(searches, kept)
    return {
        key: _told(search, kept[key], len(found[key]), limits[key])
        if found[key]
        else _nothing(search, options, travel_min)
        for key, search in searches.items()
    }


def _nothing(search: MarkSearch, options: SessionOptions, travel_min: float) -> PlannedMark:
    said = explain_no_outings(search, options, search.timeline.sources.free_us, travel_min)
    return _planned(search, 0, (), said)


def _planned(search: MarkSearch, found: int, sessions: Sequence[PlannedSession], nothing: Sequence[str]) -> PlannedMark:
    timeline = search.timeline
    changes = clock_changes(timeline.mark.zone, timeline.span)
    return PlannedMark(found, tuple(sessions), tuple(nothing), changes, timeline.datum)


def _told(
    search: MarkSearch, kept: Sequence[RankedOuting], found: int, limits: Sequence[tuple[str | None, str | None]]
) -> PlannedMark:
    """Return what a plan keeps of a mark: of so many outings that were found those in time order.

    ``limits`` are the rule that gives most of each, and what takes most from it.
    """
    timeline, chosen = search.timeline, [one.outing for one in kept]
    hazards = _hazards(search, chosen)
    fishable = grade_stays(timeline, [(one.legs[0].start_us, one.legs[0].end_us) for one in chosen])
    columns = _at_best(timeline, chosen)
    days = local_days({search.key: search}, chosen)
    events = timeline.events_of_parts([(one.arrive_us, one.leave_us) for one in chosen])
    fished = parts_fished(search.curves, [one.legs[0] for one in chosen], Found.briefly)
    sessions = []
    for k, one in enumerate(kept):
        outing, leg, windows, (rule, limiting) = one.outing, one.outing.legs[0], fished[k], limits[k]
        start, end = (np.datetime64(ticks, "us") for ticks in outing.best_us)
        sessions.append(
            PlannedSession(
                rank=one.rank,
                worth_h=one.worth_h,
                date_local=days[k],
                outing=outing,
                best_hour=BestHour(start, end, outing.best_score, outing.best_us == (leg.start_us, leg.end_us)),
                windows=tuple(windows),
                rule=rule,
                limiting_factor=limiting,
                fishable=fishable[k],
                hazards=hazards[k],
                key_times=events[k],
                at_best={name: column[k] for name, column in columns.items()},
                unknowns=tuple(sorted({name for part in windows for name in part.window.unknowns})),
            )
        )
    return _planned(search, found, sessions, ())


def _hazards(search: MarkSearch, outings: Sequence[Outing]) -> list[HazardReport]:
    return search.care.stays(search.timeline, [(one.arrive_us, one.leave_us) for one in outings])


def _giving_most(outing: Outing) -> str | None:
    """Return the rule that gives most, the first by key of equals."""
    hours = outing.rule_hours
    return min(hours, key=lambda key: (-round(hours[key], 9), key), default=None)


def _limits(
    searches: Mapping[str, MarkSearch], kept: Mapping[str, Sequence[RankedOuting]]
) -> dict[str, list[tuple[str | None, str | None]]]:
    """Return the rule that gives most of each outing, and what takes most from it over the fishing."""
    rules = {key: [_giving_most(one.outing) for one in some] for key, some in kept.items()}
    curves = {(key, one.key): one for key, search in searches.items() for one in search.curves}
    places = [(key, k, rule) for key, some in rules.items() for k, rule in enumerate(some) if rule is not None]
    legs = [(curves[key, rule], kept[key][k].outing.legs[0]) for key, k, rule in places]
    factors = {(key, k): one for (key, k, _), one in zip(places, limiting_factors(legs), strict=True)}
    return {key: [(rule, factors.get((key, k))) for k, rule in enumerate(some)] for key, some in rules.items()}


def _at_best(timeline: Timeline, outings: Sequence[Outing]) -> dict[str, list[float | str | None]]:
    """Return factors at the middle of each best hour, None where unknown."""
    middles = np.array([(one.best_us[0] + one.best_us[1]) // 2 for one in outings], dtype=np.int64)
    columns = timeline.at(middles, AT_BEST)
    return {name: _plain(name, column) for name, column in columns.items()}


def _plain(name: str, column: AnyArray) -> list[float | str | None]:
    known = find_factor(name).known(column)
    return [value if there else None for value, there in zip(column.tolist(), known.tolist(), strict=True)]
