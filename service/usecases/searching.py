"""What searches share: the marks and rules that are wanted, remembered, and the sky over all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from service.errors import SearchTooLarge, SpanTooLong
from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.inputs import mark_input, station_input
from service.usecases.marks import MARKS, MarkView, of_one_mark
from service.usecases.species_rules import SPECIES_RULES, RuleView
from service.usecases.stations import ServedModel, model_of
from tidecore.calendars import FreeTime
from tidecore.errors import InvalidInput
from tidecore.sky import SkyPositions, sky_positions
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline

T = TypeVar("T")

#: Timelines look for sun and moon so far beyond their span.
_SKY_REACH_DAYS = 4.0


#: The marks of a search with their tides, the rules, and the conditions of each mark by its id.
Wanted = tuple[list[tuple[MarkView, ServedModel]], list[RuleView], dict[str, MarkConditions]]


def shared_sky(span: TimeSpan) -> SkyPositions:
    """Return where sun and moon stand over a span: the same for every mark, and as far as key times reach."""
    reach = span.padded(_SKY_REACH_DAYS)
    return sky_positions(reach.start, reach.end)


def find_wanted(
    context: Context,
    caller: Caller,
    mark_ids: Sequence[str] | None,
    rule_ids: Sequence[str] | None,
    days: float,
) -> Wanted:
    """Return the marks named, each once with the tide of its station, the rules, and what is told of the marks.

    All of them where none are named. As long as nobody has written anything since, they are those of the last time,
    whatever the span: so all that is told of the marks is read.
    """
    asked = (caller.account_id, *(None if ids is None else tuple(ids) for ids in (mark_ids, rule_ids)))
    # Before the store is read: a write in between makes what was found forgotten, not wrong.
    pulse = context.store.pulse.read()
    found: Wanted | None = None
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


def search_timeline(
    view: MarkView,
    served: ServedModel,
    rules: Sequence[RuleView],
    span: TimeSpan,
    sky: SkyPositions,
    told: MarkConditions,
    free_time: FreeTime | None = None,
) -> Timeline:
    """Return the timeline of one mark that rules are searched on; one for all of them."""
    names = tuple(dict.fromkeys(name for rule in rules for name in rule.document.factor_names))
    return build_timeline(
        view.document,
        served.model,
        span.start,
        span.end,
        sky=sky,
        names=names,
        conditions=told.conditions,
        free_time=free_time,
    )


def search_together(
    marks: Sequence[MarkView],
    line: Callable[[MarkView], Timeline],
    search: Callable[[Mapping[str, Timeline]], Mapping[str, T]],
) -> tuple[dict[str, Timeline], Mapping[str, T]]:
    """Return the timelines of marks and what one search over all of them finds, by the ids of the marks.

    Raises
    ------
    InvalidInput
        If something does not fit at a mark; faults name the first such mark.
    """
    lines: dict[str, Timeline] = {}
    try:
        for view in marks:
            lines[view.record.id] = line(view)
        return lines, search(lines)
    except InvalidInput:
        # Many are searched as one, so the fault does not say where it is: only mark by mark does it come up again.
        found: dict[str, T] = {}
        for view in marks:
            key = view.record.id
            with of_one_mark(view):
                lines[key] = line(view)
                found |= search({key: lines[key]})
        return lines, found


def find_marks_wanted(context: Context, caller: Caller, mark_ids: Sequence[str] | None, days: float) -> Wanted:
    """Return the marks named, each once with the tide of its station, and what is told of them; no rules."""
    found = find_wanted(context, caller, mark_ids, (), days)
    _refuse_too_large(context, len(found[0]), 1, days)
    return found


def check_search_span(context: Context, span: TimeSpan) -> None:
    """Refuse a span longer than searches may have."""
    limit_days = context.settings.max_search_days
    if span.days > limit_days:
        raise SpanTooLong(span.days, limit_days, "EBBMARK_MAX_SEARCH_DAYS")


def state_of(wanted: Wanted) -> list[list[str]]:
    """Return all that a search rests on, each in its version, as plain values."""
    served, rules, conditions = wanted
    inputs = [
        one
        for view, model in served
        for one in (mark_input(view), station_input(model), *conditions[view.record.id].inputs)
    ]
    found = [[one.kind, one.key, str(one.version), one.stamp.isoformat()] for one in inputs]
    return found + [
        ["rule", view.record.id, str(view.record.version), view.record.updated_at.isoformat()] for view in rules
    ]
