"""Turn-back and moves, against scans of every second on invented tides over random grounds with bars and sills."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from tests.tidecore.shore.profiles import BAR, random_ground
from tidecore.errors import InvalidInput
from tidecore.shore import (
    Ground,
    WayBack,
    covered_spans,
    edge_speed,
    minutes_to_turn_back,
    moves,
    plane_ground,
    turn_back,
    way_back,
)
from tidecore.shore.turning_back import SILL_MARGIN_M
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND

START = 1_780_000_000 * US_PER_SECOND


@dataclass(frozen=True)
class Leg:
    name: str
    lowest_sill_m: float
    bed: str | None = None
    length_m: float | None = None
    minutes: float | None = None


def tide(mean, amplitude, phase_h, period_h=12.42, wobble=0.0):
    def level(at):
        hours = (np.asarray(at) - START) / US_PER_HOUR
        slow = mean + amplitude * np.cos(2 * np.pi * (hours - phase_h) / period_h)
        return slow + wobble * np.cos(2 * np.pi * hours / (period_h / 4) + 1.0)

    return level


def random_tide(rng, middle=0.0):
    return tide(
        middle + rng.normal(0.0, 0.5), rng.uniform(0.5, 4.0), rng.uniform(0.0, 12.42), 12.42, rng.uniform(0, 0.3)
    )


def raised(level, surge):
    def higher(at):
        return level(at) + surge

    return higher


def seconds(start_us, end_us):
    return np.arange(start_us, end_us + 1, US_PER_SECOND, dtype=np.int64)


def test_a_way_back_by_hand():
    legs = (Leg("causeway", 1.2, "clean_sand", 1000.0), Leg("steps", 2.0, None, None, 4.0))
    way = way_back(legs)
    assert way is not None
    assert (way.sill_m, way.sill_name, way.walk_min, way.lead_min) == (1.2, "causeway", 19.0, 44.0)
    # High water of 3 m at 6 h 12.6 min, low water at the start; the sill less 0.3 m is at 0.9 m: 0.6 below the mean of
    # 1.5, cos = 0.4, reached 6.21 h x acos(0.4) / pi = 2.291 h after low water.
    level = tide(1.5, -1.5, 0.0)
    found = turn_back(level, way, START, START + 8 * US_PER_HOUR)
    assert found.covered_us is not None
    assert found.time_us is not None
    assert (found.covered_us - START) / US_PER_HOUR == pytest.approx(6.21 * np.arccos(0.4) / np.pi, abs=0.001)
    assert found.covered_us - found.time_us == 44 * US_PER_MINUTE


def test_what_is_not_known_of_a_way_stays_unknown():
    assert way_back(()) is None
    mud = way_back((Leg("flat", 0.5, "mud", 300.0), Leg("track", 3.0, "shingle", 100.0)))
    assert mud is not None
    assert (mud.walk_min, mud.lead_min) == (None, None)
    assert "flat" in mud.why
    assert turn_back(tide(0.0, 3.0, 0.0), mud, START, START + US_PER_HOUR).time_us is None
    for leg in (Leg("a", 1.0, None, 50.0), Leg("a", 1.0, "clean_sand", None)):
        way = way_back((leg,))
        assert way is not None
        assert way.walk_min is None
    # Twelve hours with 25 min to pack up and to spare.
    longest, endless = (way_back((Leg("a", 1.0, None, None, minutes),)) for minutes in (695.0, 696.0))
    assert longest is not None
    assert longest.lead_min == 720.0
    assert endless is not None
    assert endless.walk_min is None
    assert "longer than" in endless.why


def test_ground_behind_the_peg_is_a_sill_too():
    way = way_back((Leg("beach", 2.0, "clean_sand", 100.0),), BAR.sill_behind(100.0))
    assert way is not None
    assert (way.sill_m, way.sill_name) == (0.5, "the ground behind the peg")
    lower = way_back((Leg("beach", 0.2, "clean_sand", 100.0),), 0.5)
    assert lower is not None
    assert lower.sill_name == "beach"


def test_turn_back_is_that_of_a_scan_of_every_second_on_200_grounds():
    rng = np.random.default_rng(20_261)
    met = dry = 0
    for _ in range(200):
        ground = random_ground(rng)
        peg = float(rng.uniform(0.0, ground.distances[-1]))
        level = random_tide(rng, float(rng.choice(ground.levels)))
        legs = tuple(
            Leg(
                f"leg {k}", float(rng.choice(ground.levels)) + rng.normal(0.0, 0.3), "shingle", rng.uniform(20.0, 900.0)
            )
            for k in range(rng.integers(1, 4))
        )
        way = way_back(legs, ground.sill_behind(peg))
        assert way is not None
        start = START + int(rng.integers(0, 86_400)) * US_PER_SECOND
        end = start + int(rng.integers(3600, 6 * 3600)) * US_PER_SECOND
        found = turn_back(level, way, start, end)
        behind = [leg.lowest_sill_m for leg in legs]
        walked = np.linspace(0.0, peg, 2000)[:-1]
        trough = np.concatenate(
            (np.interp(walked, ground.distances, ground.levels), ground.levels[ground.distances < peg])
        )
        if trough.size and trough.min() < float(ground.level_at(peg)) - 1e-6:
            behind.append(trough.min())
        lead_s = sum(leg.length_m or 0.0 for leg in legs) / 2000 * 3600 + 25 * 60
        at = seconds(start, end + round(lead_s) * US_PER_SECOND)
        over = np.flatnonzero(level(at) >= min(behind) - SILL_MARGIN_M)
        assert found.already == bool(over.size and over[0] == 0)
        if over.size:
            met += 1
            assert found.covered_us == pytest.approx(at[over[0]], abs=1.5 * US_PER_SECOND)
            assert found.time_us == pytest.approx(at[over[0]] - lead_s * US_PER_SECOND, abs=2 * US_PER_SECOND)
        else:
            dry += 1
            assert found.covered_us is None
    assert met > 80
    assert dry > 20


def test_a_tide_that_tops_a_sill_for_moments_is_found():
    level = tide(0.0, 2.0, 6.0031)
    spans = covered_spans(level, 2.0 - 1e-6, START, START + 12 * US_PER_HOUR)
    assert len(spans) == 1
    assert spans[0].mean() == pytest.approx(START + 6.0031 * US_PER_HOUR, abs=US_PER_SECOND)
    assert 0 < spans[0, 1] - spans[0, 0] < 20 * US_PER_SECOND


def test_minutes_left_fall_by_one_a_minute_until_the_sill_is_dry_again():
    covered = np.array([[60, 180], [600, 700]]) * US_PER_MINUTE
    at = np.array([0, 30, 60, 100, 179, 180, 560, 700, 5000]) * US_PER_MINUTE
    left = minutes_to_turn_back(at, covered, 40.0, 1440.0)
    assert left.tolist() == [20.0, -10.0, -40.0, -80.0, -159.0, 380.0, 0.0, 1440.0, 1440.0]
    assert minutes_to_turn_back(at, np.empty((0, 2), dtype=np.int64), 40.0, 1440.0).tolist() == [1440.0] * 9


def test_more_water_and_a_slower_walk_never_leave_more_time() -> None:
    rng = np.random.default_rng(11)
    at = seconds(START + 12 * US_PER_HOUR, START + 36 * US_PER_HOUR)[::60]
    for _ in range(100):
        level, sill = random_tide(rng), rng.normal(0.0, 1.0)
        surge, lead, slower = rng.exponential(0.3), rng.uniform(30.0, 120.0), rng.exponential(10.0)
        spans = [covered_spans(raised(level, more), sill, START, START + 72 * US_PER_HOUR) for more in (0.0, surge)]
        calm = minutes_to_turn_back(at, spans[0], lead, 1440.0)
        assert (minutes_to_turn_back(at, spans[1], lead, 1440.0) <= calm + 0.01).all()
        assert (minutes_to_turn_back(at, spans[0], lead + slower, 1440.0) <= calm).all()
        start, end = int(at[0]), int(at[-1])
        turns = [
            turn_back(raised(level, more), WayBack(sill, "sill", walk), start, end).time_us
            for more, walk in ((0.0, lead), (surge, lead), (0.0, lead + slower))
        ]
        for worse in turns[1:]:
            if turns[0] is not None:
                assert worse is not None
                assert worse <= turns[0] + US_PER_SECOND


def test_moves_are_those_of_a_scan_of_every_second():
    rng = np.random.default_rng(7)
    told = 0
    for _ in range(200):
        ground = random_ground(rng)
        level = random_tide(rng, float(np.median(ground.levels)))
        start = START + int(rng.integers(0, 86_400)) * US_PER_SECOND
        end, step = start + 4 * US_PER_HOUR, float(rng.uniform(4.0, 25.0))
        found = moves(level, ground, start, end, step)
        at = seconds(start, end)
        edge = ground.waterline(level(at))
        if not np.isfinite(edge[0]):
            assert found == ()
            continue
        here, expected = 0, []
        places = (edge - edge[0]) / step
        far = (ground.distances[[0, -1]] - edge[0]) / step
        passed = 1 + np.flatnonzero(np.ceil(places[1:]) != np.ceil(places[:-1]))
        for time, place in zip(at[passed], places[passed], strict=True):
            to = here
            if place > here + 1:
                to = int(min(np.ceil(place) - 1, np.floor(far[1])))
            elif place <= here - 1:
                to = int(max(np.ceil(place), np.ceil(far[0])))
            if to != here:
                expected.append((time, (to - here) * step))
                here = to
        metres = [metres for _, metres in expected]
        assert [move.metres for move in found] == pytest.approx(metres)
        assert [move.waterline_m for move in found] == pytest.approx(edge[0] + np.cumsum(metres))
        for move, (time, _) in zip(found, expected, strict=True):
            assert move.time_us == pytest.approx(time, abs=1.5 * US_PER_SECOND)
        told += len(found)
    assert told > 200


def test_moves_on_a_plane_and_over_a_bar():
    level = tide(0.0, 2.0, 0.0)
    found = moves(level, plane_ground(1 / 80), START, START + 3 * US_PER_HOUR, 20.0)
    assert {move.metres for move in found} == {20.0}
    # A quarter of a metre for each move: the first when the level is 1.75 m.
    first = 12.42 * np.arccos(1.75 / 2.0) / (2 * np.pi)
    assert (found[0].time_us - START) / US_PER_HOUR == pytest.approx(first, abs=1e-4)
    assert found[0].minutes == pytest.approx(first * 60, abs=0.01)
    # The trough at 0.5 m is passed at once: from 75 m to the sea beyond the bar.
    jump = max(moves(level, BAR, START, START + 6 * US_PER_HOUR, 5.0), key=lambda move: move.metres)
    assert jump.metres >= 80.0


@pytest.mark.parametrize("step_m", [0.5, 3.0])
@pytest.mark.parametrize("phase_h", [0.0, 3.1, 6.21])
def test_moves_on_a_plane_are_those_on_a_profile_of_its_slope(step_m, phase_h):
    level, end = tide(0.3, 2.0, phase_h), START + 4 * US_PER_HOUR
    profile = Ground(np.array([-200.0, 200.0]), np.array([10.0, -10.0]), ("", ""))
    found, same = (moves(level, ground, START, end, step_m) for ground in (plane_ground(1 / 20), profile))
    assert len(found) > 5
    assert [move.time_us for move in found] == pytest.approx([move.time_us for move in same], abs=0.1 * US_PER_SECOND)
    assert [move.metres for move in found] == [move.metres for move in same]


def test_moves_and_speeds_off_the_ground_are_not_told():
    assert moves(tide(9.0, 0.1, 0.0), BAR, START, START + US_PER_HOUR, 5.0) == ()
    assert edge_speed(BAR, [2.0, 9.0], [1.0, 1.0]) == pytest.approx([-20.0, np.nan], nan_ok=True)
    for step in (0.0, -1.0, np.nan):
        with pytest.raises(InvalidInput, match="step_m"):
            moves(tide(0.0, 1.0, 0.0), BAR, START, START + US_PER_HOUR, step)
