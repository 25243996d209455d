"""Where still water stands on a ground, against worked numbers and a walk along the profile in small steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.shore.profiles import BAR, random_ground
from tidecore.errors import InvalidInput
from tidecore.shore import Ground, plane_ground

SEEDS = st.integers(0, 2**32 - 1)


def walked(ground, steps=200):
    """The ground in small steps seaward, up and down its upright faces too."""
    parts = np.linspace(0.0, 1.0, steps)
    at = ground.distances[:-1, None] + parts * np.diff(ground.distances)[:, None]
    return at.ravel(), (ground.levels[:-1, None] + parts * np.diff(ground.levels)[:, None]).ravel()


def test_a_bar_and_its_trough_by_hand():
    # The trough fills at 0.5 m; its landward side falls 0.5 m over 15 m from 60 m on.
    assert BAR.waterline([0.49, 0.5, 0.75, 1.0, 2.5]) == pytest.approx(
        [120 + 180 * (0.91 / 4.4), 75.0, 67.5, 60.0, 30.0]
    )
    assert BAR.isolates([0.49, 0.5, 1.0, 1.49, 1.5]).tolist() == [False, True, True, True, False]
    assert BAR.sill_behind(100.0) == 0.5
    assert BAR.sill_behind(40.0) is None
    assert BAR.dry_spans(1.0) == [(0.0, 60.0), (pytest.approx(85.0), pytest.approx(120 + 180 * 0.4 / 4.4))]
    # Ground at the level of the water is wet.
    assert BAR.dry_spans(4.0) == []
    assert BAR.dry_spans(-3.0) == [(0.0, 300.0)]
    assert BAR.water_behind([0.4, 0.6], 100.0).tolist() == [False, True]
    assert BAR.level_of_reach([-1.0, 30.0, 80.0, 100.0]) == pytest.approx([np.inf, 2.5, 0.5, 0.5])


def test_off_the_profile_is_said_and_not_made_up():
    assert BAR.waterline([4.5, -3.5, np.nan]) == pytest.approx([-np.inf, np.inf, np.nan], nan_ok=True)
    assert BAR.level_at([-1.0, 301.0]) == pytest.approx([np.nan, np.nan], nan_ok=True)
    assert BAR.bed_at(301.0) == ""
    assert BAR.sill_behind(400.0) is None
    assert BAR.local_slope([4.5, -3.5]) == pytest.approx([np.nan, np.nan], nan_ok=True)


@pytest.mark.parametrize(("slope", "metres"), [(1 / 80, 80.0), (1 / 8, 8.0)])
def test_a_plane_moves_its_edge_by_its_slope(slope, metres):
    ground = plane_ground(slope, "shingle")
    assert ground.waterline([0.0])[0] - ground.waterline([1.0])[0] == pytest.approx(metres)
    assert ground.local_slope([0.0]) == pytest.approx([slope])
    assert ground.plane
    assert ground.bed_at(0.0) == "shingle"


@given(SEEDS)
def test_waterline_and_water_behind_are_those_of_a_walk(seed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng)
    at, level = walked(ground)
    still = rng.uniform(level.min() - 0.5, level.max() + 0.5, 40)
    for one, edge, cut in zip(still, ground.waterline(still), ground.isolates(still), strict=True):
        wet = np.flatnonzero(level <= one)
        if not wet.size:
            assert edge == np.inf
            assert not cut
            continue
        if wet[0] == 0:
            assert edge == -np.inf
        else:
            assert at[wet[0] - 1] - 1e-9 <= edge <= at[wet[0]] + 1e-9
        assert cut == bool((level[wet[0] :] > one).any())
    place = float(rng.uniform(ground.distances[0], ground.distances[-1]))
    behind = ground.water_behind(still, place)
    wet = ((at < place)[None, :] & (level[None, :] <= still[:, None])).any(axis=1)
    # The walk may step over the last decimetres before the place itself.
    assert (np.abs(ground.waterline(still[behind != wet]) - place) < 0.5).all()


@given(SEEDS)
def test_slopes_at_the_edge_are_how_far_it_moves(seed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng, bars=False)
    still = rng.uniform(ground.levels.min(), ground.levels.max(), 60)
    # Away from corners, where it is one slope on either side.
    still = still[(np.abs(still[:, None] - ground.levels) > 1e-3).all(axis=1)]
    run = ground.waterline(still - 1e-4) - ground.waterline(still + 1e-4)
    assert run == pytest.approx(2e-4 / ground.local_slope(still), rel=1e-6, abs=1e-9)


@given(SEEDS)
def test_ground_is_of_certain_beds_where_all_its_parts_are(seed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng, ("clean_sand", "shingle", "mud"))
    start, end = np.sort(rng.uniform(0.0, ground.distances[-1], (2, 40)), axis=0)
    parts = list(zip(ground.distances[:-1], ground.distances[1:], ground.beds[:-1], strict=True))
    for low, high, found in zip(
        start, end, ground.share_of_beds(start, end, frozenset({"clean_sand", "shingle"})), strict=True
    ):
        assert found == all(bed != "mud" for first, last, bed in parts if last > low and first < high)


@given(SEEDS)
def test_more_water_never_moves_the_edge_seaward(seed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng)
    still = np.sort(rng.uniform(ground.levels.min() - 0.5, ground.levels.max() + 0.5, 200))
    edge = ground.waterline(still)
    assert (edge[1:] <= edge[:-1]).all()
    sloping = np.isfinite(edge) & ~np.isin(edge, ground.distances)
    assert ground.level_of_reach(edge[sloping]) == pytest.approx(still[sloping], abs=1e-9)


@given(SEEDS)
def test_dry_ground_is_that_of_a_walk(seed):
    rng = np.random.default_rng(seed)
    ground = random_ground(rng)
    at, level = walked(ground)
    still = float(rng.uniform(level.min(), level.max()))
    dry = np.zeros(at.shape, dtype=bool)
    for start, end in ground.dry_spans(still):
        dry |= (at >= start - 1e-9) & (at <= end + 1e-9)
    clear = np.abs(level - still) > 1e-6
    # At an upright face one distance has many levels.
    single = ~np.isin(at, ground.distances[:-1][np.diff(ground.distances) == 0.0])
    assert np.array_equal(dry[clear & single], (level > still)[clear & single])


@pytest.mark.parametrize(
    ("distances", "levels", "beds", "problem"),
    [
        ([0.0, 5.0, 4.0], [1.0, 0.5, 0.0], 3, "profile.2.distance_m: 4 m comes after 5 m"),
        ([0.0], [1.0], 1, "at least two distances"),
        ([0.0, 1.0], [1.0, np.nan], 2, "finite"),
        ([0.0, 1.0], [1.0, 0.0], 1, "one a point"),
    ],
)
def test_what_is_no_ground_is_refused(distances, levels, beds, problem):
    with pytest.raises(InvalidInput, match=problem):
        Ground(np.array(distances), np.array(levels), ("",) * beds)


@pytest.mark.parametrize("slope", [0.0, -0.1, np.nan, np.inf])
def test_what_is_no_slope_is_refused(slope):
    with pytest.raises(InvalidInput, match="beach_slope"):
        plane_ground(slope)
