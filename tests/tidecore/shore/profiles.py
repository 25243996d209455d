"""Grounds and seas to test with."""

from __future__ import annotations

import numpy as np

from tidecore.shore import Ground

SHINGLE_TO_SAND = Ground(
    np.array([0.0, 10.0, 30.0, 45.0, 200.0]),
    np.array([6.0, 5.0, 2.5, 0.5, -3.0]),
    ("shingle", "shingle", "shingle", "clean_sand", "clean_sand"),
)
#: A trough from 60 to 90 m, whose lowest ground is at 0.5 m, behind a bar up to 1.5 m.
BAR = Ground(
    np.array([0.0, 60.0, 75.0, 95.0, 120.0, 300.0]),
    np.array([4.0, 1.0, 0.5, 1.5, 1.4, -3.0]),
    ("clean_sand",) * 6,
)


def random_ground(rng: np.random.Generator, beds: tuple[str, ...] = ("clean_sand",), bars: bool = True) -> Ground:
    """A ground that falls out to sea, with bars and troughs, upright faces and flats now and then."""
    count = int(rng.integers(3, 14))
    runs = rng.uniform(2.0, 60.0, count - 1)
    falls = rng.uniform(0.005, 0.25, count - 1) * runs
    if bars:
        falls *= np.where(rng.random(count - 1) < 0.25, -0.7, 1.0)
        runs *= np.where(rng.random(count - 1) < 0.08, 0.0, 1.0)
    distances = np.concatenate(([0.0], np.cumsum(runs)))
    levels = rng.uniform(2.0, 7.0) - np.concatenate(([0.0], np.cumsum(falls)))
    return Ground(distances, levels, tuple(str(rng.choice(beds)) for _ in range(count)))
