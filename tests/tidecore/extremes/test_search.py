from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.extremes.plain_tide import HOUR, SPEEDS, plain_tide
from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.extremes import Extremes, find_extremes, peak_rates
from tidecore.harmonics import Harmonics
from tidecore.roots.stationary import stationary_points
from tidecore.timebase import US_PER_DAY

START, END = np.datetime64("2024-03-01", "us"), np.datetime64("2024-05-01", "us")
M2_US = 360.0 / SPEEDS["M2"] * HOUR

MIXED = plain_tide(
    ("M2", 0.3, 9), ("S2", 0.25, 50), ("K1", 0.35, 100), ("O1", 0.3, 5), ("P1", 0.1, 90), ("M4", 0.04, 3)
)
DIURNAL = plain_tide(("M2", 0.04, 0), ("S2", 0.03, 50), ("K1", 0.3, 100), ("O1", 0.29, 5), ("P1", 0.1, 100))
DOUBLE_LOW = plain_tide(
    ("M2", 1.0, 0),
    ("S2", 0.3, 50),
    ("N2", 0.2, 10),
    ("K1", 0.08, 100),
    ("M4", 0.33, 5),
    ("MS4", 0.2, 40),
    ("M6", 0.08, 7),
)
SMALL = plain_tide(("M2", 0.02, 0), ("S2", 0.012, 50), ("K1", 0.02, 100), ("O1", 0.015, 5), ("M4", 0.006, 0))
TIDES = {"mixed": MIXED, "diurnal": DIURNAL, "double low": DOUBLE_LOW, "small": SMALL}


def test_pure_m2_turns_every_six_hours_and_a_bit() -> None:
    events = find_extremes(plain_tide(("M2", 2.0, 75.0), mean_level=3.0), START, END)
    highs, lows = events.highs(), events.lows()
    assert len(events) == pytest.approx(61 * US_PER_DAY / M2_US * 2, abs=1)
    cycles = (highs.times_us() / HOUR * SPEEDS["M2"] - 75.0) / 360.0
    np.testing.assert_allclose(cycles, highs.tide_id, atol=1e-9)
    np.testing.assert_allclose(highs.height, 5.0, atol=1e-10)
    np.testing.assert_allclose(lows.height, 1.0, atol=1e-10)
    assert np.all(np.diff(highs.tide_id) == 1)
    assert np.all(np.diff(events.tide_id) >= 0)
    assert np.all(events.primary)
    assert set(highs.rank) == {"H"}
    assert set(lows.rank) == {"L"}
    assert not events.double.any()
    assert not events.no_tide.any()
    assert np.isnat(events.stand_start).all()


def test_low_water_has_the_number_of_the_high_water_before() -> None:
    for tide in TIDES.values():
        events = find_extremes(tide, START, END).primaries()
        low = np.flatnonzero(events.kind == "low")[1:]
        assert np.array_equal(events.tide_id[low], events.tide_id[low - 1])


@pytest.mark.parametrize(
    ("fourth", "count", "double"),
    [
        (0.249, 2, False),  # 4 A4 < A2: one low water
        (0.2502, 4, False),  # 4 A4 > A2: the dip is there, but tiny
        (0.35, 4, False),  # 5.7 cm deep, but 1.5 h between dip and trough
        (0.48, 4, True),  # 22 cm and 2.02 h
    ],
)
def test_double_low_water_where_a_quarter_of_m2_is_passed(fourth: float, count: int, double: bool) -> None:
    # cos x + r cos 2x: troughs where cos x = -1 / 4r, of height -1/8r - r; the dip at x = pi rises to r - 1
    events = find_extremes(plain_tide(("M2", 1.0, 0), ("M4", fourth, 0)), START, START + np.timedelta64(100, "D"))
    assert len(events) == pytest.approx(100 * US_PER_DAY / M2_US * count, abs=2)
    primaries = events.primaries()
    assert len(primaries) == pytest.approx(100 * US_PER_DAY / M2_US * 2, abs=2)
    assert bool(events.double.any()) is double
    if count == 4:
        troughs = events.lows()
        np.testing.assert_allclose(troughs.height, -1 / (8 * fourth) - fourth, atol=1e-9)
        x = np.degrees(np.arccos(-1 / (4 * fourth)))
        phase = np.mod(troughs.times_us() / HOUR * SPEEDS["M2"] + 180.0, 360.0) - 180.0
        np.testing.assert_allclose(np.abs(phase), x, atol=1e-3)
        dips = events.highs().select(~events.highs().primary)
        np.testing.assert_allclose(dips.height, fourth - 1, atol=1e-9)
        assert set(dips.rank) == {""}
        assert not dips.double.any()
        # both troughs of a tide have its number
        inner = troughs.select(troughs.time > START + np.timedelta64(1, "D"))
        _, sizes = np.unique(inner.tide_id, return_counts=True)
        assert set(sizes[1:-1]) == {2}
    if double:
        assert np.all(events.lows().double)


def test_stand_is_where_the_rate_stays_under_a_tenth_of_the_peak() -> None:
    w = np.radians(SPEEDS["M2"])
    events = find_extremes(plain_tide(("M2", 1.0, 0), ("M4", 0.25, 0)), START, END)
    assert np.isnat(events.highs().stand_start).all()
    lows = events.lows()
    assert not np.isnat(lows.stand_start).any()
    # by a one-second grid around the trough: t hours from it, x = pi + w t
    t = np.arange(-7.0, 7.0, 1 / 3600)
    rate = np.abs(np.sin(np.pi + w * t) + 0.5 * np.sin(2 * np.pi + 2 * w * t))
    slow = rate < 0.1 * rate.max()
    right = t[(t > 0) & ~slow].min()
    assert right > 0.75
    troughs = (np.rint((lows.times_us() / HOUR * SPEEDS["M2"] - 180) / 360) * 360 + 180) / SPEEDS["M2"]
    np.testing.assert_allclose(lows.stand_end.astype(np.int64) / HOUR - troughs, right, atol=1.5 / 3600)
    np.testing.assert_allclose(lows.stand_start.astype(np.int64) / HOUR - troughs, -right, atol=1.5 / 3600)


def test_one_constituent_a_day_gives_one_high_water_a_day_and_no_second() -> None:
    events = find_extremes(plain_tide(("K1", 0.4, 200)), START, START + np.timedelta64(300, "D"))
    k1_us = 360.0 / SPEEDS["K1"] * HOUR
    np.testing.assert_allclose(np.diff(events.highs().times_us()), k1_us, atol=10)
    assert set(events.rank) == {"H", "L"}
    assert np.all(events.primary)


def test_two_waters_of_a_lunar_day_are_ranked_by_height() -> None:
    events = find_extremes(plain_tide(("M2", 1.0, 0), ("K1", 0.3, 30)), START, END).primaries()
    for kind, best, other, alone in (("high", "HH", "LH", "H"), ("low", "LL", "HL", "L")):
        waters = events.select(events.kind == kind)
        assert {best, other} <= set(waters.rank) <= {best, other, alone}
        days = waters.tide_id // 2
        pairs = np.flatnonzero(days[1:] == days[:-1])
        assert pairs.size > 50
        sign = 1.0 if kind == "high" else -1.0
        for k in pairs:
            first, second = sign * waters.height[k], sign * waters.height[k + 1]
            ranks = (waters.rank[k], waters.rank[k + 1])
            equal = abs(first - second) <= 0.03
            assert ranks == ((alone, alone) if equal else (best, other) if first > second else (other, best))


def test_where_there_is_no_tide_none_is_made_up() -> None:
    for level in (0.0, 1.0, 2345.678):
        assert len(find_extremes(plain_tide(("M2", 0.0, 0), ("S2", 0.0, 0), mean_level=level), START, END)) == 0
    for tide in (plain_tide(("M2", 0.0149, 0)), plain_tide(("M2", 0.004, 0), ("SA", 0.1, 0))):
        events = find_extremes(tide, START, END)
        assert len(events) > 230
        assert not events.primary.any()
        assert events.no_tide.all()
        assert set(events.rank) == {""}
        assert np.all(np.diff(events.highs().tide_id) == 1)
    small = find_extremes(plain_tide(("M2", 0.024, 0)), START, END)  # range 4.8 cm
    assert small.primary.all()
    assert small.no_tide.all()
    assert not find_extremes(plain_tide(("M2", 0.026, 0)), START, END).no_tide.any()


def test_equatorial_days_of_a_diurnal_tide_are_merged_not_multiplied() -> None:
    events = find_extremes(DIURNAL, START, START + np.timedelta64(369, "D"))
    primaries = events.primaries()
    assert np.all(primaries.kind[1:] != primaries.kind[:-1])
    assert np.all(np.diff(primaries.times_us()) >= 2 * HOUR)
    assert np.all(np.abs(np.diff(primaries.height)) >= 0.03)
    assert len(events) > len(primaries)


@pytest.mark.parametrize("name", TIDES)
def test_high_waters_are_the_tops_of_the_curve_by_the_minute(name: str) -> None:
    tide = TIDES[name]
    events = find_extremes(tide, START, END)
    minutes = np.arange(START, END, np.timedelta64(1, "m"))
    heights = tide.heights(minutes)
    top = 1 + np.flatnonzero((heights[1:-1] > heights[:-2]) & (heights[1:-1] >= heights[2:]))
    bottom = 1 + np.flatnonzero((heights[1:-1] < heights[:-2]) & (heights[1:-1] <= heights[2:]))
    for found, grid, sign in ((events.highs(), top, 1.0), (events.lows(), bottom, -1.0)):
        inner = found.select((found.time > minutes[1]) & (found.time < minutes[-2]))
        assert len(inner) == grid.size
        assert np.all(np.abs(inner.time - minutes[grid]) <= np.timedelta64(60, "s"))
        assert np.all(sign * (inner.height - heights[grid]) >= -1e-10)
        assert np.all(sign * inner.curvature < 0)


@pytest.mark.parametrize("name", TIDES)
@settings(max_examples=25)
@given(first=st.integers(0, 60 * 86400), length=st.sampled_from([1, 3600, 86400, 9 * 86400, 40 * 86400]))
def test_what_is_said_of_an_extreme_never_depends_on_the_span(name: str, first: int, length: int) -> None:
    whole = WHOLE[name]
    start = START + np.timedelta64(first, "s")
    end = start + np.timedelta64(length, "s")
    part = find_extremes(TIDES[name], start, end)
    same = whole.select((whole.time >= start) & (whole.time < end))
    assert len(part) == len(same)
    for column in ("kind", "primary", "tide_id", "double", "rank", "no_tide"):
        assert np.array_equal(getattr(part, column), getattr(same, column)), column
    assert np.all(np.abs(part.times_us() - same.times_us()) < 1000)
    for column in ("stand_start", "stand_end"):
        one, other = getattr(part, column), getattr(same, column)
        assert np.array_equal(np.isnat(one), np.isnat(other))
        stands = ~np.isnat(one)
        assert np.all(np.abs(one[stands] - other[stands]) <= np.timedelta64(1, "s"))


WHOLE = {name: find_extremes(tide, START, START + np.timedelta64(101, "D")) for name, tide in TIDES.items()}


@given(st.integers(1, 400))
def test_shifting_by_whole_periods_shifts_the_extremes(periods: int) -> None:
    tide = plain_tide(("M2", 1.0, 20), ("M4", 0.4, 100))  # M4 is exactly twice M2
    base = find_extremes(tide, START, START + np.timedelta64(10, "D"))
    shift = np.timedelta64(round(periods * M2_US), "us")
    moved = find_extremes(tide, START + shift, START + shift + np.timedelta64(10, "D"))
    assert len(moved) == len(base)
    assert np.all(np.abs(moved.time - shift - base.time) <= np.timedelta64(1, "ms"))
    assert np.array_equal(moved.tide_id, base.tide_id + periods)
    assert np.array_equal(moved.primary, base.primary)
    np.testing.assert_allclose(moved.height, base.height, atol=1e-9)


def test_span_is_half_open_and_must_run_forward() -> None:
    event = find_extremes(MIXED, START, END).select(slice(5, 6))
    time = event.time[0]
    microsecond = np.timedelta64(1, "us")
    assert find_extremes(MIXED, time, time + microsecond).tide_id.tolist() == event.tide_id.tolist()
    assert len(find_extremes(MIXED, time - np.timedelta64(1, "h"), time)) == 0
    with pytest.raises(InvalidSpan, match="end after the start"):
        find_extremes(MIXED, END, START)


def test_table_keeps_its_columns_together() -> None:
    events = WHOLE["double low"]
    primaries = events.primaries()
    assert len(primaries) == np.count_nonzero(events.primary)
    assert len(events.highs()) + len(events.lows()) == len(events)
    dataset = events.to_xarray()
    assert dataset.sizes == {"time": len(events)}
    assert dataset["height"].attrs["units"] == "m"
    np.testing.assert_array_equal(dataset["tide_id"].values, events.tide_id)
    columns = events.columns()
    with pytest.raises(InvalidInput, match="height: has shape"):
        Extremes(**{**columns, "height": events.height[1:]})


@pytest.mark.parametrize(("tide", "tolerance"), [(MIXED, 1e-5), (DOUBLE_LOW, 3e-5)])
def test_peak_rates_are_those_of_the_turning_points_of_the_rate(tide: Harmonics, tolerance: float) -> None:
    rates = tide.pieces(19_000 * US_PER_DAY, 19_100 * US_PER_DAY).derivative()
    turning = stationary_points(rates)
    primaries = find_extremes(tide, np.datetime64(rates.start_us, "us"), np.datetime64(rates.end_us, "us")).primaries()
    bounds = primaries.times_us().astype(np.float64)
    half = np.searchsorted(bounds, turning.times_us) - 1
    exact = np.zeros(bounds.size - 1)
    inside = (half >= 0) & (half < exact.size)
    np.maximum.at(exact, half[inside], np.abs(turning.values[inside]))
    np.testing.assert_allclose(peak_rates(rates, bounds), exact, rtol=0, atol=tolerance * exact.max())
    assert peak_rates(rates, bounds[:1]).size == 0
