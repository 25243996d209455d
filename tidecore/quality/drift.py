"""A clock that runs fast or slow: the delay of the record grows with time, where a shift makes it jump once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.quality.clocks import BLOCK_H, LEAST_DRIFT_MIN, Delays
from tidecore.units import FloatArray

#: A drift takes this long at least [days]; faster ones are shifts.
LEAST_DAYS = 30.0
#: Between how many borders a drift's beginning and end are looked for.
_BORDERS = 48
#: What a drift must explain, in variances of a delay, beyond a steady clock; and each shift beside it costs so much.
_LEAST_GAIN, _COST = 40.0, 8.0
#: By so much more than shifts do: a shift in a tide that varies looks a little like a drift.
_CLEARLY = 20.0


@dataclass(frozen=True, slots=True)
class Drift:
    """From hour ``begin`` to hour ``end`` the clock gains ``minutes``; ``score`` is in deviations."""

    begin: int
    end: int
    minutes: float
    score: float


def find_drift(delays: Delays, shifts: list[int]) -> Drift | None:
    """Return the drift of the clock, None where it is steady, or shifts at hours ``shifts`` say more.

    Parameters
    ----------
    delays : Delays
        By blocks of days, from `tidecore.quality.clocks`.
    shifts : list of int
        Hours at which the clock is thought to have been moved.
    """
    # A block that a shift falls into shows half of it, as a drift would.
    whole = np.ones(len(delays.middle), dtype=np.bool_)
    for place in shifts:
        whole &= np.abs(delays.middle - place) > BLOCK_H / 2.0
    at, minutes, weights = delays.middle[whole], delays.minutes[whole], delays.weights[whole]
    if len(at) < 8 or at[-1] - at[0] < LEAST_DAYS * 24:
        return None
    steady = _left(minutes, weights, np.ones((len(at), 1)))
    jumps = np.stack([np.ones(len(at)), *(at >= place for place in shifts)], axis=1).astype(np.float64)
    jumping = _left(minutes, weights, jumps)
    borders = np.linspace(at[0], at[-1], min(_BORDERS, len(at)))
    best: tuple[float, float, float, float] | None = None
    for number, begin in enumerate(borders):
        for end in borders[number + 1 :]:
            if end - begin < LEAST_DAYS * 24:
                continue
            ramp = np.clip((at - begin) / (end - begin), 0.0, 1.0)
            left, size = _left_and_size(minutes, weights, ramp)
            if best is None or left < best[0]:
                best = (left, begin, end, size)
    if best is None or abs(best[3]) < LEAST_DRIFT_MIN:
        return None
    left, begin, end, size = best
    # Delays vary more than the noise alone would have them: the tide varies too.
    variance = max(left / max(len(at) - 4, 1), 1.0)
    gain = (steady - left) / variance
    beside_shifts = (jumping - left) / variance + _COST * (len(shifts) - 2.0)
    if gain < _LEAST_GAIN or (shifts and beside_shifts < _CLEARLY):
        return None
    return Drift(round(begin), round(end), size, float(np.sqrt(gain)))


def _left(minutes: FloatArray, weights: FloatArray, basis: FloatArray) -> float:
    root = np.sqrt(weights)
    found, *_ = np.linalg.lstsq(basis * root[:, None], minutes * root, rcond=None)
    return float(np.sum(weights * (minutes - basis @ found) ** 2))


def _left_and_size(minutes: FloatArray, weights: FloatArray, ramp: FloatArray) -> tuple[float, float]:
    """Return what a constant and ``ramp`` leave of the delays, and the size of the ramp, in closed form."""
    total = weights.sum()
    centred = ramp - (weights @ ramp) / total
    about = minutes - (weights @ minutes) / total
    energy = float(weights @ centred**2)
    size = float((weights * centred) @ about) / max(energy, 1e-12)
    return float(weights @ about**2) - size**2 * energy, size
