"""Datum steps: a level that from one hour to the next is another, and stays so.

A surge rises over hours and falls again; a step is there at once. What an autoregression does not foresee is held
against the wake that a step leaves in it, hour by hour. A shock of the weather has no such wake, and comes with others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.quality.hourly import Hours, Noise
from tidecore.units import BoolArray, FloatArray

#: A step stands out of the unforeseen by so many deviations.
LEAST_SCORE = 6.5
#: One that is there at once, and nothing like it in the hours beside, needs fewer.
_LEAST_SHARP_SCORE = 5.8
#: Smaller steps are not told from weather that changes [m].
LEAST_STEP_M = 0.07
#: Hours of the wake that are looked at.
_WAKE_H = 72
#: Hours either side in which unrest is measured, those next to the step left out.
_AROUND_H, _LEFT_OUT_H = 48, 2
#: The hours after the step, without its own, must say at least this share of it.
_WAKE_SHARE = 0.6
#: As far as they can: a wake that stands out by fewer deviations says nothing.
_TELLING = 4.5
#: Hours before and after in which nothing else may stand out by so many deviations.
_ALONE_H, _ALONE_SCORE = (3, 4), 4.0
#: The change of the hour is this many times that of the two before and after: a surge rises over hours. From how many
#: times on it is there at once.
_SHARP, _SHARPEST = 1.25, 3.0
_MOST = 24


@dataclass(frozen=True, slots=True)
class Step:
    """From hour ``at`` on the level is higher by ``size_m``; ``score`` says by how many deviations it stands out."""

    at: int
    size_m: float
    score: float


def find_steps(hours: Hours, noise: Noise, wakes: bool = True) -> list[Step]:
    """Return the datum steps of a record in the order of time.

    Without ``wakes`` a step is taken for one whatever follows it: noise that was told from a record with a large step
    in it foresees that a level stays where it is, and then no step has a wake.
    """
    found: list[Step] = []
    for scan in (_Scan.of(hours.residual, hours.known, noise), _Scan.backwards(hours.residual, hours.known, noise)):
        found.extend(scan.steps(wakes))
    return sorted(found, key=lambda step: step.at)


@dataclass(slots=True, eq=False)
class _Scan:
    """One pass over the unforeseen: ``unforeseen`` [m], where it is ``used``, where steps may be, and their wake.

    ``sharp`` is the change of each hour in that of the hours beside it.
    """

    unforeseen: FloatArray
    used: BoolArray
    allowed: BoolArray
    sharp: FloatArray
    wake: FloatArray
    sigma: float
    reversed: bool = False

    @classmethod
    def of(cls, residual: FloatArray, known: BoolArray, noise: Noise) -> _Scan:
        weights = np.concatenate((noise.weights, np.zeros(_WAKE_H)))[: _WAKE_H - 1]
        wake = 1.0 - np.concatenate(([0.0], np.cumsum(weights)))
        # An hour without a level, or with one that is none, may hide that the change was not sudden.
        around = np.concatenate((np.zeros(2, dtype=np.bool_), known, np.zeros(2, dtype=np.bool_)))
        seen = np.all([around[k : k + len(known)] for k in range(5)], axis=0)
        change = np.abs(np.diff(residual, prepend=residual[0]))
        beside = np.concatenate((np.zeros(2), change, np.zeros(2)))
        most = np.max([beside[k : k + len(change)] for k in (0, 1, 3, 4)], axis=0)
        sharp = change / np.maximum(most, 1e-9)
        unforeseen = np.where(noise.used, noise.whiten(residual), 0.0)
        return cls(unforeseen, noise.used, noise.used & seen, sharp, wake, noise.sigma)

    @classmethod
    def backwards(cls, residual: FloatArray, known: BoolArray, noise: Noise) -> _Scan:
        """Return the scan from the end: an autoregression needs hours before, which a beginning does not have."""
        order = len(noise.weights)
        turned = replace(noise, used=_from_the_end(known, order))
        scan = cls.of(residual[::-1], known[::-1], turned)
        forward = np.concatenate((noise.used[1:], [False]))[::-1]
        scan.allowed &= ~forward
        scan.reversed = True
        return scan

    def steps(self, wakes: bool) -> list[Step]:
        found: list[Step] = []
        used = self.used.astype(np.float64)
        energy = _correlate(used, self.wake**2)
        later = np.concatenate(([0.0], self.wake[1:]))
        later_energy = np.maximum(_correlate(used, later**2), 0.1)
        while len(found) < _MOST and self.allowed.any():
            size = _correlate(self.unforeseen, self.wake) / np.maximum(energy, 1.0)
            after = _correlate(self.unforeseen, later) / later_energy
            unrest = np.maximum(_unrest(self.unforeseen, used), self.sigma)
            # Between the record's noise and that of these days: unrest makes steps doubtful, not impossible.
            scale = np.sqrt(unrest * self.sigma)
            score = np.abs(size) * np.sqrt(energy) / scale
            least = np.where(self.sharp >= _SHARPEST, _LEAST_SHARP_SCORE, LEAST_SCORE)
            fit = (
                self.allowed
                & (self.sharp >= _SHARP)
                & (energy > 1.0)
                & (score >= least)
                & (np.abs(size) >= LEAST_STEP_M)
            )
            telling = wakes & (later_energy * size**2 >= _TELLING**2 * scale**2)
            fit &= ~telling | (after * np.sign(size) >= _WAKE_SHARE * np.abs(size))
            for at in np.flatnonzero(fit):
                if not self._alone(int(at), float(size[at]), float(scale[at])):
                    fit[at] = False
            if not fit.any():
                break
            best = int(np.argmax(np.where(fit, score, 0.0)))
            found.append(self._step(best, float(size[best]), float(score[best])))
            self._take_out(best, float(size[best]))
            self.allowed[max(best - _LEFT_OUT_H, 0) : best + _LEFT_OUT_H + 1] = False
        return found

    def _step(self, at: int, size: float, score: float) -> Step:
        return Step(len(self.used) - at, -size, score) if self.reversed else Step(at, size, score)

    def _alone(self, at: int, size: float, scale: float) -> bool:
        begin, end = max(at - _ALONE_H[0], 0), min(at + _ALONE_H[1] + 1, len(self.used))
        rest = self.unforeseen[begin:end].copy()
        rest[at - begin :] -= size * self.wake[: end - at] * self.used[at:end]
        rest[at - begin] = 0.0
        return bool(np.max(np.abs(rest)) < _ALONE_SCORE * scale)

    def _take_out(self, at: int, size: float) -> None:
        end = min(at + _WAKE_H, len(self.used))
        self.unforeseen[at:end] -= size * self.wake[: end - at] * self.used[at:end]


def _from_the_end(known: BoolArray, order: int) -> BoolArray:
    """Return of which hours the unforeseen can be told, counted from the end."""
    turned = known[::-1]
    silent = np.convolve(~turned, np.ones(order + 1))[: len(turned)] > 0.5
    used: BoolArray = turned & ~silent
    used[:order] = False
    return used


def _correlate(series: FloatArray, with_: FloatArray) -> FloatArray:
    """Return sum over k of series[i + k] with_[k], shape as ``series``."""
    padded = np.concatenate((series, np.zeros(len(with_) - 1)))
    return np.correlate(padded, with_, mode="valid")


def _unrest(unforeseen: FloatArray, used: FloatArray) -> FloatArray:
    """Return the deviation of the unforeseen in the days around each hour, the hours about it left out.

    From mean magnitudes, as single large values elsewhere in these days say little of this hour.
    """
    sums = []
    at, last = np.arange(len(used)), len(used)
    for series in (np.abs(unforeseen), used):
        total = np.concatenate(([0.0], np.cumsum(series)))
        near, wide = (
            total[np.minimum(at + about + 1, last)] - total[np.maximum(at - about, 0)]
            for about in (_LEFT_OUT_H, _AROUND_H)
        )
        sums.append(wide - near)
    deviation: FloatArray = np.sqrt(np.pi / 2.0) * np.maximum(sums[0], 0.0) / np.maximum(sums[1], 1.0)
    return deviation
