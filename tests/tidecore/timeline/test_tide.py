from __future__ import annotations

import math

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.timeline import Timeline, build_timeline

START, END = np.datetime64("2026-03-20", "us"), np.datetime64("2026-03-25", "us")
HOUR = np.timedelta64(3_600_000_000, "us")


def timeline_of(tide: str, *, lags: bool = False, step: str = "10min") -> Timeline:
    mark = mark_at() if lags else mark_without_lags()
    return build_timeline(mark, model_of(tide), START, END, step)


def scanned_turns(tide: str) -> list[tuple[float, float, bool]]:
    """High and low waters of a tide without secondary extremes, from a plain scan at 1 s: hours, height, high."""
    times = np.arange(START - 48 * HOUR, END + 48 * HOUR, np.timedelta64(10, "s"))
    heights = model_of(tide).heights(times)
    hours = (times - START) / HOUR
    inner = heights[1:-1]
    found = []
    for high in (True, False):
        sign = 1.0 if high else -1.0
        top = (sign * inner > sign * heights[:-2]) & (sign * inner >= sign * heights[2:])
        found += [(float(hours[k + 1]), float(heights[k + 1]), high) for k in np.flatnonzero(top)]
    return sorted(found)


@pytest.mark.parametrize("tide", ["plain", "large", "mixed"])
def test_factors_are_those_of_the_definitions(tide: str) -> None:
    turns = scanned_turns(tide)
    timeline = timeline_of(tide)
    columns = timeline.columns
    hours = (timeline.times - START) / HOUR
    second = 12.0 / 3600.0  # the scan is good to 10 s
    for k in range(0, hours.size, 7):
        t = hours[k]
        before = max((turn for turn in turns if turn[0] <= t), key=lambda turn: turn[0])
        after = min((turn for turn in turns if turn[0] > t), key=lambda turn: turn[0])
        if min(t - before[0], after[0] - t) < 0.01:
            continue
        high, low = (after, before) if after[2] else (before, after)
        assert columns["height_of_hw"][k] == pytest.approx(high[1], abs=1e-4)
        assert columns["height_of_lw"][k] == pytest.approx(low[1], abs=1e-4)
        assert columns["range"][k] == pytest.approx(high[1] - low[1], abs=2e-4)
        wanted = (columns["height"][k] - low[1]) / (high[1] - low[1])
        assert columns["fraction"][k] == pytest.approx(wanted, abs=2e-3)
        passed = (t - before[0]) / (after[0] - before[0])
        assert columns["tide_phase"][k] == pytest.approx(0.5 * passed + (0.0 if after[2] else 0.5), abs=1e-3)
        for name, kind in (("hours_from_hw", True), ("hours_from_lw", False)):
            nearest = min((t - turn[0] for turn in turns if turn[2] is kind), key=abs)
            found = columns[name][k]
            halfway = abs(abs(found) - abs(nearest)) < 2 * second
            assert abs(found - nearest) < second or halfway
        assert (columns["rate"][k] > 0.0) == after[2]


def test_rate_is_the_derivative_of_height() -> None:
    timeline = timeline_of("double_low")
    half = np.timedelta64(30, "s")
    ahead, behind = (timeline.at(timeline.times + shift, ["height"])["height"] for shift in (half, -half))
    np.testing.assert_allclose(timeline.columns["rate"], (ahead - behind) * 60.0, atol=1e-4)


def test_a_tie_between_two_high_waters_counts_as_after() -> None:
    timeline = timeline_of("plain")
    highs = timeline.sources.turns.high_us
    inside = np.flatnonzero(highs > int(START.astype(np.int64)))[0]
    first, second = int(highs[inside]), int(highs[inside + 1])
    middle = (first + second) // 2
    # 12 h 25 min apart, so 6.21 h on either side.
    found = timeline.at(np.array([middle, middle + 1]), ["hours_from_hw"])["hours_from_hw"]
    assert found[0] == pytest.approx(6.21, abs=0.01)
    assert found[1] == pytest.approx(-6.21, abs=0.01)


def test_diurnal_hours_reach_half_a_lunar_day() -> None:
    columns = timeline_of("diurnal").columns
    assert np.nanmax(columns["hours_from_hw"]) > 11.0
    assert np.nanmin(columns["hours_from_hw"]) < -11.0


def test_secondary_extremes_do_not_end_a_half_tide() -> None:
    timeline = timeline_of("double_low")
    extremes = timeline.sources.extremes
    secondary = extremes.select(~extremes.primary & (extremes.time > START) & (extremes.time < END))
    assert len(secondary)
    minute = np.timedelta64(60, "s")
    before, after = (timeline.at(secondary.time + shift) for shift in (-minute, minute))
    for name in ("height_of_hw", "height_of_lw", "range"):
        np.testing.assert_array_equal(before[name], after[name])
    np.testing.assert_allclose(before["tide_phase"], after["tide_phase"], atol=0.01)


def test_without_a_tide_what_is_relative_to_it_is_unknown() -> None:
    timeline = timeline_of("none", lags=True)
    numbers = ["tide_phase", "hours_from_hw", "hours_from_lw", "height_of_hw", "height_of_lw", "fraction", "range"]
    for name in [*numbers, "range_ratio", "days_from_springs"]:
        assert np.isnan(timeline.columns[name]).all()
    for name in ("named_phase", "named_phase_basis", "making"):
        assert set(timeline.columns[name].tolist()) == {""}
    assert np.isfinite(timeline.columns["height"]).all()
    assert np.isfinite(timeline.columns["rate"]).all()


def test_a_neap_without_range_is_unknown_and_the_springs_are_not() -> None:
    # Two lines of about equal amplitude cancel at neaps: 0.8 m at springs, under 5 cm for hours at neaps.
    timeline = build_timeline(mark_without_lags(), model_of("cancelling"), "2026-03-01", "2026-04-01")
    unknown = np.isnan(timeline.columns["hours_from_hw"])
    assert 0 < unknown.sum() < 0.1 * unknown.size
    assert np.nanmax(timeline.columns["range"]) > 0.75
    assert np.nanmin(timeline.columns["range"]) >= 0.05
    np.testing.assert_array_equal(unknown, timeline.columns["named_phase"] == "")
    assert (timeline.columns["range_ratio"][unknown] < 0.3).all()


def test_springs_and_neaps_follow_two_lines_as_they_beat() -> None:
    # M2 and S2 agree every 14.765 days (360 / (30 - 28.9841042) h).
    timeline = build_timeline(mark_without_lags(), model_of("beating"), "2026-03-01", "2026-04-20", "1h")
    days = timeline.columns["days_from_springs"]
    passing = np.flatnonzero((days[:-1] < 0.0) & (days[1:] >= 0.0))
    gaps = np.diff((timeline.times[passing] - START) / np.timedelta64(24 * 3_600_000_000, "us"))
    assert gaps.size >= 2
    np.testing.assert_allclose(gaps, 14.765, atol=0.1)
    assert np.abs(days).max() == pytest.approx(14.765 / 2.0, abs=0.1)
    ratio = timeline.columns["range_ratio"]
    # Springs are 2 (1.6 + 0.4) m but for the nodal factor of M2 (3.7% either way), neaps 2 (1.6 - 0.4) m.
    np.testing.assert_allclose(ratio[passing], 1.0, atol=0.05)
    assert ratio.min() == pytest.approx(0.6, abs=0.05)
    making = timeline.columns["making"]
    assert set(making[(days < -0.7) & (days > -6.5)]) == {"making"}
    assert set(making[(days > 0.7) & (days < 6.5)]) == {"taking_off"}


def test_a_range_that_never_varies_has_no_springs() -> None:
    columns = timeline_of("plain").columns
    assert np.isnan(columns["days_from_springs"]).all()
    assert set(columns["making"].tolist()) == {""}
    np.testing.assert_allclose(columns["range_ratio"], 1.0, atol=0.06)  # the nodal cycle of M2: 3.7% either way


def test_flow_is_lagged_and_reliable_only_where_lags_are_known() -> None:
    known, proxy = timeline_of("large", lags=True), timeline_of("large")
    assert set(known.columns["flow_reliable"].tolist()) == {1}
    assert set(proxy.columns["flow_reliable"].tolist()) == {0}
    for timeline, lag in ((known, 40), (proxy, 0)):
        highs = timeline.sources.turns.high_us
        slack = highs[(highs > int(START.astype(np.int64))) & (highs < int(END.astype(np.int64)))] + lag * 60_000_000
        minute = 60_000_000
        at, before, after = (timeline.at(slack + shift) for shift in (0, -20 * minute, 20 * minute))
        np.testing.assert_allclose(at["flow_index"], 0.0, atol=1e-4)
        assert set(at["direction"]) == {"slack"}
        assert (before["flow_index"] > 0.0).all()
        assert (after["flow_index"] < 0.0).all()
    np.testing.assert_array_equal(proxy.columns["flow_strength"], np.abs(proxy.columns["flow_index"]))


def test_directions_follow_the_sign_of_the_flow() -> None:
    columns = timeline_of("large", lags=True).columns
    index, direction = columns["flow_index"], columns["direction"]
    for k in range(index.size):
        wanted = "slack" if abs(index[k]) < 0.1 else "flood" if index[k] > 0 else "ebb"
        assert direction[k] == wanted


def test_the_flow_of_a_plain_tide_peaks_at_one() -> None:
    # One line: every half tide peaks alike, but for the nodal factor of M2 (3.7% either way).
    strength = timeline_of("plain", lags=True, step="1min").columns["flow_strength"]
    assert float(strength.max()) == pytest.approx(1.0, abs=0.05)
    assert math.isclose(float(strength.min()), 0.0, abs_tol=0.01)
