"""Search for windows: marks x rules over a span."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.errors import SearchTooLarge, SpanTooLong
from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView, of_one_mark
from service.usecases.species_rules import SPECIES_RULES, RuleView
from service.usecases.stations import ServedModel, model_of
from tidecore.sky import SkyPositions, sky_positions
from tidecore.timebase import TimeSpan
from tidecore.timeline import build_timeline
from tidecore.windows import Explanation, Window, explain, find_all_windows

#: Timelines look for sun and moon so far beyond their span.
_SKY_REACH_DAYS = 4.0


@dataclass(frozen=True, slots=True)
class FoundWindow:
    """A window, with the mark and the rule it belongs to."""

    mark: MarkView
    rule: RuleView
    window: Window


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


#: The marks of a search with their tides, the rules, and the conditions of each mark by its id.
_Wanted = tuple[list[tuple[MarkView, ServedModel]], list[RuleView], dict[str, MarkConditions]]


def search_windows(
    context: Context,
    caller: Caller,
    span: TimeSpan,
    mark_ids: Sequence[str] | None,
    rule_ids: Sequence[str] | None,
) -> SearchResult:
    """Return the windows of rules at marks over a span; all marks, all rules where none are named.

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
    served, rules, conditions = _wanted(context, caller, mark_ids, rule_ids, max(1.0, span.days))
    windows: list[FoundWindow] = []
    nothing: list[Nothing] = []
    if rules and served:
        # Where sun and moon stand is the same for every mark: once for the search, and as far as key times reach.
        reach = span.padded(_SKY_REACH_DAYS)
        sky = sky_positions(reach.start, reach.end)
        for view, model in served:
            with of_one_mark(view):
                found, without = _search_mark(view, model, rules, span, sky, conditions[view.record.id])
            windows += found
            nothing += without
    windows.sort(key=lambda one: (-one.window.score_hours, one.window.start, one.mark.record.id))
    return SearchResult(span, served, conditions, rules, windows, nothing)


def _wanted(
    context: Context,
    caller: Caller,
    mark_ids: Sequence[str] | None,
    rule_ids: Sequence[str] | None,
    days: float,
) -> _Wanted:
    """Return the marks named, each once with the tide of its station, the rules, and what is told of the marks.

    All of them where none are named. As long as nobody has written anything since, they are those of the last time,
    whatever the span: so all that is told of the marks is read.
    """
    asked = (caller.account_id, *(None if ids is None else tuple(ids) for ids in (mark_ids, rule_ids)))
    # Before the store is read: a write in between makes what was found forgotten, not wrong.
    pulse = context.store.pulse.read()
    found: _Wanted | None = None
    if pulse is not None:
        found = context.wanted.find(asked, pulse)
    if found is not None:
        _refuse_too_large(context, len(found[0]), len(found[1]), days)
        return found
    with context.store.unit(caller.account_id) as unit:
        marks, rules = _named(context, unit, mark_ids, rule_ids)
        _refuse_too_large(context, len(marks), len(rules), days)
        stations = unit.stations.many(list({view.document.station for view in marks}))
        models = {key: model_of(context, unit, station, None) for key, station in stations.items()}
        conditions = find_conditions(context, unit, marks)
    served = [(view, models[view.document.station]) for view in marks]
    if pulse is not None:
        context.wanted.keep(asked, pulse, (served, rules, conditions))
    return served, rules, conditions


def _refuse_too_large(context: Context, marks: int, rules: int, days: float) -> None:
    cells = marks * rules * days
    if cells > context.settings.max_search_cells:
        raise SearchTooLarge(cells, context.settings.max_search_cells)


def _named(
    context: Context, unit: UnitOfWork, mark_ids: Sequence[str] | None, rule_ids: Sequence[str] | None
) -> tuple[list[MarkView], list[RuleView]]:
    """Return the marks and rules named, each once, or all of them."""
    most = context.settings.max_search_cells
    marks = MARKS.all(context, unit, most) if mark_ids is None else MARKS.find(context, unit, _once(mark_ids))
    rules = (
        SPECIES_RULES.all(context, unit, most)
        if rule_ids is None
        else SPECIES_RULES.find(context, unit, _once(rule_ids))
    )
    return marks, rules


def _once(ids: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(ids))


def _search_mark(
    view: MarkView,
    served: ServedModel,
    rules: Sequence[RuleView],
    span: TimeSpan,
    sky: SkyPositions,
    told: MarkConditions,
) -> tuple[list[FoundWindow], list[Nothing]]:
    """Return the windows at one mark, and the rules that have none there."""
    names = tuple(dict.fromkeys(name for rule in rules for name in rule.document.factor_names))
    timeline = build_timeline(
        view.document, served.model, span.start, span.end, sky=sky, names=names, conditions=told.conditions
    )
    windows: list[FoundWindow] = []
    nothing: list[Nothing] = []
    for rule, found in zip(rules, find_all_windows([rule.document for rule in rules], timeline), strict=True):
        windows += [FoundWindow(view, rule, window) for window in found]
        if not found:
            nothing.append(Nothing(view, rule, explain(rule.document, timeline)))
    return windows, nothing
