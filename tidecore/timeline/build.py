"""From a mark and its station's model to a timeline."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tidecore.calendars import FreeTime
from tidecore.conditions import Conditions
from tidecore.errors import Fault, InvalidSpan
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.sky import SkyPositions
from tidecore.timebase import US_PER_SECOND, TimeGrid, TimeSpan, instant
from tidecore.timeline.columns import Timeline
from tidecore.timeline.registry import factors, find_factor
from tidecore.timeline.sources import Sources, tide_tables

#: Longest timeline [days].
LONGEST_DAYS = 400
#: The tables of a timeline reach some weeks beyond it, and stay inside 1700 to 2200.
_EARLIEST, _LATEST = np.datetime64("1701-01-01"), np.datetime64("2199-01-01")
#: Most instants of a timeline.
MOST_INSTANTS = 1_000_000


def build_timeline(
    mark: Mark,
    model: TideModel,
    start: np.datetime64 | str,
    end: np.datetime64 | str,
    step: str | np.timedelta64 | int = "10min",
    *,
    sky: SkyPositions | None = None,
    names: Sequence[str] | None = None,
    conditions: Conditions | None = None,
    free_time: FreeTime | None = None,
) -> Timeline:
    """Return the timeline of a mark over ``[start, end)``.

    Nothing is computed before it is read. Tables of the tide are shared by the marks that follow one model.

    Parameters
    ----------
    mark : Mark
        The mark.
    model : TideModel
        Tide of the station that the mark follows.
    start, end : datetime64 or ISO text
        Half-open span [UTC].
    step : str, timedelta64 or int
        Distance of the instants; whole multiples of it since 1970 are taken, so that an instant is the same in every
        timeline.
    sky : SkyPositions, optional
        Positions of sun and moon that many marks share; used where they reach from three days before the span to
        three days after it (on whole days), else the mark gets equal ones of its own.
    names : sequence of str, optional
        Factors that become columns; all there are unless given.
    conditions : Conditions, optional
        Forecasts and observations of sea and air at the mark; its factors of sea and air are unknown unless given.
    free_time : FreeTime, optional
        When whoever asks is free, by the clocks of the mark; unknown unless given.

    Raises
    ------
    InvalidSpan
        If the end is not after the start, the step is none, the span or the number of instants is too large, or the
        span leaves 1701 to 2198.
    UnknownName
        If there is no such factor.
    InvalidInput
        If the mark's offsets make no tide of the model's.
    """
    span = TimeSpan(instant(start, "start"), instant(end, "end"))
    if span.days > LONGEST_DAYS:
        raise InvalidSpan(Fault("end", f"{span.days:.0f} days after the start", f"at most {LONGEST_DAYS} days"))
    if span.start < _EARLIEST or span.end > _LATEST:
        expected = f"a span from {_EARLIEST} to {_LATEST}"
        raise InvalidSpan(Fault("start", f"{span.start} to {span.end} is too far from our time", expected))
    grid = TimeGrid.anchored(span.start, span.end, step)
    if len(grid) > MOST_INSTANTS:
        fitting = -(-(span.end_us - span.start_us) // (MOST_INSTANTS * US_PER_SECOND))
        expected = f"at most {MOST_INSTANTS} instants, as a step of {fitting} s gives"
        raise InvalidSpan(Fault("step", f"makes {len(grid)} instants", expected))
    columns = tuple(factors()) if names is None else tuple(dict.fromkeys(find_factor(name).name for name in names))
    tables = tide_tables(model, span, mark.offsets)
    return Timeline(Sources(mark, tables, span, sky, conditions, free_time), grid, columns)
