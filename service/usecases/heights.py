"""Heights of the tide at one or many stations, on an even grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.errors import TooManyPoints
from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import Input, station_input
from service.usecases.levels import offset_to
from service.usecases.stations import ServedModel, serve_models
from service.usecases.sureness import PLAIN, Sureness
from tidecore.harmonics import heights_at_stations
from tidecore.intervals import HeightIntervals
from tidecore.model import TideModel
from tidecore.timebase import US_PER_SECOND, TimeGrid, TimeSpan
from tidecore.units import FloatArray

#: Steps worth offering where a step is too fine [s].
_STEPS_S = (1, 5, 10, 15, 30, 60, 120, 300, 360, 600, 900, 1200, 1800, 3600, 7200, 10800, 21600, 43200, 86400)


@dataclass(frozen=True, slots=True)
class HeightBasis:
    """What heights rest on: the stations, the grid, the datum where it is not the station's own, and how sure to be.

    ``offsets`` [m] say how far that datum lies above each station's own.
    """

    grid: TimeGrid
    stations: Sequence[ServedModel]
    datum: str | None
    offsets: Sequence[float]
    sureness: Sureness = PLAIN

    @property
    def inputs(self) -> Sequence[Input]:
        """The stations."""
        return [station_input(served) for served in self.stations]

    @property
    def query(self) -> Mapping[str, Any]:
        """The grid, the datum, and what is asked besides."""
        return {"series": "heights", **grid_query(self.grid), "datum": self.datum, **self.sureness.query}


@dataclass(frozen=True, slots=True)
class HeightSeries:
    """Heights [m, above ``datum``, else each station's own], shape (stations, times).

    ``intervals`` are of the tide without surge, one a station, None where none was asked for or there is none.
    """

    grid: TimeGrid
    stations: Sequence[ServedModel]
    datum: str | None
    heights: FloatArray
    sureness: Sureness
    intervals: Sequence[HeightIntervals | None]


def find_height_basis(
    context: Context,
    caller: Caller,
    station_ids: Sequence[str],
    span: TimeSpan,
    step_us: int,
    version: int | None,
    datum: str | None,
    sureness: Sureness = PLAIN,
) -> HeightBasis:
    """Return what the heights at stations rest on, from the start of the span every step.

    Raises
    ------
    NotFound, NoModel
        If a station, or its version, is not there, or has no model.
    TooManyPoints
        If stations times instants exceed the limit.
    DatumUnknown, DatumsUnreliable
        As `offset_to`.
    """
    ids = list(dict.fromkeys(station_ids))
    columns = 1 if sureness.level is None else 3
    check_points(span, step_us, len(ids) * columns, context.settings.max_points)
    grid = TimeGrid.spanning(span.start, span.end, step_us // US_PER_SECOND)
    with context.store.unit(caller.account_id) as unit:
        served = serve_models(context, unit, ids, version)
    return HeightBasis(grid, served, datum, [offset_to(context, one, datum) for one in served], sureness)


def predict_heights(basis: HeightBasis) -> HeightSeries:
    """Return the heights of the tide, with intervals where they are asked for and there are some."""
    heights = heights_at_stations([one.model.harmonics for one in basis.stations], basis.grid)
    if basis.datum is not None:
        heights -= np.array(basis.offsets)[:, None]
    intervals = [_intervals(one.model, basis, by) for one, by in zip(basis.stations, basis.offsets, strict=True)]
    return HeightSeries(basis.grid, basis.stations, basis.datum, heights, basis.sureness, intervals)


def _intervals(model: TideModel, basis: HeightBasis, offset: float) -> HeightIntervals | None:
    asked = basis.sureness
    if asked.level is None or model.calibration is None:
        return None
    return model.height_intervals(basis.grid, asked.level, asked.surge_sd_m).above(offset)


def grid_query(grid: TimeGrid) -> dict[str, int]:
    """Return a grid as plain values."""
    return {"start_us": grid.start_us, "step_us": grid.step_us, "count": grid.count}


def check_points(span: TimeSpan, step_us: int, columns: int, limit: int) -> None:
    """Refuse more than ``limit`` values (instants times ``columns``), and say the step that fits."""
    length = span.end_us - span.start_us
    points = -(-length // step_us) * columns
    if points <= limit:
        return
    least_us = -(-length // max(1, limit // columns))
    steps = (step for step in _STEPS_S if step * US_PER_SECOND >= least_us)
    fitting = next(steps, -(-least_us // (86400 * US_PER_SECOND)) * 86400)
    raise TooManyPoints(points, limit, fitting)
