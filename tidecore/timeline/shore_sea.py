"""Sea, wind and weed as the shore takes them: as the caller gave them, and whether the sea reaches the mark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore import RunUp, Waves
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

_PERIODS = ("wave_peak_period_s", "wave_energy_period_s", "wave_zero_crossing_period_s")
#: What the run-up hangs on.
WAVES = ("wave_height_m", "wave_period_s", "wave_from_degree")
#: What hinders a cast.
WIND = ("wind_speed_m_per_s", "wind_from_degree")


@dataclass(frozen=True, slots=True, eq=False)
class ShoreSea:
    """The sea as it was given, and whether it reaches the mark: 1 yes, 0 no, -1 where nobody knows, shape ``(n,)``.

    Other than ``wave_height`` it is not 0 where it comes from outside the exposure of the mark: some of it bends
    round, and run-up must not be taken for none.
    """

    waves: Waves
    reaches: IntArray


def number(frame: Frame, variable: str) -> FloatArray:
    """Return a variable of the conditions; NaN where it is unknown."""
    conditions = frame.sources.conditions
    return np.full(len(frame), np.nan) if conditions is None else conditions.at(variable, frame.times_us)


def text(frame: Frame, variable: str) -> AnyArray:
    """Return a category of the conditions; empty text where it is unknown."""
    conditions = frame.sources.conditions
    return np.full(len(frame), "", dtype="U10") if conditions is None else conditions.at(variable, frame.times_us)


def given_breaks(sources: Sources, *variables: str) -> IntArray:
    """Return the instants at which variables of the conditions jump or turn a corner, in any order."""
    if sources.conditions is None:
        return np.empty(0, dtype=np.int64)
    return np.concatenate([sources.conditions.pieces(variable).breaks_us() for variable in variables])


def given_waves(frame: Frame) -> Waves:
    """Return the waves at the instants of a frame, as they were given."""
    return Waves.of(number(frame, "wave_height_m"), *(number(frame, name) for name in _PERIODS))


def sea_reaches(frame: Frame) -> IntArray:
    """Return whether the sea reaches the mark, as `ShoreSea` has it."""
    return frame.sources.setting.reaches(text(frame, "waves_at"), number(frame, "wave_from_degree"))


def shore_sea(frame: Frame) -> ShoreSea:
    """Return the sea at the instants of a frame."""
    return ShoreSea(given_waves(frame), frame.once(sea_reaches))


def shore_run_up(frame: Frame) -> RunUp | None:
    """Return the run-up of the sea on the ground; None at a mark that has none, see `Setting.missing`."""
    sea = frame.once(shore_sea)
    return frame.sources.setting.run_up(frame.still_level, sea.waves, sea.reaches)
