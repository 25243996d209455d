"""A plan of pegs by looking at every second, and at every point of the ground: what `peg_plan` is held against."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.shore.profiles import random_ground
from tests.tidecore.shore.test_turning_back import START, random_tide
from tidecore.shore import Ground, peg_plan
from tidecore.shore.pegging import Pegs
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.units import FloatArray, IntArray


def scanned(found: Pegs, times: IntArray) -> FloatArray:
    """Where one stands by a plan at some times; NaN where there is no peg."""
    places = np.full(times.size, np.nan)
    for move in found.moves:
        places[times >= move.time_us] = move.distance_m
    for start, end in found.without:
        places[(times >= start) & (times < end)] = np.nan
    return places


def lowest_behind(ground: Ground, distance: float) -> float:
    """Lowest ground from the landward end to a place, that of the place too."""
    points = zip(ground.distances.tolist(), ground.levels.tolist(), strict=True)
    behind = [level for at, level in points if at <= distance]
    return min([*behind, float(np.interp(distance, ground.distances, ground.levels))])


def by_seconds(limit: FloatArray, ground: Ground, step_m: float, notice_s: int, stay_s: int) -> FloatArray | None:
    """Where one stands at every second; ``limit`` goes on ``notice_s`` past the last of them.

    None where a place is free to the second as long as it must be: seconds cannot tell whether it is.
    """
    first = int(np.ceil(ground.distances[0] / step_m))
    places = np.arange(first, int(np.floor(ground.distances[-1] / step_m)) + 1) * step_m
    stands = np.full(limit.size - notice_s, np.nan)
    for place in places.tolist():
        free = np.concatenate(([False], lowest_behind(ground, place) > limit, [False]))
        starts = np.flatnonzero(free[1:] & ~free[:-1])
        ends = np.flatnonzero(~free[1:] & free[:-1])
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            if abs(end - start - notice_s - stay_s) <= 1:
                return None
            if end - start > notice_s + stay_s:
                stands[start : max(end - notice_s, 0)] = place
    return stands


def one_case(rng: np.random.Generator) -> int:
    """Hold one random ground and tide against the scan; return how many moves there were, 0 where it cannot tell."""
    ground = random_ground(rng)
    limit = random_tide(rng, float(np.median(ground.levels)))
    start = START + int(rng.integers(0, 86_400)) * US_PER_SECOND
    hours, notice, stay = int(rng.integers(2, 7)), int(rng.integers(0, 16)), int(rng.integers(0, 31))
    end, step = start + hours * 60 * US_PER_MINUTE, float(rng.uniform(4.0, 25.0))
    found = peg_plan(limit, ground, start, end, step, float(notice), float(stay))
    times = np.arange(start, end + notice * US_PER_MINUTE + 1, US_PER_SECOND)
    levels = limit(times.astype(np.float64))
    expected = by_seconds(levels, ground, step, 60 * notice, 60 * stay)
    if expected is None:
        return 0
    expected = expected[: hours * 3600]
    told = scanned(found, times[: hours * 3600])
    same = np.isclose(told, expected, equal_nan=True)
    # A plan moves within the second after the scan's, or before it.
    moved = [move.time_us for move in found.moves] + [at for gap in found.without for at in gap]
    for k in np.flatnonzero(~same).tolist():
        assert min(abs(at - int(times[k])) for at in moved) <= 1.5 * US_PER_SECOND
    steps = np.flatnonzero(~np.isclose(expected[1:], expected[:-1], equal_nan=True))
    # The last second that is looked at is the one before the end.
    assert len({at for at in moved if start < at <= end - US_PER_SECOND}) == pytest.approx(steps.size, abs=0)
    for k in np.flatnonzero(~np.isnan(told)).tolist()[::60]:
        ahead = levels[k : k + 60 * notice + 1]
        assert lowest_behind(ground, float(told[k])) > ahead.max() - 1e-3
    return len(found.moves)
