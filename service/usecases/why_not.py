"""Why a rule does not hold at a mark at an instant or over a span, and when it would."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.security import Caller
from service.usecases.conditions import MarkConditions
from service.usecases.context import Context
from service.usecases.marks import MarkView, of_one_mark
from service.usecases.safety_thresholds import read_thresholds
from service.usecases.searching import check_search_span, find_wanted, search_timeline, shared_sky
from service.usecases.species_rules import RuleView
from service.usecases.stations import ServedModel
from tidecore.safety import Care, HazardReport, OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.windows import WhyNot, explain_why_not


@dataclass(frozen=True, slots=True)
class WhyNotResult:
    """What stands in the way, and what the answer rests on; ``looked_at`` is where the nearest windows were sought."""

    mark: MarkView
    served: ServedModel
    conditions: MarkConditions
    rule: RuleView
    looked_at: TimeSpan
    why_not: WhyNot
    hazards: HazardReport


def find_why_not(
    context: Context,
    caller: Caller,
    mark_id: str,
    rule_id: str,
    asked: TimeSpan | np.datetime64,
    around_days: float,
    facts: OutingFacts,
) -> WhyNotResult:
    """Return why a rule does not hold at a mark at an instant or over a span, looking so many days around it.

    Raises
    ------
    NotFound, NoModel
        If the mark or the rule is not there, or the station of the mark has no model yet.
    SpanTooLong
        If the span with what is around it exceeds the limit.
    """
    span = asked if isinstance(asked, TimeSpan) else TimeSpan(asked, asked + np.timedelta64(1, "m"))
    around = span.padded(around_days)
    check_search_span(context, around)
    served, rules, conditions = find_wanted(context, caller, [mark_id], [rule_id], around.days)
    (view, model), rule = served[0], rules[0]
    with of_one_mark(view):
        timeline = search_timeline(view, model, rules, around, shared_sky(around), conditions[mark_id])
        end = asked.end if isinstance(asked, TimeSpan) else None
        found = explain_why_not(rule.document, timeline, span.start, end)
        care = Care(read_thresholds(context, caller).thresholds, facts)
        hazards = care.stay(timeline, span.start, span.end)
    return WhyNotResult(view, model, conditions[mark_id], rule, around, found, hazards)
