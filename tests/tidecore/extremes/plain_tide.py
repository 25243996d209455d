"""A sum of cosines with nothing else in it, for which answers are known by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from tidecore.harmonics import Harmonics
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.timebase import TimeGrid

HOUR = 3_600_000_000
#: Degrees an hour: NOAA's list of standard constituents.
SPEEDS = {
    "M2": 28.9841042, "S2": 30.0, "N2": 28.4397295, "K1": 15.0410686, "O1": 13.9430356, "M4": 57.9682084,
    "MS4": 58.9841042, "M6": 86.9523127, "M8": 115.9364166, "P1": 14.9589314, "K2": 30.0821373, "SA": 0.0410686,
}  # fmt: skip
_DEGREE = 11


@dataclass(frozen=True)
class PlainTide:
    """amplitude * cos(speed * hours since 1970 - phase), summed: what Harmonics gives, without nodes."""

    terms: tuple[tuple[str, float, float], ...]
    mean_level: float = 0.0

    @property
    def amplitude(self) -> np.ndarray:
        return np.array([a for _, a, _ in self.terms])

    def amplitude_of(self, name: str) -> float:
        return sum(a for n, a, _ in self.terms if n == name)

    @property
    def form_number(self) -> float:
        below = self.amplitude_of("M2") + self.amplitude_of("S2")
        above = self.amplitude_of("K1") + self.amplitude_of("O1")
        return above / below if below else np.inf

    def _sum(self, hours: np.ndarray, derivative: bool = False) -> np.ndarray:
        total = np.full(hours.shape, 0.0 if derivative else self.mean_level)
        for name, a, phase in self.terms:
            w = np.radians(SPEEDS[name])
            angle = w * hours - np.radians(phase)
            total += -a * w * np.sin(angle) if derivative else a * np.cos(angle)
        return total

    def heights(self, times: TimeGrid | np.ndarray) -> np.ndarray:
        return self._sum(_hours(times))

    def rates(self, times: TimeGrid | np.ndarray) -> np.ndarray:
        return self._sum(_hours(times), derivative=True)

    def m2_cycles(self, times_us: np.ndarray) -> np.ndarray:
        phase = sum(g for n, _, g in self.terms if n == "M2")
        return (SPEEDS["M2"] * np.asarray(times_us) / HOUR - phase) / 360.0

    def pieces(self, start_us: int, end_us: int) -> PiecewisePolynomial:
        first, last = start_us // HOUR, -(-end_us // HOUR)
        nodes = np.cos(np.pi * (np.arange(_DEGREE + 1) + 0.5) / (_DEGREE + 1))
        hours = np.arange(first, last)[:, None] + (nodes + 1.0) / 2.0
        inverse = np.linalg.inv(np.vander(nodes, increasing=True))
        return PiecewisePolynomial(int(first) * HOUR, HOUR, self._sum(hours) @ inverse.T)


def _hours(times: TimeGrid | np.ndarray) -> np.ndarray:
    ticks = times.times_us() if isinstance(times, TimeGrid) else times.astype("datetime64[us]").view(np.int64)
    return ticks / HOUR


def plain_tide(*terms: tuple[str, float, float], mean_level: float = 0.0) -> Harmonics:
    """Return a tide of (name, amplitude [m], phase [deg]) terms."""
    return cast(Harmonics, PlainTide(terms, mean_level))
