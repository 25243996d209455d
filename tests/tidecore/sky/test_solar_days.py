"""What the process keeps of the sky over places: it changes no event, whatever was asked for before."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tidecore.sky import SkyEvents, sky_events, sky_events_many, sky_positions
from tidecore.sky.ephemeris import FIRST_DAY, LAST_DAY
from tidecore.sky.passages import Passages
from tidecore.sky.solar_days import KEPT, _Kept

DAY = np.timedelta64(1, "D")
#: Temperate, polar in autumn and spring, at the date line, at the equator.
PLACES = [(47.0, -18.0), (69.5, 31.0), (66.2, -25.0), (-33.0, 179.99), (-33.0, -180.0), (0.0, 75.3)]


def told(place: tuple[float, float], start: np.datetime64, end: np.datetime64) -> SkyEvents:
    return sky_events(sky_positions(start, end), *place, start, end)


def same(one: SkyEvents, other: SkyEvents) -> bool:
    pairs = zip(dataclasses.astuple(one), dataclasses.astuple(other), strict=True)
    return all(np.array_equal(mine, theirs) for mine, theirs in pairs)


@pytest.mark.parametrize("place", PLACES)
def test_events_are_the_same_to_the_last_digit_cold_and_warm(place: tuple[float, float]) -> None:
    start = np.datetime64("2026-11-13T07:41:00", "us")
    KEPT.clear()
    cold = told(place, start, start + 40 * DAY)
    assert same(told(place, start, start + 40 * DAY), cold)
    # Parts that were asked for before in other company and in another order, one of them within a single run.
    KEPT.clear()
    for first, last in ((17, 18), (-20, 3), (30, 70)):
        told(place, start + first * DAY, start + last * DAY)
    together = sky_events_many(sky_positions(start, start + 40 * DAY), [*PLACES, place, place], start, start + 40 * DAY)
    assert same(together[-1], cold)
    assert same(together[PLACES.index(place)], cold)
    # Spans that meet share no event and lose none, wherever they meet a border of runs.
    for border in (0.0, 0.5, 6.37, 8.0, 16.0):
        middle = start + np.timedelta64(round((10.0 + border) * 86_400e6), "us")
        parts = told(place, start, middle), told(place, middle, start + 40 * DAY)
        assert np.array_equal(np.concatenate([one.time for one in parts]), cold.time)
        assert np.array_equal(np.concatenate([one.rate for one in parts]), cold.rate)


def test_both_ends_of_the_ephemeris_are_told() -> None:
    for place in ((50.0, 179.0), (50.0, -179.0)):
        for start, end in ((FIRST_DAY, FIRST_DAY + 3 * DAY), (LAST_DAY - 3 * DAY, LAST_DAY)):
            found = told(place, start, end)
            assert abs(found.of("sunrise").size - 3) <= 1
            assert ((found.time >= start) & (found.time < end)).all()


def test_so_many_runs_are_kept_and_those_used_last() -> None:
    kept = _Kept(2)
    nothing = np.empty(0)
    run = Passages(nothing.astype(np.int64), nothing.astype(np.int64), nothing, nothing.astype(np.int64))
    for k in (1, 2):
        kept.keep({(0.0, 0.0, k): run})
    assert kept.find([(0.0, 0.0, 1)])
    kept.keep({(0.0, 0.0, 3): run})
    assert list(kept.find([(0.0, 0.0, k) for k in (1, 2, 3)])) == [(0.0, 0.0, 1), (0.0, 0.0, 3)]
