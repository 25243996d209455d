"""Intervals on published records, in small: the whole is ``python -m tests.reference.intervals``.

Bounds are those that intervals are meant for: nominal 90%, each record 84 to 96%. Sources are in intervals.py.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.reference.intervals import LEVEL, WHAT, Record, by_hourly, by_least_squares, covered, judge, records


def named(where: Path, name: str) -> Record:
    return next(records(where, name))


def test_heights_of_four_years_by_season(open_data: Path) -> None:
    tally = judge(named(open_data, "providence"), by_least_squares, [2])
    for what in ("heights", "HW", "LW"):
        part, low, high = covered(tally.blocks(what))
        assert 0.84 <= part <= 0.96, what
        assert low <= part <= high
    # The weather of winter is wider: an interval of constant width costs more.
    assert np.mean(np.concatenate(tally.scores)) < 0.97 * np.mean(np.concatenate(tally.constant))


def test_times_of_high_and_low_waters_of_a_year(open_data: Path) -> None:
    # Hourly values of it, held against the quarters of an hour.
    tally = judge(named(open_data, "Whitby"), by_hourly)
    for what in WHAT:
        assert 0.84 <= covered(tally.blocks(what))[0] <= 0.96, what


def test_the_bootstrap_knows_blocks_from_values() -> None:
    # One in ten values missed: scattered over all blocks, or all in a tenth of the blocks.
    scattered = np.tile([9.0, 10.0], (100, 1))
    bunched = np.array([[10.0, 10.0]] * 90 + [[0.0, 10.0]] * 10)
    assert covered(scattered) == (LEVEL, LEVEL, LEVEL)
    part, low, high = covered(bunched)
    assert part == LEVEL
    # Binomial standard error of 100 blocks: 0.03.
    assert 0.80 < low < 0.86
    assert 0.94 < high < 0.98
