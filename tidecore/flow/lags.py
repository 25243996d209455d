"""When the stream turns at a mark, after its own high and low water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import Fault, InvalidInput
from tidecore.extremes import Extremes
from tidecore.timebase import US_PER_MINUTE, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: Longer lags than this [minutes] are refused: the stream turns at the other water then.
LONGEST_LAG_MIN = 240.0


@dataclass(frozen=True, slots=True)
class SlackLags:
    """Minutes after the mark's own primary high and low water at which the stream turns; negative is before.

    Parameters
    ----------
    after_hw_min, after_lw_min : float
        [minutes], from -240 to 240.

    Raises
    ------
    InvalidInput
        If one of them is not a number in this range.
    """

    after_hw_min: float
    after_lw_min: float

    def __post_init__(self) -> None:
        """Refuse lags that are no lags, both at once."""
        faults = [
            Fault(field, f"is {value!r}", f"minutes from {-LONGEST_LAG_MIN:g} to {LONGEST_LAG_MIN:g}")
            for field, value in (("after_hw_min", self.after_hw_min), ("after_lw_min", self.after_lw_min))
            if not (np.isfinite(value) and abs(value) <= LONGEST_LAG_MIN)
        ]
        if faults:
            raise InvalidInput(faults)

    def turning_us(self, tides: Extremes) -> IntArray:
        """Return when the stream turns after each primary extreme of ``tides`` [microseconds since 1970].

        Raises
        ------
        InvalidInput
            If a turn would not come after the one before it.
        """
        primaries = tides.primaries()
        return self.after(primaries.times_us(), primaries.kind == "high")

    def after(self, waters_us: IntArray, high: BoolArray) -> IntArray:
        """Return when the stream turns after primary high and low waters, as `turning_us`.

        Parameters
        ----------
        waters_us : int64 array, shape ``(n,)``
            The waters in time order [microseconds since 1970].
        high : bool array, shape ``(n,)``
            Which of them are high.
        """
        minutes = np.where(high, self.after_hw_min, self.after_lw_min)
        turns: IntArray = waters_us + np.rint(minutes * US_PER_MINUTE).astype(np.int64)
        backwards = np.flatnonzero(np.diff(turns) <= 0)
        if backwards.size:
            k = int(backwards[0])
            first, second = from_microseconds(waters_us[k : k + 2])
            problem = (
                f"{self.after_hw_min:g} min after HW and {self.after_lw_min:g} min after LW put the turn after the "
                f"{'high' if high[k] else 'low'} water of {first}Z at or past that of {second}Z"
            )
            raise InvalidInput(Fault("slack_lags", problem, "lags under which every slack comes before the next"))
        return turns


@dataclass(frozen=True, slots=True, eq=False)
class Slacks:
    """Instants at which the stream turns, in time order, every column of shape ``(n,)``.

    ``time`` [UTC]; ``after`` is ``"high"`` where the flood ends and the ebb begins, ``"low"`` where the ebb ends;
    ``tide_id`` is that of the high or low water.
    """

    time: UtcTimes
    after: NDArray[np.str_]
    tide_id: IntArray

    def __len__(self) -> int:
        """Return the number of slacks."""
        return int(self.time.size)


def slack_times(tides: Extremes, lags: SlackLags | None = None) -> Slacks:
    """Return when the stream turns after each primary extreme of ``tides``.

    Parameters
    ----------
    tides : Extremes
        High and low waters of the mark; secondary ones turn nothing.
    lags : SlackLags, optional
        Without them the stream is taken to turn at high and low water, which may be wrong by hours where the tide
        travels.

    Raises
    ------
    InvalidInput
        If a turn would not come after the one before it.
    """
    primaries = tides.primaries()
    turns = (SlackLags(0.0, 0.0) if lags is None else lags).turning_us(tides)
    return Slacks(from_microseconds(turns), primaries.kind, primaries.tide_id)


def station_times(times_us: IntArray, turns_us: IntArray, extremes_us: IntArray) -> FloatArray:
    """Return the instants at which the station's level moves as the stream at the mark runs at ``times_us``.

    Linear between the turns of the stream, each of which stands for its high or low water. NaN before the first turn
    and after the last.
    """
    if turns_us.size < 2:
        return np.full(times_us.shape, np.nan)
    half = np.clip(np.searchsorted(turns_us, times_us, side="right") - 1, 0, turns_us.size - 2)
    warped = between_turns(times_us, half, turns_us, extremes_us)
    return np.where((times_us >= turns_us[0]) & (times_us <= turns_us[-1]), warped, np.nan)


def between_turns(times_us: IntArray, half: IntArray, turns_us: IntArray, extremes_us: IntArray) -> FloatArray:
    """Return what `station_times` does for instants in the half tides that begin with the turns ``half``."""
    start, first = turns_us[half], extremes_us[half]
    part = (times_us - start) / (turns_us[half + 1] - start)
    return np.asarray(first + part * (extremes_us[half + 1] - first))
