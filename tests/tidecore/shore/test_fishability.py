"""Lead, surf, weed and wind against the thresholds of the trade, and what is unknown."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tidecore.shore import fishable
from tidecore.shore.fishability import (
    FISHABLE,
    HOLDING,
    PARTS,
    SURF,
    WEED,
    hindering_wind,
    holding,
    in_sector,
    surf,
    weed,
)

NAN = float("nan")


def test_the_lead_holds_up_to_a_metre_a_second():
    speeds = [0.0, 1.0, -1.0, 1.01, -1.3, 1.31, NAN]
    expected = ["holds", "holds", "holds", "marginal", "marginal", "does_not_hold", ""]
    assert [(*HOLDING, "")[code] for code in holding(speeds)] == expected


def test_a_sea_over_two_metres_is_unfishable_where_it_comes():
    height, comes = [2.0, 2.1, 2.1, 2.1, 1.0, NAN], np.array([1, 1, 0, -1, -1, 1])
    expected = ["fishable", "unfishable", "fishable", "", "fishable", ""]
    assert [(*SURF, "")[code] for code in surf(height, comes)] == expected


@pytest.mark.parametrize(
    ("sector", "inside", "outside"),
    [
        ((300.0, 100.0), [300.0, 0.0, 359.9, 100.0], [101.0, 299.0, 200.0, NAN]),
        ((90.0, 90.0), [0.0, 90.0, 270.0], [NAN]),
    ],
)
def test_sectors_run_clockwise_past_north(sector, inside, outside):
    assert in_sector(inside, *sector).all()
    assert not in_sector(outside, *sector).any()


def test_wind_hinders_by_its_whole_on_the_shore_and_by_its_cross_part_off_it():
    # A mark that looks east: 12 m/s from east, north-east, north, north-west, west.
    found = hindering_wind([12.0] * 5, [90.0, 45.0, 0.0, 315.0, 270.0], 90.0)
    assert found == pytest.approx([12.0, 12.0, 12.0, 12.0 * np.sqrt(0.5), 0.0], abs=1e-9)
    assert np.isnan(hindering_wind([NAN, 5.0], [0.0, NAN], 90.0)).all()


def test_seen_weed_overrides_the_proxy():
    seen, risk = np.array(["none", "", "", "unfishable"]), np.array(["high", "likely", "", "low"])
    assert [(*WEED, "")[code] for code in weed(seen, risk)] == ["none", "likely", "", "unfishable"]


def test_the_whole_is_as_bad_as_its_worst_part_and_unknown_unless_that_is_no():
    holds, breaks, winds = {0: 0, 1: 1, 2: 2, -1: -1}, {0: 0, 1: 2, -1: -1}, {4.0: 0, 10.1: 1, NAN: -1}
    weeds = {0: 0, 2: 1, 3: 2, 5: 1, -1: -1}
    for hold, surfy, weedy, wind in itertools.product(holds.items(), breaks.items(), weeds.items(), winds.items()):
        parts = (hold[1], surfy[1], weedy[1], wind[1])
        codes = [np.array([one[0]]) for one in (hold, surfy, weedy)]
        found = fishable(codes[0], codes[1], codes[2], np.array([wind[0]]))
        expected = 2 if 2 in parts else -1 if -1 in parts else max(parts)
        assert found.codes[0] == expected
        named = tuple(name for name, part in zip(PARTS, parts, strict=True) if part == expected)
        assert found.because(0) == (() if expected == 0 else named)
    assert FISHABLE == ("yes", "hard", "no")


def test_more_sea_wind_and_stream_never_fish_better():
    rng = np.random.default_rng(3)
    for _ in range(2000):
        speed, sea, wind = rng.uniform(0, 2), rng.uniform(0, 4), rng.uniform(0, 20)
        more = rng.exponential(0.5, 3)
        whence, weedy = rng.uniform(0, 360), rng.integers(0, 7)
        codes = [
            fishable(
                holding([speed + k * more[0]]),
                surf([sea + k * more[1]], np.array([1])),
                np.array([weedy]),
                hindering_wind([wind + k * more[2]], [whence], 80.0),
            ).codes[0]
            for k in (0.0, 1.0)
        ]
        assert codes[0] <= codes[1]
