"""Models that the benchmarks share: an invented year of hourly levels, fitted by utide itself."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import utide

from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY, TimeGrid

LATITUDE = 50.0
_CHUNK = 30 * 1440


@dataclass(frozen=True)
class Peer:
    """One tide twice: as utide's coefficients and as ours."""

    coefficients: Any
    harmonics: Harmonics

    def opened(self) -> Harmonics:
        """Return the same tide as a new object, as if just opened."""
        old = self.harmonics
        return Harmonics(old.names, old.amplitude.copy(), old.phase.copy(), old.latitude, old.mean_level)

    def reconstruct(self, times_us: np.ndarray) -> np.ndarray:
        """Return utide's heights at exact times, in chunks, since a year at a minute takes 4 GB at once."""
        days = times_us / US_PER_DAY + 719163.0
        parts = [
            utide.reconstruct(days[at : at + _CHUNK], self.coefficients, epoch="python", verbose=False).h
            for at in range(0, len(days), _CHUNK)
        ]
        return np.concatenate(parts)


def _fitted(lines: dict[str, tuple[float, float]]) -> Peer:
    invented = Harmonics.from_mapping(lines, LATITUDE, 3.0, "utide")
    grid = TimeGrid.spanning("2023-01-01", "2024-01-01", "1h")
    levels = invented.heights(grid) + 0.05 * np.random.default_rng(1).standard_normal(len(grid))
    days = grid.times_us() / US_PER_DAY + 719163.0
    found = utide.solve(days, levels, lat=LATITUDE, epoch="python", trend=False, conf_int="none", verbose=False)
    names = tuple(str(name) for name in found["name"])
    return Peer(found, Harmonics(names, found["A"], found["g"], LATITUDE, float(found["mean"])))


@lru_cache(maxsize=1)
def ordinary() -> Peer:
    """All constituents of a one-year fit at an invented station with an ordinary semidiurnal tide."""
    return _fitted({"M2": (2.0, 140.0), "S2": (0.7, 190.0), "N2": (0.4, 120.0), "K1": (0.1, 20.0), "O1": (0.1, 350.0)})


@lru_cache(maxsize=1)
def double_low_water() -> Peer:
    """The same at an invented station where M4 is strong enough to part the low water in two."""
    return _fitted(
        {"M2": (1.0, 140.0), "S2": (0.3, 190.0), "N2": (0.2, 120.0), "M4": (0.4, 280.0), "MS4": (0.12, 330.0)}
    )
