"""The tidal character of a station, and the curves of its chart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import ModelBasis
from service.usecases.stations import ServedModel, serve_models
from tidecore.character import TidalCharacter, TypicalFortnight, tidal_character, typical_fortnight
from tidecore.datums import epoch_cycle
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, TimeGrid, from_microseconds
from tidecore.units import FloatArray

#: Where the curves of the chart begin and end, about springs [days] and about a high water [hours].
FORTNIGHT_DAYS = (-3.5, 11.5)
LUNAR_DAY_HOURS = (-12.5, 12.5)
#: Where a tide whose range never varies is shown.
_ANY_DAY_US = 11_323 * US_PER_DAY
_STEP_S = 600


@dataclass(frozen=True, slots=True)
class SummaryView:
    """The tidal character and the model it comes from."""

    served: ServedModel
    character: TidalCharacter


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Heights [m above datum] over times, in days or hours from what the curve is about."""

    times: FloatArray
    heights: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SummaryCurves:
    """A typical fortnight about its springs, and a lunar day about a high water of springs and of neaps.

    ``neaps_days`` is when neaps come after springs; None, as ``spring_day`` and ``neap_day`` are, where the range
    doesn't vary or there is no high water.
    """

    fortnight: Curve
    neaps_days: float | None
    spring_day: Curve | None
    neap_day: Curve | None


def find_summary_basis(context: Context, caller: Caller, station_id: str, version: int | None) -> ModelBasis:
    """Return what the summary of a station rests on; raises as `serve_models`."""
    with context.store.unit(caller.account_id) as unit:
        return ModelBasis(serve_models(context, unit, [station_id], version)[0], "summary")


def find_summary(basis: ModelBasis) -> SummaryView:
    """Return the tidal character of a station."""
    return SummaryView(basis.served, basis.served.model.character())


def find_chart(basis: ModelBasis) -> tuple[SummaryView, SummaryCurves]:
    """Return the tidal character of a station and the curves that show it."""
    harmonics = basis.served.model.harmonics
    cycle = epoch_cycle(harmonics)
    view = SummaryView(basis.served, tidal_character(harmonics, cycle=cycle))
    return view, _curves(basis.served, typical_fortnight(harmonics, cycle))


def _curves(served: ServedModel, fortnight: TypicalFortnight) -> SummaryCurves:
    """Return the curves of a fortnight; where there is none, those of any day."""
    springs = _ANY_DAY_US if fortnight.springs_us is None else fortnight.springs_us
    neaps = None
    if fortnight.springs_us is not None and fortnight.neaps_us is not None:
        neaps = (fortnight.neaps_us - fortnight.springs_us) / US_PER_DAY
    days = [
        None if high is None else _curve(served, high, LUNAR_DAY_HOURS, US_PER_HOUR)
        for high in (fortnight.spring_high_us, fortnight.neap_high_us)
    ]
    return SummaryCurves(_curve(served, springs, FORTNIGHT_DAYS, US_PER_DAY), neaps, days[0], days[1])


def _curve(served: ServedModel, about_us: int, ends: tuple[float, float], unit_us: int) -> Curve:
    begin, end = (about_us + round(one * unit_us) for one in ends)
    start, stop = from_microseconds(np.array([begin, end]))
    grid = TimeGrid.spanning(start, stop, _STEP_S)
    return Curve((grid.times_us() - about_us) / unit_us, served.model.heights(grid))
