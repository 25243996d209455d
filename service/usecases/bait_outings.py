"""Search for bait outings: low waters below a level, in daylight, at marks over a span."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.security import Caller
from service.usecases.conditions import MarkConditions
from service.usecases.context import Context
from service.usecases.marks import MarkView, of_one_mark
from service.usecases.safety_thresholds import read_thresholds
from service.usecases.searching import check_search_span, find_marks_wanted, search_timeline, shared_sky
from service.usecases.stations import ServedModel
from tidecore.calendars import FreeTime
from tidecore.safety import Care, OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.windows import BaitOuting, bait_dangers, find_bait_outings


@dataclass(frozen=True, slots=True)
class BaitQuestion:
    """What is asked: where, over what span, below what level [m above the datum of each mark's heights]."""

    span: TimeSpan
    mark_ids: Sequence[str] | None
    below_m: float
    in_daylight: bool
    least_min: float
    travel_min: float
    free_time: FreeTime | None
    facts: OutingFacts
    include_dangerous: bool


@dataclass(frozen=True, slots=True)
class FoundBait:
    """A bait outing and the mark it is at."""

    mark: MarkView
    outing: BaitOuting


@dataclass(frozen=True, slots=True)
class BaitResult:
    """What was found, best first, and what it rests on."""

    span: TimeSpan
    marks: Sequence[tuple[MarkView, ServedModel]]
    conditions: Mapping[str, MarkConditions]
    found: Sequence[FoundBait]
    said: Sequence[str]


def search_bait_outings(context: Context, caller: Caller, question: BaitQuestion) -> BaitResult:
    """Return when bait can be gathered at marks over a span; at all marks where none are named.

    Raises
    ------
    NotFound, NoModel
        If a mark is not there, or its station has no model yet.
    SpanTooLong, SearchTooLarge
        If the search exceeds the limits.
    """
    check_search_span(context, question.span)
    served, _, conditions = find_marks_wanted(context, caller, question.mark_ids, max(1.0, question.span.days))
    sky = shared_sky(question.span)
    care = Care(read_thresholds(context, caller).thresholds, question.facts, question.include_dangerous)
    found: list[FoundBait] = []
    said: list[str] = []
    for view, model in served:
        with of_one_mark(view):
            timeline = search_timeline(
                view, model, (), question.span, sky, conditions[view.record.id], question.free_time
            )
            outings = find_bait_outings(
                timeline,
                question.below_m,
                in_daylight=question.in_daylight,
                least_min=question.least_min,
                travel_min=question.travel_min,
                care=care,
            )
        said += bait_dangers(timeline, care)
        found += [FoundBait(view, outing) for outing in outings]
    found.sort(key=lambda one: (-round(one.outing.below_h, 9), one.outing.start, one.mark.record.id))
    return BaitResult(question.span, served, conditions, found, said)
