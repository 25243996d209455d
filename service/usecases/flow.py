"""Run of the tide at one or many stations: the flow index on an even grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.heights import check_points, grid_query
from service.usecases.inputs import Input, station_input
from service.usecases.stations import ServedModel, serve_models
from tidecore.flow import SlackLags
from tidecore.timebase import US_PER_SECOND, TimeGrid, TimeSpan
from tidecore.units import FloatArray


@dataclass(frozen=True, slots=True)
class FlowBasis:
    """What a flow index rests on: the stations, the grid, and when the stream turns, where that is known."""

    grid: TimeGrid
    stations: Sequence[ServedModel]
    lags: SlackLags | None

    @property
    def inputs(self) -> Sequence[Input]:
        """The stations."""
        return [station_input(served) for served in self.stations]

    @property
    def query(self) -> Mapping[str, Any]:
        """The grid and the slack lags."""
        lags = None if self.lags is None else [float(self.lags.after_hw_min), float(self.lags.after_lw_min)]
        return {"series": "flow", **grid_query(self.grid), "lags": lags}


@dataclass(frozen=True, slots=True)
class FlowSeries:
    """Flow index, + flood, - ebb, shape (stations, times); reliable only where slack lags are given."""

    grid: TimeGrid
    stations: Sequence[ServedModel]
    index: FloatArray
    reliable: bool


def find_flow_basis(
    context: Context,
    caller: Caller,
    station_ids: Sequence[str],
    span: TimeSpan,
    step_us: int,
    version: int | None,
    lags: SlackLags | None,
) -> FlowBasis:
    """Return what the flow index at stations rests on, from the start of the span every step.

    Raises
    ------
    NotFound, NoModel
        If a station, or its version, is not there, or has no model.
    TooManyPoints
        If stations times instants exceed the limit.
    """
    ids = list(dict.fromkeys(station_ids))
    check_points(span, step_us, len(ids), context.settings.max_points)
    grid = TimeGrid.spanning(span.start, span.end, step_us // US_PER_SECOND)
    with context.store.unit(caller.account_id) as unit:
        return FlowBasis(grid, serve_models(context, unit, ids, version), lags)


def predict_flow(basis: FlowBasis) -> FlowSeries:
    """Return the flow index; InvalidInput if the slack lags put times out of order."""
    index = np.stack([one.model.flow_index(basis.grid, basis.lags) for one in basis.stations])
    return FlowSeries(basis.grid, basis.stations, index, basis.lags is not None)
