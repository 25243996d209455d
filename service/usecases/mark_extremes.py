"""High and low waters at a mark: its station's, or by its offsets its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.extremes import check_total, span_query
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.marks import MARKS, MarkView
from service.usecases.stations import ServedModel, serve_models
from tidecore.extremes import Extremes
from tidecore.offsets import check_offsets, place_tide
from tidecore.timebase import TimeSpan
from tidecore.units import BoolArray


@dataclass(frozen=True, slots=True)
class MarkExtremesBasis:
    """What the high and low waters at a mark rest on."""

    span: TimeSpan
    mark: MarkView
    served: ServedModel
    secondary: bool

    @property
    def inputs(self) -> tuple[Input, ...]:
        """The mark and its station."""
        return mark_input(self.mark), station_input(self.served)

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, and which extremes."""
        return {"series": "mark extremes", **span_query(self.span), "secondary": self.secondary}


@dataclass(frozen=True, slots=True)
class MarkExtremesView:
    """High and low waters at a mark; ``held`` where a difference of height was held, one for each."""

    basis: MarkExtremesBasis
    extremes: Extremes
    held: BoolArray


def find_mark_extremes_basis(
    context: Context, caller: Caller, mark_id: str, span: TimeSpan, *, secondary: bool
) -> MarkExtremesBasis:
    """Return what the high and low waters at a mark in a span rest on.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    SpanTooLong
        If the span is longer than the limit.
    """
    check_total(span, 1, context.settings.max_span_days)
    with context.store.unit(caller.account_id) as unit:
        (view,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [view.document.station], None)
    return MarkExtremesBasis(span, view, served, secondary)


def find_mark_extremes(basis: MarkExtremesBasis) -> MarkExtremesView:
    """Return the high and low waters; InvalidInput if the mark's offsets make no tide of its station's."""
    model, offsets, span = basis.served.model, basis.mark.document.offsets, basis.span
    if offsets is None:
        found = model.extremes(span.start, span.end)
        held = np.zeros(len(found), dtype=np.bool_)
    else:
        check_offsets(model.harmonics, offsets)
        tide = place_tide(model.harmonics, offsets, span.start, span.end)
        found, held = tide.extremes, tide.held
    if not basis.secondary:
        found, held = found.primaries(), held[found.primary]
    return MarkExtremesView(basis, found, held)
