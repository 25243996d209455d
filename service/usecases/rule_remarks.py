"""Remarks on a species rule as it would stand at a mark over a span."""

from __future__ import annotations

from dataclasses import dataclass

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.conditions import find_conditions
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView, of_one_mark
from service.usecases.species_rules import SPECIES_RULES, RuleView
from service.usecases.stations import serve_models
from tidecore.rules import Remark, Suitability, lint, rule_at, suitability
from tidecore.timebase import TimeSpan
from tidecore.timeline import build_timeline


@dataclass(frozen=True, slots=True)
class RuleRemarks:
    """Remarks on a rule at a mark over a span, and what is known of the ground there."""

    rule: RuleView
    mark: MarkView
    span: TimeSpan
    suitability: Suitability
    remarks: tuple[Remark, ...]


def remarks_on(context: Context, caller: Caller, rule_id: str, mark_id: str, span: TimeSpan) -> RuleRemarks:
    """Return what the author of a rule can hardly mean at a mark over a span.

    Raises
    ------
    NotFound, NoModel
        If the rule or the mark is not there, or the station of the mark has no model yet.
    SpanTooLong
        If the span exceeds that of a search.
    """
    limit_days = context.settings.max_search_days
    if span.days > limit_days:
        raise SpanTooLong(span.days, limit_days, "EBBMARK_MAX_SEARCH_DAYS")
    with context.store.unit(caller.account_id) as unit:
        (rule,) = SPECIES_RULES.find(context, unit, [rule_id])
        (mark,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [mark.document.station], None)
        told = find_conditions(context, unit, [mark], span)[mark.record.id]
    with of_one_mark(mark):
        here = rule_at(rule.document, mark.document)
        timeline = build_timeline(
            mark.document,
            served.model,
            span.start,
            span.end,
            names=here.factor_names,
            conditions=told.conditions,
        )
        found = lint(here, timeline=timeline)
    return RuleRemarks(rule, mark, span, suitability(here, mark.document), found)
