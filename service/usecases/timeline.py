"""Timelines of one or many marks: chosen factors over a span."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.errors import DocumentInvalid, SpanTooLong
from service.security import Caller
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.extremes import check_total, span_query
from service.usecases.filtering import Rows, filter_rows
from service.usecases.heights import check_points
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.marks import MARKS, MarkView
from service.usecases.safety_thresholds import ThresholdsView, read_thresholds
from service.usecases.stations import ServedModel, serve_models
from tidecore.errors import Fault, one_of
from tidecore.filters import Filter
from tidecore.safety import WorstOfSteps, worst_in_steps
from tidecore.sky import sky_positions
from tidecore.timebase import TimeSpan
from tidecore.timeline import factors
from tidecore.timeline.build import build_timeline
from tidecore.timeline.columns import Timeline

#: Timelines look for sun and moon so far beyond their span.
_SKY_REACH_DAYS = 4.0


@dataclass(frozen=True, slots=True)
class TimelineBasis:
    """What timelines rest on: the marks, each with its tide and what is told of it, span, step, factors, filter.

    ``thresholds`` are those of hazards; None where no hazards are asked for.
    """

    marks: Sequence[tuple[MarkView, ServedModel]]
    conditions: Mapping[str, MarkConditions]
    span: TimeSpan
    step_us: int
    names: tuple[str, ...]
    within: Filter | None = None
    thresholds: ThresholdsView | None = None

    @property
    def inputs(self) -> Sequence[Input]:
        """The marks, each followed by its station and its conditions."""
        return [
            one
            for view, served in self.marks
            for one in (mark_input(view), station_input(served), *self.conditions[view.record.id].inputs)
        ]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, the step, the factors and the filter."""
        return {
            "series": "timeline",
            **span_query(self.span),
            "step_us": self.step_us,
            "factors": list(self.names),
            "filter": None if self.within is None else self.within.canonical,
            **({} if self.thresholds is None else {"hazards": self.thresholds.state}),
        }


@dataclass(frozen=True, slots=True)
class TimelineView:
    """A timeline, what it rests on, and what a filter does to its rows; None without one."""

    mark: MarkView
    served: ServedModel
    conditions: MarkConditions
    timeline: Timeline
    rows: Rows | None
    hazards: WorstOfSteps | None


def find_timeline_basis(
    context: Context,
    caller: Caller,
    mark_ids: Sequence[str],
    span: TimeSpan,
    step_us: int,
    names: Sequence[str] | None,
    version: int | None,
    within: Filter | None = None,
    *,
    hazards: bool = False,
) -> TimelineBasis:
    """Return what the timelines of marks rest on; ``names`` chooses factors, all of them unless given.

    Rows where the filter ``within`` is not true are left out of them. With ``hazards`` the worst hazards of each step
    are worked out too, by the thresholds of the account and with nothing known of who goes.

    Raises
    ------
    DocumentInvalid
        If a factor is not known.
    NotFound, NoModel
        If a mark, or a version of its station, is not there, or the station has no model.
    SpanTooLong, TooManyPoints
        If the span, or marks times factors times instants, exceed the limits.
    """
    ids = list(dict.fromkeys(mark_ids))
    wanted = _wanted(names)
    settings = context.settings
    if span.days > settings.max_timeline_days:
        raise SpanTooLong(span.days, settings.max_timeline_days, "EBBMARK_MAX_TIMELINE_DAYS")
    check_total(span, len(ids), settings.max_span_days)
    made = set(wanted).union(() if within is None else within.factor_names)
    check_points(span, step_us, (len(made) + 3 * hazards) * len(ids), settings.max_points)
    thresholds = read_thresholds(context, caller) if hazards else None
    with context.store.unit(caller.account_id) as unit:
        views = MARKS.find(context, unit, ids)
        stations = list(dict.fromkeys(view.document.station for view in views))
        models = dict(zip(stations, serve_models(context, unit, stations, version), strict=True))
        conditions = find_conditions(context, unit, views, span)
    served = [(view, models[view.document.station]) for view in views]
    return TimelineBasis(served, conditions, span, step_us, wanted, within, thresholds)


def build_mark_timelines(basis: TimelineBasis) -> Sequence[TimelineView]:
    """Return the timeline of each mark."""
    sky = None
    if len(basis.marks) > 1:
        # Where sun and moon stand is the same for every mark.
        reach = basis.span.padded(_SKY_REACH_DAYS)
        sky = sky_positions(reach.start, reach.end)
    span, step = basis.span, np.timedelta64(basis.step_us, "us")
    timelines = [
        build_timeline(
            view.document,
            served.model,
            span.start,
            span.end,
            step=step,
            sky=sky,
            names=basis.names,
            conditions=basis.conditions[view.record.id].conditions,
        )
        for view, served in basis.marks
    ]
    return [
        TimelineView(
            view,
            served,
            basis.conditions[view.record.id],
            timeline,
            filter_rows(basis.within, timeline),
            None
            if basis.thresholds is None
            else worst_in_steps(timeline, timeline.times, step, basis.thresholds.thresholds),
        )
        for (view, served), timeline in zip(basis.marks, timelines, strict=True)
    ]


def _wanted(names: Sequence[str] | None) -> tuple[str, ...]:
    """Return the factors to make, each once; DocumentInvalid if one is not known."""
    registry = factors()
    wanted = tuple(registry) if names is None else tuple(dict.fromkeys(names))
    faults = [
        Fault("factor", f"there is no factor {ascii(name)[:60]}", one_of(registry, name))
        for name in wanted
        if name not in registry
    ]
    if faults:
        raise DocumentInvalid(faults)
    return wanted
