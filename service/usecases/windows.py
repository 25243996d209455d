"""Search for windows: marks x rules over a span."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.conditions import MarkConditions
from service.usecases.context import Context
from service.usecases.marks import MarkView, of_one_mark
from service.usecases.safety_thresholds import read_thresholds
from service.usecases.searching import find_wanted, search_together, shared_sky
from service.usecases.species_rules import RuleView
from service.usecases.stations import ServedModel
from tidecore.filters import Filter
from tidecore.safety import Care, HazardReport, OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import Explanation, Window, explain, find_windows_at_marks


@dataclass(frozen=True, slots=True)
class FoundWindow:
    """A window, with the mark and the rule it belongs to, and how hazards are minded there."""

    mark: MarkView
    rule: RuleView
    window: Window
    timeline: Timeline
    care: Care

    def hazards(self) -> HazardReport:
        """Return what is known against being there for all of the window, with the walk in and out."""
        return self.care.stay(self.timeline, self.window.start, self.window.end)


@dataclass(frozen=True, slots=True)
class Nothing:
    """A mark and a rule without a window, and why."""

    mark: MarkView
    rule: RuleView
    explanation: Explanation


@dataclass(frozen=True, slots=True)
class SearchResult:
    """What a search found, best first, and what it rests on."""

    span: TimeSpan
    marks: Sequence[tuple[MarkView, ServedModel]]
    conditions: Mapping[str, MarkConditions]
    rules: Sequence[RuleView]
    windows: Sequence[FoundWindow]
    nothing: Sequence[Nothing]
    within: Filter | None = None


def search_windows(
    context: Context,
    caller: Caller,
    span: TimeSpan,
    mark_ids: Sequence[str] | None,
    rule_ids: Sequence[str] | None,
    within: Filter | None = None,
    facts: OutingFacts | None = None,
    include_dangerous: bool = False,
) -> SearchResult:
    """Return the windows of rules at marks over a span; all marks, all rules where none are named.

    Windows lie where the filter ``within`` is true and, unless what is dangerous is to be shown, out of danger by the
    thresholds of the account for whoever goes, ``facts``.

    Raises
    ------
    NotFound, NoModel
        If a mark or rule is not there, or the station of a mark has no model yet.
    SpanTooLong, SearchTooLarge
        If the search exceeds the limits.
    """
    limit_days = context.settings.max_search_days
    if span.days > limit_days:
        raise SpanTooLong(span.days, limit_days, "EBBMARK_MAX_SEARCH_DAYS")
    served, rules, conditions = find_wanted(context, caller, mark_ids, rule_ids, max(1.0, span.days))
    care = Care(read_thresholds(context, caller).thresholds, facts or OutingFacts(), include_dangerous)
    windows: list[FoundWindow] = []
    nothing: list[Nothing] = []
    if rules and served:
        lines, found = _search_marks(served, rules, span, conditions, within, care)
        for view, _ in served:
            line = lines[view.record.id]
            for rule, some in zip(rules, found[view.record.id], strict=True):
                windows += [FoundWindow(view, rule, window, line, care) for window in some]
                if not some:
                    with of_one_mark(view):
                        nothing.append(Nothing(view, rule, _why_none(rule, line, within, care)))
    windows.sort(key=lambda one: (-one.window.score_hours, one.window.start, one.mark.record.id))
    return SearchResult(span, served, conditions, rules, windows, nothing, within)


def _search_marks(
    served: Sequence[tuple[MarkView, ServedModel]],
    rules: Sequence[RuleView],
    span: TimeSpan,
    conditions: Mapping[str, MarkConditions],
    within: Filter | None,
    care: Care,
) -> tuple[dict[str, Timeline], Mapping[str, list[list[Window]]]]:
    """Return the timelines of marks, and rule by rule the windows at each; both by the ids of the marks."""
    filtered = () if within is None else within.factor_names
    names = tuple(dict.fromkeys([name for rule in rules for name in rule.document.factor_names] + list(filtered)))
    models = {view.record.id: one.model for view, one in served}
    documents = [rule.document for rule in rules]
    sky = shared_sky(span)

    def line(view: MarkView) -> Timeline:
        key = view.record.id
        told = conditions[key].conditions
        return build_timeline(view.document, models[key], span.start, span.end, sky=sky, names=names, conditions=told)

    def search(lines: Mapping[str, Timeline]) -> dict[str, list[list[Window]]]:
        found = find_windows_at_marks(documents, list(lines.values()), within=within, care=care)
        return dict(zip(lines, found, strict=True))

    return search_together([view for view, _ in served], line, search)


def _why_none(rule: RuleView, line: Timeline, within: Filter | None, care: Care) -> Explanation:
    why = explain(rule.document, line, within=within)
    return replace(why, sentences=(*why.sentences, *care.said(line)))
