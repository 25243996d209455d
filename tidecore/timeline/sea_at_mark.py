"""The sea that reaches a mark, from the columns of sea and air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore import RunUp, Waves
from tidecore.timeline import sea_and_air
from tidecore.units import AnyArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.sources import Sources

_FACTORS = {factor.name: factor for factor in sea_and_air.FACTORS}
#: What the run-up hangs on.
WAVE_FACTORS = ("wave_height", "wave_peak_period", "wave_energy_period", "wave_zero_crossing_period", "wave_from")


@dataclass(frozen=True, slots=True, eq=False)
class SeaAtMark:
    """The sea told, and whether it reaches the mark: 1 yes, 0 no, -1 where nobody knows, shape ``(n,)``."""

    waves: Waves
    reaches: IntArray


def given(frame: Frame, name: str) -> AnyArray:
    """Return a factor of sea and air, unknown where there is none of that name or nobody gave it."""
    factor = _FACTORS[name]
    return factor.unknown(len(frame)) if factor.compute is None else factor.compute(frame)


def given_breaks(sources: Sources, *names: str) -> IntArray:
    """Return the instants at which factors of sea and air jump or turn a corner, in any order."""
    found = [breaks(sources) for name in names if (breaks := _FACTORS[name].breaks) is not None]
    return np.concatenate([np.empty(0, dtype=np.int64), *found])


def sea_at_mark(frame: Frame) -> SeaAtMark:
    """Return the sea at the instants of a frame."""
    height, peak, energy, zero_crossing, wave_from = (given(frame, name) for name in WAVE_FACTORS)
    waves = Waves.of(height, peak, energy, zero_crossing)
    return SeaAtMark(waves, frame.sources.setting.reaches(waves_at(frame), wave_from))


def run_up_at_mark(frame: Frame) -> RunUp | None:
    """Return the run-up of the sea on the ground; None at a mark that has none, see `Setting.missing`."""
    sea = frame.once(sea_at_mark)
    return frame.sources.setting.run_up(frame.still_level, sea.waves, sea.reaches)


def waves_at(frame: Frame) -> AnyArray:
    """Return where the sea is told: ``"at_mark"``, ``"offshore"``, or empty where nobody says."""
    return given(frame, "waves_at") if "waves_at" in _FACTORS else np.full(len(frame), "", dtype="U8")


def seen_weed(frame: Frame) -> AnyArray:
    """Return the weed that was seen, empty text where nobody saw."""
    return np.full(len(frame), "", dtype="U10")


def seen_weed_breaks(sources: Sources) -> IntArray:
    """Return when the weed that was seen changes, in any order."""
    return np.empty(0, dtype=np.int64)
