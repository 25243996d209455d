from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.tidecore.offsets.tables import TEXTBOOK, by_ratio, evenly
from tests.tidecore.timeline.places import model_of
from tidecore.errors import InvalidInput
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.offsets import (
    Warp,
    WarpedHeight,
    WarpedRate,
    check_offsets,
    needs_check,
    place_heights,
    place_tide,
    place_times,
)
from tidecore.offsets.check import epoch_waters
from tidecore.place import MarkOffsets
from tidecore.timebase import US_PER_DAY, US_PER_HOUR

START, END = np.datetime64("2026-03-01", "us"), np.datetime64("2026-03-15", "us")
FIRST, LAST = int(START.astype(np.int64)), int(END.astype(np.int64))
MINUTE = 60_000_000
EVERY_10_MIN = np.arange(FIRST, LAST, 10 * MINUTE)

minutes = st.floats(-90, 90)
metres = st.floats(-0.5, 0.5)


@st.composite
def offsets_of_any_kind(draw: st.DrawFn) -> MarkOffsets:
    def water(springs: float, neaps: float) -> dict[str, Any]:
        hours = sorted(draw(st.sets(st.integers(0, 23), min_size=1, max_size=4)))
        times = [{"clock_h": hour, "later_min": draw(minutes)} for hour in hours]
        heights = draw(
            st.one_of(
                st.none(),
                st.builds(by_ratio, st.floats(0.8, 1.5)),
                st.builds(
                    lambda a, b: {
                        "kind": "differences",
                        "springs": {"station_height_m": springs, "higher_m": a},
                        "neaps": {"station_height_m": neaps, "higher_m": b},
                    },
                    metres,
                    metres,
                ),
            )
        )
        return {"times": times, "heights": heights}

    zone = draw(st.sampled_from(["+00:00", "-05:00", "+09:30"]))
    return MarkOffsets.parse({"standard_zone": zone, "high_water": water(5.1, 4.0), "low_water": water(0.9, 2.0)})


def accepted(harmonics: Harmonics, offsets: MarkOffsets) -> bool:
    """Whether offsets make a tide in the span, as the search for it says."""
    try:
        place_tide(harmonics, offsets, START, END)
    except InvalidInput:
        return False
    return True


@pytest.mark.parametrize("tide", ["large", "double_low", "mixed", "diurnal"])
def test_no_offsets_leave_the_tide_as_it_is(tide: str) -> None:
    model = model_of(tide)
    found = place_tide(model.harmonics, evenly(0, 0), START, END)
    station = model.extremes(START, END)
    for name, column in station.columns().items():
        if name in ("height", "curvature"):
            np.testing.assert_allclose(getattr(found.extremes, name), column, atol=1e-9)
        else:
            np.testing.assert_array_equal(getattr(found.extremes, name), column)
    np.testing.assert_array_equal(found.station_us, station.times_us())
    curve = model.harmonics.pieces(FIRST - 9 * US_PER_DAY, LAST + 9 * US_PER_DAY)
    np.testing.assert_allclose(WarpedHeight(found.warp, curve)(EVERY_10_MIN), curve(EVERY_10_MIN), atol=1e-9)
    slope = curve.derivative()
    np.testing.assert_allclose(WarpedRate(found.warp, slope)(EVERY_10_MIN), slope(EVERY_10_MIN), atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(offsets_of_any_kind())
def test_waters_come_exactly_where_the_tables_state(offsets: MarkOffsets) -> None:
    harmonics = model_of("large").harmonics
    assume(accepted(harmonics, offsets))
    found = place_tide(harmonics, offsets, START, END)
    pad = np.timedelta64(2, "D")
    station = find_extremes(harmonics, START - pad, END + pad).primaries()
    times = place_times(offsets, station.times_us(), station.kind == "high")
    heights, held = place_heights(offsets, station.height, station.kind == "high")
    inside = (times >= FIRST) & (times < LAST)
    primary = found.extremes.primaries()
    np.testing.assert_array_equal(primary.times_us(), times[inside])
    np.testing.assert_array_equal(primary.height, heights[inside])
    np.testing.assert_array_equal(found.held[found.extremes.primary], held[inside])
    reach = found.warp.station_us
    curve = harmonics.pieces(int(reach[0]), int(reach[-1]))
    at_place = WarpedHeight(found.warp, curve)
    np.testing.assert_allclose(at_place(primary.times_us()), primary.height, atol=1e-9)
    # They are turning points of the curve, and it has no higher or lower one beside them.
    slope = WarpedRate(found.warp, curve.derivative())
    np.testing.assert_allclose(slope(primary.times_us()), 0.0, atol=1e-6)
    sign = np.where(primary.kind == "high", 1.0, -1.0)
    for aside in (-MINUTE, MINUTE):
        assert np.all(sign * (at_place(primary.times_us()) - at_place(primary.times_us() + aside)) > 0.0)


@settings(max_examples=25, deadline=None)
@given(offsets_of_any_kind())
def test_warp_is_monotonic_and_the_rate_is_the_derivative(offsets: MarkOffsets) -> None:
    harmonics = model_of("double_low").harmonics
    assume(accepted(harmonics, offsets))
    warp = place_tide(harmonics, offsets, START, END).warp
    half, inside = warp.half_tides(EVERY_10_MIN)
    assert inside.all()
    at_station = warp.station_times(EVERY_10_MIN, half)
    assert np.all(np.diff(at_station) > 0.0)
    np.testing.assert_allclose(warp.place_moments(at_station), EVERY_10_MIN, atol=1.0)
    curve = harmonics.pieces(int(warp.station_us[0]), int(warp.station_us[-1]))
    height, rate = WarpedHeight(warp, curve), WarpedRate(warp, curve.derivative())
    step = 10 * 1_000_000
    smooth = warp.half_tides(EVERY_10_MIN - step)[0] == warp.half_tides(EVERY_10_MIN + step)[0]
    differences = (height(EVERY_10_MIN + step) - height(EVERY_10_MIN - step)) / (2 * step / US_PER_HOUR)
    np.testing.assert_allclose(rate(EVERY_10_MIN)[smooth], differences[smooth], atol=2e-4)


def test_a_water_at_the_end_of_a_span_is_of_the_next() -> None:
    harmonics, offsets = model_of("large").harmonics, evenly(30, -20)
    all_of_them = place_tide(harmonics, offsets, START, END).extremes
    border = all_of_them.time[9]
    before, after = (place_tide(harmonics, offsets, *ends).extremes for ends in ((START, border), (border, END)))
    np.testing.assert_array_equal(before.time, all_of_them.time[:9])
    np.testing.assert_array_equal(after.time, all_of_them.time[9:])


def test_secondary_waters_are_turning_points_of_the_warped_curve() -> None:
    harmonics = model_of("double_low").harmonics
    offsets = evenly(30, -20, by_ratio(1.2), by_ratio(1.1))
    found = place_tide(harmonics, offsets, START, END)
    secondary = found.extremes.select(~found.extremes.primary)
    assert len(secondary) > 10
    warp = found.warp
    curve = harmonics.pieces(int(warp.station_us[0]), int(warp.station_us[-1]))
    np.testing.assert_allclose(WarpedHeight(warp, curve)(secondary.times_us()), secondary.height, atol=1e-9)
    np.testing.assert_allclose(WarpedRate(warp, curve.derivative())(secondary.times_us()), 0.0, atol=1e-6)


@pytest.mark.parametrize("tide", ["large", "double_low"])
def test_curvature_is_the_second_derivative_of_the_warped_curve(tide: str) -> None:
    harmonics = model_of(tide).harmonics
    found = place_tide(harmonics, evenly(60, -40, by_ratio(1.3), by_ratio(0.9)), START, END)
    warp, at = found.warp, found.extremes.times_us()
    curve = harmonics.pieces(int(warp.station_us[0]), int(warp.station_us[-1]))
    rate = WarpedRate(warp, curve.derivative())
    # Half tides are stretched each in its own way: the mean of both sides, half a minute away.
    step = MINUTE // 2
    expected = (rate(at + step) - rate(at - step)) / (2 * step / US_PER_HOUR)
    np.testing.assert_allclose(found.extremes.curvature, expected, rtol=2e-3, atol=2e-3)


def test_a_warp_wants_two_waters() -> None:
    waters = [np.array([0, 400 * MINUTE]), np.array([30 * MINUTE, 410 * MINUTE]), np.array([1.0, 4.0]), np.zeros(2)]
    two, one = Warp(*waters), Warp(*(column[:1] for column in waters))
    times = np.array([-MINUTE, 0, 100 * MINUTE, 400 * MINUTE, 401 * MINUTE])
    # A quarter of the half tide at the station is a quarter of it at the place.
    expected = np.array([np.nan, 30 * MINUTE, 125 * MINUTE, 410 * MINUTE, np.nan])
    np.testing.assert_allclose(two.place_moments(times), expected)
    assert two.half_tides(times)[1].tolist() == [False, False, True, True, True]
    assert two.half_tides(np.array([30, 410, 411]) * MINUTE)[1].tolist() == [True, True, False]
    assert np.isnan(one.place_moments(times)).all()
    assert not one.half_tides(times)[1].any()


def test_a_value_does_not_depend_on_the_span() -> None:
    harmonics = model_of("diurnal").harmonics
    offsets = MarkOffsets.parse(
        {
            "standard_zone": "-03:00",
            "high_water": {"times": [{"clock_h": 2, "later_min": 70}, {"clock_h": 14, "later_min": -30}]},
            "low_water": {"times": [{"clock_h": 9, "later_min": 45}], "heights": by_ratio(0.95)},
        }
    )
    long = place_tide(harmonics, offsets, START - np.timedelta64(90, "D"), END + np.timedelta64(90, "D"))
    curve = harmonics.pieces(int(long.warp.station_us[0]), int(long.warp.station_us[-1]))
    everywhere = WarpedHeight(long.warp, curve)
    for day in range(0, 14, 2):
        start = START + np.timedelta64(day, "D")
        short = place_tide(harmonics, offsets, start, start + np.timedelta64(1, "D"))
        times = np.arange(FIRST + day * US_PER_DAY, FIRST + (day + 1) * US_PER_DAY, 10 * MINUTE)
        np.testing.assert_allclose(WarpedHeight(short.warp, curve)(times), everywhere(times), atol=1e-12)
        same = (long.extremes.time >= start) & (long.extremes.time < start + np.timedelta64(1, "D"))
        for name, column in short.extremes.columns().items():
            if name in ("height", "curvature"):
                np.testing.assert_allclose(column, getattr(long.extremes, name)[same], atol=1e-12)
            else:
                np.testing.assert_array_equal(column, getattr(long.extremes, name)[same])


@pytest.mark.parametrize(
    ("offsets", "problem"),
    [
        (evenly(300, -300), "at or before"),
        (evenly(-200, 200), "at or before"),
        (evenly(0, 0, by_ratio(0.2)), "at or below"),
        (evenly(0, 0, None, by_ratio(3.0)), "at or below"),
    ],
)
def test_offsets_that_make_no_tide_are_refused(offsets: MarkOffsets, problem: str) -> None:
    harmonics = model_of("large").harmonics
    with pytest.raises(InvalidInput, match=problem) as raised:
        check_offsets(harmonics, offsets)
    assert raised.value.faults[0].field == "offsets"
    with pytest.raises(InvalidInput, match="make no tide"):
        place_tide(harmonics, offsets, START, START + np.timedelta64(400, "D"))


def test_the_first_pair_that_is_wrong_is_named_and_the_others_are_counted() -> None:
    harmonics = model_of("large").harmonics
    times, heights, high = epoch_waters(harmonics)
    offsets = evenly(0, 0, None, by_ratio(1.9))
    levels = np.where(high, heights, 1.9 * heights)
    # High waters at or below the low water on either side of them, by hand.
    wrong = [k for k in range(times.size - 1) if (levels[k + 1] - levels[k]) * (1 if high[k + 1] else -1) <= 0.0]
    top, bottom = (wrong[0], wrong[0] + 1) if high[wrong[0]] else (wrong[0] + 1, wrong[0])
    with pytest.raises(InvalidInput) as raised:
        check_offsets(harmonics, offsets)
    (found,) = raised.value.faults
    first, second = (times[k : k + 1].view("datetime64[us]")[0] for k in (top, bottom))
    assert found.problem == (
        f"put the HW of {first}Z at {levels[top]:.2f} m, at or below the LW of {second}Z at {levels[bottom]:.2f} m, "
        f"and {len(wrong) - 1} more like that"
    )
    # Likewise of times: low waters so late that a tenth of them come after the high water behind.
    gaps = np.diff(times) // MINUTE
    late = int(np.percentile(gaps[~high[:-1]], 10))
    moved = times + np.where(high, 0, late) * MINUTE
    wrong = [k for k in range(times.size - 1) if moved[k + 1] <= moved[k]]
    assert 0 < len(wrong) < times.size // 2
    with pytest.raises(InvalidInput) as raised:
        check_offsets(harmonics, evenly(0, late))
    first, second = (times[k : k + 1].view("datetime64[us]")[0] for k in (wrong[0] + 1, wrong[0]))
    assert raised.value.faults[0].problem == (
        f"put the HW of {first}Z at the station at or before the LW of {second}Z at the place, "
        f"and {len(wrong) - 1} more like that"
    )
    early = 240 - int(np.percentile(gaps[high[:-1]], 10))
    turns = times + np.where(high, 240, early) * MINUTE
    wrong = [k for k in range(times.size - 1) if turns[k + 1] <= turns[k]]
    assert 0 < len(wrong) < times.size // 2
    with pytest.raises(InvalidInput) as raised:
        check_offsets(harmonics, None, (240.0, float(early)))
    first, second = (times[k : k + 1].view("datetime64[us]")[0] for k in (wrong[0], wrong[0] + 1))
    assert raised.value.faults[0].problem == (
        f"of 240 min after HW and {early} min after LW put the turn after the HW of {first}Z at or past that after the "
        f"LW of {second}Z, and {len(wrong) - 1} more like that"
    )


def test_order_and_heights_are_refused_together_and_anywhere_in_a_nodal_cycle() -> None:
    harmonics = model_of("large").harmonics
    with pytest.raises(InvalidInput) as raised:
        check_offsets(harmonics, evenly(300, -300, by_ratio(0.2)))
    assert len(raised.value.faults) == 2
    # Raised low waters that only the smallest neaps of the nodal cycle put above a high water: not those of this year.
    limits = [evenly(0, 0, None, by_ratio(ratio)) for ratio in np.arange(1.2, 2.6, 0.02)]
    refused = [not _holds(harmonics, offsets) for offsets in limits]
    this_month = [not accepted(harmonics, offsets) for offsets in limits]
    assert refused.index(True) < this_month.index(True)


def _holds(harmonics: Harmonics, offsets: MarkOffsets) -> bool:
    try:
        check_offsets(harmonics, offsets)
    except InvalidInput:
        return False
    return True


@pytest.mark.parametrize(
    ("offsets", "lags", "needed"),
    [
        (None, None, False), (evenly(0, 0), None, True), (evenly(0, 0), (0.0, 0.0), True),
        (None, (60.0, -59.0), False), (None, (60.0, -60.0), True), (None, (-60.0, 60.0), True),
    ],
)  # fmt: skip
def test_waters_two_hours_apart_bear_lags_that_differ_by_less(
    offsets: MarkOffsets | None, lags: tuple[float, float] | None, needed: bool
) -> None:
    assert needs_check(offsets, lags) is needed


def test_lags_that_fold_are_refused_of_the_place_itself() -> None:
    harmonics = model_of("large").harmonics
    check_offsets(harmonics, None, (60.0, -60.0))
    with pytest.raises(InvalidInput, match="slack_lags"):
        check_offsets(harmonics, None, (240.0, -200.0))
    # 100 min less from HW to LW at the place: what the station bears, the place doesn't.
    check_offsets(harmonics, None, (150.0, -150.0))
    with pytest.raises(InvalidInput, match="slack_lags"):
        check_offsets(harmonics, evenly(60, -40), (150.0, -150.0))


def test_a_station_without_tide_bears_no_offsets() -> None:
    still = Harmonics.from_mapping({"M2": (0.0, 0.0)}, 50.0, 0.0, "utide")
    with pytest.raises(InvalidInput, match="no high and low waters"):
        check_offsets(still, evenly(10, 10))
    assert len(place_tide(still, evenly(10, 10), START, END).extremes) == 0


def test_ranks_are_those_of_the_place() -> None:
    # A table that turns the order of high waters round: the higher one at the station is the lower one here.
    turned = {
        "kind": "differences",
        "springs": {"station_height_m": 3.9, "higher_m": -0.3},
        "neaps": {"station_height_m": 3.6, "higher_m": 0.3},
    }
    harmonics = model_of("mixed").harmonics
    offsets = evenly(0, 0, turned)
    found = place_tide(harmonics, offsets, START, END).extremes.primaries()
    station = find_extremes(harmonics, START, END).primaries()
    higher = np.flatnonzero((station.kind == "high") & (station.rank == "HH"))
    assert np.count_nonzero(found.rank[higher] == "LH") > 3


def test_textbook_offsets_hold_at_a_tide_of_their_size() -> None:
    tide = {"M2": (1.55, 140.0), "S2": (0.35, 180.0)}
    model = Harmonics.from_mapping(tide, 50.0, 2.3, "utide")
    check_offsets(model, MarkOffsets.parse(TEXTBOOK), (25.0, 35.0))
