"""Run of the tide at a station: the flow index on an even grid."""

from __future__ import annotations

from dataclasses import dataclass

from service.security import Caller
from service.usecases.context import Context
from service.usecases.heights import check_points
from service.usecases.stations import ServedModel, serve_model
from tidecore.flow import SlackLags
from tidecore.timebase import US_PER_SECOND, TimeGrid, TimeSpan
from tidecore.units import FloatArray


@dataclass(frozen=True, slots=True)
class FlowSeries:
    """Flow index, + flood, - ebb; reliable only where slack lags are given."""

    served: ServedModel
    grid: TimeGrid
    index: FloatArray
    reliable: bool


def predict_flow(
    context: Context,
    caller: Caller,
    station_id: str,
    span: TimeSpan,
    step_us: int,
    version: int | None,
    lags: SlackLags | None,
) -> FlowSeries:
    """Return the flow index of a station, from the start of the span every step.

    Raises
    ------
    TooManyPoints
        If there are more instants than the limit.
    InvalidInput
        If the slack lags put times out of order.
    """
    check_points(span, step_us, 1, context.settings.max_points)
    grid = TimeGrid.spanning(span.start, span.end, step_us // US_PER_SECOND)
    with context.store.unit(caller.account_id) as unit:
        served = serve_model(context, unit, station_id, version)
    index = served.model.flow_index(grid, lags)
    return FlowSeries(served, grid, index, lags is not None)
