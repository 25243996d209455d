"""One outing to one mark: the mark, its tide, what is told of it, and the timeline around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.security import Caller
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.extremes import span_query
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.marks import MARKS, MarkView
from service.usecases.stations import ServedModel, serve_models
from tidecore.errors import Fault, InvalidSpan
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline

#: An outing is no longer than this [days].
MOST_DAYS = 2.0
#: The timeline of an outing reaches so far around it [days]: the walk in and out lie in it.
_AROUND_DAYS = 0.5


@dataclass(frozen=True, slots=True)
class OutingBasis:
    """What an answer about one outing rests on, found before anything is computed; ``asked`` is the rest of it."""

    mark: MarkView
    served: ServedModel
    told: MarkConditions
    span: TimeSpan
    asked: Mapping[str, Any]

    @property
    def inputs(self) -> Sequence[Input]:
        """The mark, its station, and all that is told of it."""
        return [mark_input(self.mark), station_input(self.served), *self.told.inputs]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, and what is asked of it."""
        return {**span_query(self.span), **self.asked}

    def timeline(self) -> Timeline:
        """Return the timeline of the mark around the outing; InvalidInput where its offsets make no tide."""
        around = self.span.padded(_AROUND_DAYS)
        conditions = self.told.conditions
        return build_timeline(
            self.mark.document, self.served.model, around.start, around.end, names=(), conditions=conditions
        )


def find_outing(
    context: Context, caller: Caller, mark_id: str, span: TimeSpan, asked: Mapping[str, Any]
) -> OutingBasis:
    """Return what an answer about an outing rests on.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    InvalidSpan
        If the outing is longer than two days.
    """
    if span.days > MOST_DAYS:
        raise InvalidSpan(
            Fault("end", f"{span.days:.1f} days after the start", f"an outing of {MOST_DAYS:g} days at most")
        )
    with context.store.unit(caller.account_id) as unit:
        (view,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [view.document.station], None)
        told = find_conditions(context, unit, [view], span)[mark_id]
    return OutingBasis(view, served, told, span, asked)
