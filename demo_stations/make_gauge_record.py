"""Make the invented gauge record of Tarrowick Roads: ``gauges/tarrowick_roads.csv``.

The coast, the gauge and every number are invented. The level is the tide of `CONSTITUENTS`, a surge that comes and
goes with the weather, and the noise of the gauge; the record has what a real one has: a gap, a marker for missing
hours, and spikes. Chance is seeded, so the same bytes come out every time; they are made again by

    .venv/bin/python -m demo_stations.make_gauge_record

Draws come from ``random.Random.random`` alone, whose sequence Python promises to keep.
"""

from __future__ import annotations

import argparse
import math
import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tidecore import TideModel
from tidecore.timebase import TimeGrid

SEED = 20230301
LATITUDE = 47.61
MEAN_LEVEL = 5.82
START = datetime(2023, 3, 1, tzinfo=UTC)
HOURS = 24 * 372

#: The true tide: amplitude [m], Greenwich phase lag [degrees], convention "utide".
CONSTITUENTS = {
    "M2": (3.10, 152.0),
    "S2": (1.08, 193.0),
    "N2": (0.59, 133.0),
    "K2": (0.30, 191.0),
    "NU2": (0.115, 136.0),
    "MU2": (0.075, 160.0),
    "L2": (0.095, 160.0),
    "T2": (0.062, 186.0),
    "2N2": (0.078, 112.0),
    "K1": (0.085, 118.0),
    "O1": (0.066, 352.0),
    "P1": (0.027, 112.0),
    "Q1": (0.021, 300.0),
    "M4": (0.105, 212.0),
    "MS4": (0.066, 258.0),
    "MN4": (0.038, 190.0),
    "M6": (0.018, 35.0),
    "SA": (0.060, 225.0),
}

#: Weather: a surge that forgets itself over so many hours, with this standard deviation [m], and blows on top of it:
#: hour of the peak, height [m], half-width [h].
SURGE_MEMORY_H = 30.0
SURGE_M = 0.12
BLOWS = ((1490, 0.55, 9.0), (5210, 0.90, 14.0), (6004, -0.45, 20.0), (6890, 0.75, 11.0), (8120, 0.60, 16.0))
#: Noise of the gauge [m].
NOISE_M = 0.015

#: The gauge was away for 19 days: hours that are not in the file.
GAP = range(4030, 4030 + 19 * 24)
#: Hours written as missing: first hour, how many.
MISSING = ((700, 5), (2222, 31), (7777, 2), (8301, 12))
MARKER = -9999
#: Spikes: so many that no tide reaches (mm as they stand in the file), and so many that could be levels.
WILD = 14
WILD_MM = (-7200, 15300, 21040)
PLAUSIBLE = 26
PLAUSIBLE_M = (0.4, 1.8)

HEADING = """\
# Tarrowick Roads, hourly levels above the zero of the gauge.
# Invented: no real place, no real gauge. Not for navigation. Made by make_gauge_record.py.
time,level
"""


def normal(chance: random.Random) -> float:
    """Return a draw from the standard normal distribution."""
    return math.sqrt(-2.0 * math.log(1.0 - chance.random())) * math.cos(2.0 * math.pi * chance.random())


def surge(chance: random.Random) -> list[float]:
    """Return the surge of every hour [m]."""
    keep = math.exp(-1.0 / SURGE_MEMORY_H)
    kick = SURGE_M * math.sqrt(1.0 - keep**2)
    level, levels = SURGE_M * normal(chance), []
    for hour in range(HOURS):
        blown = sum(height * math.exp(-(((hour - peak) / width) ** 2)) for peak, height, width in BLOWS)
        levels.append(level + blown)
        level = keep * level + kick * normal(chance)
    return levels


def tide() -> list[float]:
    """Return the true tide of every hour [m above the zero of the gauge]."""
    model = TideModel.from_constituents(
        CONSTITUENTS, latitude=LATITUDE, mean_level=MEAN_LEVEL, convention="utide", datum="gauge zero"
    )
    first = np.datetime64(START.replace(tzinfo=None))
    return [
        float(height)
        for height in model.heights(TimeGrid.anchored(first, first + HOURS * np.timedelta64(1, "h"), "1h"))
    ]


def spoil(levels: list[int], chance: random.Random) -> None:
    """Put spikes and markers for missing hours into levels [mm]."""
    for _ in range(WILD):
        levels[int(chance.random() * HOURS)] = WILD_MM[int(chance.random() * len(WILD_MM))]
    low, high = PLAUSIBLE_M
    for _ in range(PLAUSIBLE):
        size = low + (high - low) * chance.random()
        levels[int(chance.random() * HOURS)] += round(1000.0 * math.copysign(size, chance.random() - 0.5))
    for first, count in MISSING:
        levels[first : first + count] = [MARKER] * count


def record() -> str:
    """Return the text of the record."""
    chance = random.Random(SEED)
    weather = surge(chance)
    levels = [
        round(1000.0 * (height + blown + NOISE_M * normal(chance)))
        for height, blown in zip(tide(), weather, strict=True)
    ]
    spoil(levels, chance)
    rows = (
        f"{START + timedelta(hours=hour):%Y-%m-%d %H:%M},{level}\n"
        for hour, level in enumerate(levels)
        if hour not in GAP
    )
    return HEADING + "".join(rows)


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the record into the folder of gauge records, or into another one."""
    parser = argparse.ArgumentParser(description="Make the invented gauge record of Tarrowick Roads.")
    parser.add_argument("--into", type=Path, default=Path(__file__).parent / "gauges", help="folder to write to")
    folder = parser.parse_args(arguments).into
    (folder / "tarrowick_roads.csv").write_bytes(record().encode("ascii"))


if __name__ == "__main__":
    main()
