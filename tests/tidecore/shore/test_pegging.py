"""Pegs: against scans of every second over random grounds with bars and sills, and what they promise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.shore.peg_scan import one_case, scanned
from tests.tidecore.shore.profiles import BAR
from tests.tidecore.shore.test_turning_back import START, tide
from tidecore.errors import InvalidInput
from tidecore.shore import Ground, peg_plan, plane_ground
from tidecore.shore.pegging import MOST_PEGS
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND


def test_pegs_are_those_of_a_scan_of_every_second():
    told = sum(one_case(np.random.default_rng([11, seed])) for seed in range(200))
    assert told > 300


def test_pegs_on_a_plane_go_up_with_the_flood_and_down_with_the_ebb():
    # High water in the middle of six hours; the limit moves 2 m either way, on 1:40 a span of 80 m for each metre.
    limit, ground = tide(0.0, 2.0, 3.0), plane_ground(1 / 40)
    found = peg_plan(limit, ground, START, START + 6 * US_PER_HOUR, 10.0)
    assert not found.without
    metres = [move.metres for move in found.moves[1:]]
    turn = next(k for k, one in enumerate(metres) if one > 0)
    assert set(metres[:turn]) == {-10.0}
    assert set(metres[turn:]) == {10.0}
    assert found.moves[0].time_us == START
    # The limit comes to a peg 10 minutes after it is left.
    for one, after in zip(found.moves[:turn], found.moves[1:], strict=False):
        assert one.reached_us is not None
        assert float(limit(np.array([float(one.reached_us)]))[0]) == pytest.approx(-one.distance_m / 40, abs=1e-4)
        assert after.time_us == pytest.approx(one.reached_us - 10 * US_PER_MINUTE, abs=1)
        assert after.minutes == pytest.approx((after.time_us - one.time_us) / US_PER_MINUTE)
    assert found.moves[-1].reached_us is None


def test_a_bar_with_a_trough_behind_is_never_a_peg_once_the_trough_may_fill():
    # The trough lies at 0.5 m, the bar up to 1.5 m: while the limit is over 0.5 m nobody stands seaward of 75 m.
    limit = tide(0.0, 1.4, 6.2)
    found = peg_plan(limit, BAR, START, START + 9 * US_PER_HOUR, 5.0)
    times = np.arange(START, START + 9 * US_PER_HOUR, US_PER_SECOND)
    places = scanned(found, times)
    cut = limit(times.astype(float)) >= 0.5
    assert cut.any()
    assert np.nanmax(places[cut]) <= 75.0
    assert np.nanmax(places[~cut]) > 120.0


def test_a_shore_that_is_all_reached_has_no_peg_and_says_when():
    limit = tide(5.0, 4.0, 6.0)
    found = peg_plan(limit, BAR, START, START + 6 * US_PER_HOUR)
    assert found.moves
    (gap,) = found.without
    assert gap[1] == START + 6 * US_PER_HOUR
    flooded = peg_plan(tide(9.0, 0.5, 0.0), BAR, START, START + US_PER_HOUR)
    assert flooded.moves == ()
    assert flooded.without == ((START, START + US_PER_HOUR),)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 1.0))
def test_a_higher_limit_never_puts_a_peg_further_out(seed, higher):
    rng = np.random.default_rng(seed)
    limit = tide(1.0, float(rng.uniform(0.5, 2.5)), float(rng.uniform(0, 12)))
    end = START + 4 * US_PER_HOUR
    times = np.arange(START, end, 30 * US_PER_SECOND)
    low = scanned(peg_plan(limit, BAR, START, end, 10.0), times)
    high = scanned(peg_plan(lambda at: limit(at) + higher, BAR, START, end, 10.0), times)
    assert not (np.isnan(low) & ~np.isnan(high)).any()
    both = ~np.isnan(high)
    assert (high[both] <= low[both] + 1e-9).all()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"step_m": 0.0}, "step_m"),
        ({"step_m": np.nan}, "step_m"),
        ({"notice_min": -1.0}, "notice_min"),
        ({"least_stay_min": np.inf}, "least_stay_min"),
        ({"end_us": START}, "end"),
    ],
)
def test_what_is_no_question_is_refused(changes, field):
    asked = {"start_us": START, "end_us": START + US_PER_HOUR, "step_m": 10.0, **changes}
    with pytest.raises(InvalidInput, match=field):
        peg_plan(tide(0.0, 1.0, 0.0), BAR, **asked)


def test_too_many_pegs_are_refused_with_a_step_that_fits():
    flat = Ground(np.array([0.0, 100_000.0]), np.array([5.0, -5.0]), ("clean_sand",) * 2)
    end = START + 6 * US_PER_HOUR
    with pytest.raises(InvalidInput, match="step_m") as caught:
        peg_plan(tide(0.0, 2.0, 0.0), flat, START, end, 1.0)
    fault = caught.value.faults[0]
    assert int(fault.problem.split()[-2]) > MOST_PEGS
    fits = float(fault.expected.split()[0])
    assert peg_plan(tide(0.0, 2.0, 0.0), flat, START, end, fits).moves
