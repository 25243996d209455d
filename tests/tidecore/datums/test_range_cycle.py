from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.extremes.plain_tide import HOUR, SPEEDS, plain_tide
from tidecore.datums.range_cycle import (
    RangeCycle,
    _highest_first,
    _peaks,
    epoch_cycle,
    mean_spring_range,
    range_cycle,
)
from tidecore.errors import InvalidSpan
from tidecore.timebase import US_PER_DAY, TimeGrid

START, END = np.datetime64("2024-03-01", "us"), np.datetime64("2024-06-01", "us")
SPRINGS_DAYS = 360.0 / (SPEEDS["S2"] - SPEEDS["M2"]) / 24.0
TROPIC_DAYS = 360.0 / (SPEEDS["K1"] - SPEEDS["O1"]) / 24.0
MIXED = plain_tide(("M2", 0.5, 9), ("S2", 0.25, 50), ("N2", 0.1, 0), ("K1", 0.35, 99), ("O1", 0.3, 5), ("M4", 0.04, 3))
M2_ONLY = plain_tide(("M2", 1.5, 40))


def inside(cycle: RangeCycle, instants: np.ndarray) -> np.ndarray:
    return instants[(instants >= START.astype(np.int64)) & (instants < END.astype(np.int64))]


def test_daily_range_is_highest_minus_lowest_of_a_lunar_day_meaned_over_three() -> None:
    cycle = range_cycle(MIXED, START, START + np.timedelta64(2, "D"))
    # by brute force: a sample every 15 s meets a top to 5e-7 m; the mean over 72 h by the trapezium
    hour = int(np.flatnonzero(cycle.times_us == START.astype(np.int64))[0])
    half_us = round((12 + 25 / 60) * HOUR)
    ranges = []
    for k in range(-36, 37):
        middle = int(cycle.times_us[hour]) + k * HOUR
        heights = MIXED.heights(TimeGrid(middle - half_us, 15_000_000, 2 * half_us // 15_000_000 + 1))
        ranges.append(heights.max() - heights.min())
    expected = np.trapezoid(ranges) / 72
    assert cycle.daily_range[hour] == pytest.approx(expected, abs=1e-6)


def test_hours_are_whole_and_cover_the_span() -> None:
    cycle = range_cycle(MIXED, np.datetime64("2024-03-01T00:20"), np.datetime64("2024-03-01T05:10"))
    assert np.all(cycle.times_us % HOUR == 0)
    assert np.all(np.diff(cycle.times_us) == HOUR)
    assert cycle.times_us[0] <= START.astype(np.int64) - 16 * US_PER_DAY
    assert cycle.times_us[-1] >= START.astype(np.int64) + 16 * US_PER_DAY


def test_springs_come_when_sun_and_moon_pull_together() -> None:
    cycle = range_cycle(plain_tide(("M2", 1.0, 30), ("S2", 0.4, 75)), START, END)
    assert cycle.kind == "springs-neaps"
    springs, neaps = inside(cycle, cycle.springs_us), inside(cycle, cycle.neaps_us)
    # phases of S2 and M2 agree where (s - m) t = 75 - 30 degrees
    turns = ((SPEEDS["S2"] - SPEEDS["M2"]) * springs / HOUR - 45.0) / 360.0
    np.testing.assert_allclose((turns - np.rint(turns)) * SPRINGS_DAYS * 24, 0.0, atol=1.5)
    turns = ((SPEEDS["S2"] - SPEEDS["M2"]) * neaps / HOUR - 45.0) / 360.0
    np.testing.assert_allclose((turns - np.floor(turns) - 0.5) * SPRINGS_DAYS * 24, 0.0, atol=1.5)
    assert springs.size == pytest.approx(92 / SPRINGS_DAYS, abs=1)
    at_springs = cycle.daily_range_at(springs)
    assert np.all((at_springs > 2 * 1.4 * 0.97) & (at_springs < 2 * 1.4))
    at_neaps = cycle.daily_range_at(neaps)
    assert np.all((at_neaps > 2 * 0.6) & (at_neaps < 2 * 0.6 * 1.15))


def test_interval_from_springs_to_springs() -> None:
    # 14.765 days (common practice, and 360 degrees over the speed of MSf)
    springs = epoch_cycle(plain_tide(("M2", 1.0, 30), ("S2", 0.4, 75))).springs_us
    assert np.diff(springs).mean() / US_PER_DAY == pytest.approx(14.765, abs=5e-4)
    # 13.661 days: 360 degrees over the speed of Mf
    tropic = epoch_cycle(plain_tide(("K1", 0.5, 30), ("O1", 0.4, 75)))
    assert tropic.kind == "tropic-equatorial"
    assert np.diff(tropic.springs_us).mean() / US_PER_DAY == pytest.approx(13.661, abs=5e-4)


@pytest.mark.parametrize(
    ("terms", "kind"),
    [
        ((("M2", 1.0, 0), ("S2", 0.5, 0), ("K1", 1.2, 0), ("O1", 1.0, 0)), "springs-neaps"),  # F = 1.47
        ((("M2", 0.2, 0), ("S2", 0.1, 0), ("K1", 0.5, 0), ("O1", 0.45, 0)), "tropic-equatorial"),  # F = 3.2
        ((("M2", 0.3, 0), ("S2", 0.29, 0), ("K1", 0.9, 0), ("O1", 0.05, 0)), "springs-neaps"),  # F = 1.6, little O1
        (
            (("M2", 0.5, 0), ("S2", 0.03, 0), ("K1", 0.6, 0), ("O1", 0.6, 0)),
            "tropic-equatorial",
        ),  # F = 2.3, hardly any S2
        # At 3 it is the form number that decides, a little under it hardly any O1; at 1.5 hardly any S2, under it not.
        ((("M2", 0.25, 0), ("S2", 0.25, 0), ("K1", 1.4375, 0), ("O1", 0.0625, 0)), "tropic-equatorial"),
        ((("M2", 0.25, 0), ("S2", 0.25, 0), ("K1", 1.4375, 0), ("O1", 0.0615, 0)), "springs-neaps"),
        ((("M2", 0.46875, 0), ("S2", 0.03125, 0), ("K1", 0.375, 0), ("O1", 0.375, 0)), "tropic-equatorial"),
        ((("M2", 0.46875, 0), ("S2", 0.03125, 0), ("K1", 0.375, 0), ("O1", 0.374, 0)), "springs-neaps"),
    ],
)
def test_form_number_and_then_variance_decide_the_kind(terms: tuple[tuple[str, float, float], ...], kind: str) -> None:
    assert range_cycle(plain_tide(*terms), START, END).kind == kind


def test_days_from_springs_are_signed_and_to_the_nearest() -> None:
    cycle = range_cycle(MIXED, START, END)
    springs = inside(cycle, cycle.springs_us)
    times = springs[:, None] + np.array([-3.0, -0.25, 0.0, 2.5]) * US_PER_DAY
    np.testing.assert_allclose(cycle.days_from_springs(times), np.tile([-3.0, -0.25, 0.0, 2.5], (springs.size, 1)))
    middle = 0.5 * (springs[0] + springs[1])
    before, after = cycle.days_from_springs(np.array([middle - HOUR, middle + HOUR]))
    assert before > 0 > after


def test_tides_make_from_neaps_to_springs_and_take_off_after() -> None:
    cycle = range_cycle(plain_tide(("M2", 1.0, 30), ("S2", 0.4, 75)), START, END)
    springs = inside(cycle, cycle.springs_us)
    for days in (-6.0, -3.0, -0.5):
        assert cycle.making(springs + days * US_PER_DAY).all()
    for days in (0.5, 3.0, 6.0):
        assert not cycle.making(springs + days * US_PER_DAY).any()


def test_range_that_does_not_vary_has_no_springs() -> None:
    cycle = range_cycle(M2_ONLY, START, END)
    assert cycle.springs_us.size == 0
    assert cycle.neaps_us.size == 0
    assert np.isnan(cycle.days_from_springs(cycle.times_us)).all()
    assert not cycle.making(cycle.times_us[100:-100]).any()
    np.testing.assert_allclose(cycle.daily_range, 3.0, atol=1e-9)
    assert mean_spring_range(M2_ONLY) == pytest.approx(3.0, abs=1e-9)
    flat = plain_tide(("M2", 0.0, 0))
    np.testing.assert_array_equal(range_cycle(flat, START, END).daily_range, 0.0)
    assert mean_spring_range(flat) == 0.0


def test_mean_spring_range_is_the_mean_of_the_springs_of_the_epoch() -> None:
    cycle = epoch_cycle(MIXED)
    first, last = (np.datetime64(day, "us").astype(np.int64) for day in ("2001-01-01", "2019-08-13"))
    assert (last - first) / US_PER_DAY == 6798
    springs = cycle.springs_us[(cycle.springs_us >= first) & (cycle.springs_us < last)]
    assert mean_spring_range(MIXED) == mean_spring_range(MIXED, cycle)
    assert mean_spring_range(MIXED) == pytest.approx(np.interp(springs, cycle.times_us, cycle.daily_range).mean())
    assert mean_spring_range(MIXED) > cycle.daily_range.mean() * 1.1


WHOLE = range_cycle(MIXED, START, START + np.timedelta64(400, "D"))


@settings(max_examples=40)
@given(first=st.integers(0, 399 * 86400), length=st.sampled_from([1, 3600, 86400, 30 * 86400]))
def test_value_of_an_instant_never_depends_on_the_span(first: int, length: int) -> None:
    start = START + np.timedelta64(first, "s")
    part = range_cycle(MIXED, start, start + np.timedelta64(length, "s"))
    at = start.astype(np.int64) + np.linspace(0, length * 1e6, 50)
    at = at[at <= WHOLE.times_us[-1]]
    np.testing.assert_allclose(part.daily_range_at(at), WHOLE.daily_range_at(at), rtol=0, atol=1e-13)
    np.testing.assert_allclose(part.days_from_springs(at), WHOLE.days_from_springs(at), rtol=0, atol=1e-8)
    np.testing.assert_array_equal(part.making(at), WHOLE.making(at))


def test_springs_are_at_least_seven_days_apart_and_stand_out() -> None:
    cycle = epoch_cycle(MIXED)
    for instants, sign in ((cycle.springs_us, 1.0), (cycle.neaps_us, -1.0)):
        assert np.diff(instants).min() >= 7 * US_PER_DAY - HOUR
        here = sign * cycle.daily_range_at(instants)
        for days in (-1.0, 1.0):
            assert np.all(here > sign * cycle.daily_range_at(instants + days * US_PER_DAY))


def highest_first(times: list[int], values: list[int]) -> list[bool]:
    """Literally: the highest of those left, of equals the earliest, is chosen, and what is within 7 days goes."""
    chosen, left = [False] * len(times), list(range(len(times)))
    while left:
        best = min(left, key=lambda k: (-values[k], times[k]))
        chosen[best] = True
        left = [k for k in left if abs(times[k] - times[best]) >= 7 * US_PER_DAY]
    return chosen


@given(st.lists(st.tuples(st.integers(1, 10 * 24), st.integers(0, 6)), max_size=25))
def test_maxima_are_chosen_the_highest_first_and_those_within_seven_days_go(steps: list[tuple[int, int]]) -> None:
    times = np.cumsum([hours for hours, _ in steps], dtype=np.int64) * HOUR
    values = [value for _, value in steps]
    found = _highest_first(times, np.array(values, dtype=np.float64))
    assert found.tolist() == highest_first(times.tolist(), values)


@pytest.mark.parametrize("late_h", [0.0, 0.25, 0.5, 0.75])
def test_a_maximum_is_placed_between_the_hours(late_h: float) -> None:
    # Half a fortnight before and after the cosine is at its least; at half past two hours are equal to the last digit.
    hours = np.arange(-500, 502)
    values = 2.0 + np.cos(np.abs(hours - late_h) * 2.0 * np.pi / (14.765 * 24.0))
    found = _peaks(hours.astype(np.int64) * HOUR, values)
    assert found[np.abs(found) < 5 * US_PER_DAY].tolist() == pytest.approx([late_h * HOUR], abs=60e6)


def test_making_is_growth_from_half_a_day_before_to_half_a_day_after() -> None:
    cycle = range_cycle(MIXED, START, END)
    times = np.arange(START.astype(np.int64), END.astype(np.int64), HOUR // 4)
    day = 12 * HOUR
    before, after = (np.interp(times + shift, cycle.times_us, cycle.daily_range) for shift in (-day, day))
    np.testing.assert_array_equal(cycle.making(times), after - before > 1e-6)


def test_instants_outside_are_refused() -> None:
    cycle = range_cycle(MIXED, START, END)
    ends = cycle.times_us[[0, -1]]
    np.testing.assert_array_equal(cycle.daily_range_at(ends), cycle.daily_range[[0, -1]])
    assert cycle.daily_range_at(np.empty(0)).size == 0
    with pytest.raises(InvalidSpan, match="expected instants from"):
        cycle.daily_range_at(np.array([cycle.times_us[0], cycle.times_us[-1] + 1]))
    with pytest.raises(InvalidSpan, match="expected instants from"):
        cycle.daily_range_at(np.array([cycle.times_us[0] - 1, cycle.times_us[-1]]))
    with pytest.raises(InvalidSpan, match="expected instants from"):
        cycle.making(np.array([cycle.times_us[0]]))
    with pytest.raises(InvalidSpan, match="end after the start"):
        range_cycle(MIXED, END, START)
