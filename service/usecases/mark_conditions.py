"""Conditions at a mark over a span: every issue merged, what each value rests on, and what follows from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.extremes import span_query
from service.usecases.heights import check_points
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.marks import MARKS, MarkView
from service.usecases.stations import ServedModel, serve_models
from tidecore.conditions import VARIABLES, Basis, Conditions
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline, factors
from tidecore.units import AnyArray

#: What issues give, and the factors that follow from it: not those that are a variable as it was given.
VARIABLE_NAMES = tuple(variable.name for variable in VARIABLES)
FACTOR_NAMES = tuple(
    name
    for name, factor in factors().items()
    if factor.group == "sea_and_air"
    and not (factor.kind == "number" and any(variable.startswith(f"{name}_") for variable in VARIABLE_NAMES))
)


@dataclass(frozen=True, slots=True)
class MarkConditionsBasis:
    """What the conditions at a mark over a span rest on."""

    mark: MarkView
    served: ServedModel
    told: MarkConditions
    span: TimeSpan
    step_us: int

    @property
    def inputs(self) -> Sequence[Input]:
        """The mark, its station, and all that is told of it."""
        return [mark_input(self.mark), station_input(self.served), *self.told.inputs]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span and the step."""
        return {"series": "conditions", **span_query(self.span), "step_us": self.step_us}


@dataclass(frozen=True, slots=True)
class MarkConditionsView:
    """The conditions at a mark on an even grid.

    ``values`` are the merged variables and ``timeline`` has the factors of sea and air. ``bases`` say for each
    variable that is known at all which issues it rests on; ``sentences`` say in words what is unknown.
    """

    basis: MarkConditionsBasis
    timeline: Timeline
    values: Mapping[str, AnyArray]
    bases: Sequence[Basis]
    sentences: Sequence[str]
    unknown: Sequence[str]


def find_mark_conditions_basis(
    context: Context, caller: Caller, mark_id: str, span: TimeSpan, step_us: int
) -> MarkConditionsBasis:
    """Return what the conditions at a mark over a span rest on.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    SpanTooLong, TooManyPoints
        If the span, or its instants times the columns, exceed the limits.
    """
    settings = context.settings
    if span.days > settings.max_timeline_days:
        raise SpanTooLong(span.days, settings.max_timeline_days, "EBBMARK_MAX_TIMELINE_DAYS")
    check_points(span, step_us, len(VARIABLE_NAMES) + len(FACTOR_NAMES), settings.max_points)
    with context.store.unit(caller.account_id) as unit:
        (view,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [view.document.station], None)
        told = find_conditions(context, unit, [view], span)[mark_id]
    return MarkConditionsBasis(view, served, told, span, step_us)


def merge_mark_conditions(basis: MarkConditionsBasis) -> MarkConditionsView:
    """Return the conditions at a mark over a span; what nobody said is unknown, and named."""
    span, conditions = basis.span, basis.told.conditions or Conditions.of(())
    timeline = build_timeline(
        basis.mark.document,
        basis.served.model,
        span.start,
        span.end,
        step=np.timedelta64(basis.step_us, "us"),
        names=FACTOR_NAMES,
        conditions=conditions,
    )
    times_us = timeline.grid.times_us()
    values = {name: conditions.at(name, times_us) for name in VARIABLE_NAMES}
    bases = [conditions.basis(name, span) for name in VARIABLE_NAMES]
    measured = [variable.name for variable in VARIABLES if variable.kind != "category"]
    unknown = [name for name, column in values.items() if not _known(column).any()]
    known = [one for one in bases if one.uses]
    sentences = conditions.sentences(span, measured)
    return MarkConditionsView(basis, timeline, values, known, sentences, [*unknown, *timeline.unknown_names()])


def _known(column: AnyArray) -> AnyArray:
    """Return where a column of numbers, or of text, is known."""
    return ~np.isnan(column) if column.dtype.kind == "f" else column != ""
