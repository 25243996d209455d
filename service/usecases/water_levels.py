"""Water levels at a station: its tide, and the surge that a caller gives as series."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.heights import check_points
from service.usecases.levels import offset_to
from service.usecases.stations import ServedModel, serve_models
from service.usecases.sureness import ESTIMATE_CAUTION
from tidecore.errors import Fault, InvalidInput
from tidecore.intervals import (
    NO_INTERVAL,
    WEATHER_CAUTION,
    HeightIntervals,
    check_level,
    check_surge_sd,
    series_at,
    surge_of,
)
from tidecore.timebase import US_PER_SECOND, TimeGrid, TimeSpan
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

_COLUMNS = 5


@dataclass(frozen=True, slots=True, eq=False)
class GivenSeries:
    """Values [NaN where unknown] at ``times``, ascending."""

    times: UtcTimes
    values: FloatArray


@dataclass(frozen=True, slots=True)
class LevelQuestion:
    """What is asked of one station, and what the caller knows of surge and pressure."""

    span: TimeSpan
    step_us: int
    version: int | None
    datum: str | None
    level: float | None
    surge: GivenSeries | None
    surge_sd_m: float | None
    pressure: GivenSeries | None
    reference_pressure_hpa: float | None


@dataclass(frozen=True, slots=True, eq=False)
class WaterLevels:
    """Heights of the tide and surge [m], shape ``(n,)``; surge is NaN where it is not known.

    ``intervals`` are of the water level where the surge is known, of the tide alone elsewhere.
    """

    grid: TimeGrid
    served: ServedModel
    datum: str
    level: float | None
    heights: FloatArray
    surge: FloatArray
    intervals: HeightIntervals | None
    cautions: Sequence[str]


def find_water_levels(context: Context, caller: Caller, station_id: str, asked: LevelQuestion) -> WaterLevels:
    """Return the water levels at a station over a span.

    Between its values a series is linear; beyond its ends, beside unknown values and in gaps of over six hours it is
    unknown. A known surge replaces that of the pressure.

    Raises
    ------
    NotFound, NoModel
        If the station, or its version, is not there, or has no model.
    TooManyPoints
        If the instants exceed the limit.
    InvalidInput
        For a series that cannot be, or a level that is none.
    DatumUnknown, DatumsUnreliable
        As `offset_to`.
    """
    if asked.level is not None:
        check_level(asked.level, "interval")
    check_surge_sd(asked.surge_sd_m, asked.surge is not None or asked.pressure is not None)
    check_points(asked.span, asked.step_us, _COLUMNS, context.settings.max_points)
    grid = TimeGrid.spanning(asked.span.start, asked.span.end, asked.step_us // US_PER_SECOND)
    times_us = grid.start_us + grid.step_us * np.arange(grid.count, dtype=np.int64)
    surge = _at("surge", asked.surge, times_us)
    pressure = _at("pressure", asked.pressure, times_us)
    found = surge_of(surge, pressure, asked.reference_pressure_hpa)
    known = np.zeros(grid.count, dtype=np.bool_)
    for series in (surge, pressure):
        known |= False if series is None else ~np.isnan(series)
    with context.store.unit(caller.account_id) as unit:
        (served,) = serve_models(context, unit, [station_id], asked.version)
    offset = offset_to(context, served, asked.datum)
    values = np.full(grid.count, np.nan) if found is None else np.where(known, found.values, np.nan)
    cautions = [ESTIMATE_CAUTION, *(() if found is None else found.cautions)]
    if not known.all():
        cautions.append(
            f"the surge is not known at {int((~known).sum())} of {grid.count} instants: the tide alone there"
        )
    intervals = None
    if asked.level is not None and served.model.calibration is None:
        cautions.append(NO_INTERVAL)
    elif asked.level is not None:
        intervals = _intervals(served, grid, asked.level, asked.surge_sd_m, values, known).above(offset)
        if asked.surge_sd_m is None and known.any():
            cautions.append(WEATHER_CAUTION)
    heights = served.model.heights(grid) - offset
    datum = asked.datum or served.model.datum
    return WaterLevels(grid, served, datum, asked.level, heights, values, intervals, cautions)


def _intervals(
    served: ServedModel, grid: TimeGrid, level: float, sd: float | None, surge: FloatArray, known: BoolArray
) -> HeightIntervals:
    plain = served.model.height_intervals(grid, level)
    sure = plain if sd is None else served.model.height_intervals(grid, level, sd)
    shift = np.where(known, surge, 0.0)
    return HeightIntervals(
        level,
        np.where(known, sure.lower, plain.lower) + shift,
        np.where(known, sure.upper, plain.upper) + shift,
    )


def _at(field: str, given: GivenSeries | None, times_us: IntArray) -> FloatArray | None:
    if given is None:
        return None
    known_us = given.times.astype("datetime64[us]").astype(np.int64)
    backwards = np.flatnonzero(np.diff(known_us) <= 0)
    if backwards.size:
        place = int(backwards[0]) + 1
        raise InvalidInput(Fault(f"{field}.times.{place}", "is not after the time before it", "ascending times"))
    return series_at(times_us, known_us, given.values)
