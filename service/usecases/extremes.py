"""High and low waters of a station."""

from __future__ import annotations

from dataclasses import dataclass

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.context import Context
from service.usecases.stations import ServedModel, serve_model
from tidecore.extremes import Extremes
from tidecore.timebase import TimeSpan


@dataclass(frozen=True, slots=True)
class ExtremesView:
    """High and low waters and the model they come from."""

    served: ServedModel
    extremes: Extremes


def find_station_extremes(
    context: Context, caller: Caller, station_id: str, span: TimeSpan, version: int | None, *, secondary: bool
) -> ExtremesView:
    """Return the high and low waters in a span, with the ``secondary`` ones if asked for.

    Raises
    ------
    SpanTooLong
        If the span is longer than the limit.
    """
    limit = context.settings.max_span_days
    if span.days > limit:
        raise SpanTooLong(span.days, limit, "EBBMARK_MAX_SPAN_DAYS")
    with context.store.unit(caller.account_id) as unit:
        served = serve_model(context, unit, station_id, version)
    extremes = served.model.extremes(span.start, span.end)
    return ExtremesView(served, extremes if secondary else extremes.primaries())
