from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tests.tidecore.extremes.plain_tide import plain_tide
from tidecore.errors import InvalidInput, SlackUndetermined
from tidecore.extremes import find_extremes
from tidecore.flow import NotedLags, SlackLags, lags_from_notes

TIDE = plain_tide(("M2", 1.5, 33), ("S2", 0.4, 60))
TIDES = find_extremes(TIDE, np.datetime64("2026-03-01", "us"), np.datetime64("2026-04-01", "us"))
HIGHS = TIDES.primaries().select(TIDES.primaries().kind == "high").time
LOWS = TIDES.primaries().select(TIDES.primaries().kind == "low").time


def later(times: np.ndarray, minutes: Sequence[float]) -> np.ndarray:
    return times + (60e6 * np.asarray(minutes)).astype("timedelta64[us]")


def noted(after_hw: Sequence[float], after_lw: Sequence[float], *, one_tide: bool = False) -> NotedLags:
    """Lags from notes so many minutes after HW and LW, each of a tide of its own or all of one."""
    step = 0 if one_tide else 2
    highs, lows = (
        HIGHS[[3 + step * k for k in range(len(after_hw))]],
        LOWS[[3 + step * k for k in range(len(after_lw))]],
    )
    times = np.concatenate((later(highs, after_hw), later(lows, after_lw)))
    words = ["ebb"] * len(after_hw) + ["flood"] * len(after_lw)
    order = np.random.default_rng(5).permutation(times.size)
    return lags_from_notes(times[order], [words[k] for k in order], TIDES)


def test_lags_are_the_medians_of_the_notes() -> None:
    found = noted([30, 42, 36], [-20, -10, -12])
    assert found.after_hw.lag_min == pytest.approx(36, abs=1e-4)
    assert found.after_lw.lag_min == pytest.approx(-12, abs=1e-4)
    assert (found.after_hw.notes, found.after_hw.tides) == (3, 3)
    assert found.lags == SlackLags(found.after_hw.lag_min, found.after_lw.lag_min)
    assert found.unused == ()


@given(st.lists(st.floats(-200, 200), min_size=1, max_size=3), st.lists(st.floats(-200, 200), min_size=1, max_size=3))
def test_three_notes_never_claim_better_than_twenty_minutes(after_hw: list[float], after_lw: list[float]) -> None:
    for one_tide in (True, False):
        found = noted(after_hw, after_lw, one_tide=one_tide)
        for one in (found.after_hw, found.after_lw):
            assert one.high_min - one.lag_min >= 20.0 - 1e-9
            assert one.lag_min - one.low_min >= 20.0 - 1e-9


def test_notes_of_one_tide_count_as_one() -> None:
    three = noted([30, 31, 32], [10, 11, 12])
    one = noted([30, 31, 32], [10, 11, 12], one_tide=True)
    assert not three.one_tide
    assert one.one_tide
    assert (one.after_hw.notes, one.after_hw.tides) == (3, 1)
    assert three.after_hw.high_min - three.after_hw.lag_min == pytest.approx(20.0)
    assert one.after_hw.high_min - one.after_hw.lag_min == pytest.approx(20.0 * np.sqrt(3.0))
    assert one.after_hw.lag_min == three.after_hw.lag_min
    assert noted([30, 31], [10], one_tide=True).one_tide
    assert not noted([30], [10], one_tide=True).one_tide


def test_the_interval_of_scattered_notes_is_that_of_the_scatter() -> None:
    # Nine of ten of a bell curve, whose deviation is told by the median of deviations, an hour here; the scatter of a
    # median is the root of pi / 2 that of a mean.
    deviation = 60.0 / norm.ppf(0.75)
    half = norm.ppf(0.95) * np.sqrt(np.pi / 2.0) * deviation / np.sqrt(5.0)
    found = noted([0.0, 60.0, -60.0, 120.0, -120.0], [0.0]).after_hw
    assert found.high_min - found.lag_min == pytest.approx(half, rel=1e-3)
    assert found.lag_min - found.low_min == pytest.approx(half, rel=1e-3)


def test_a_single_wild_note_hardly_moves_them() -> None:
    found = noted([30, 32, 34, 31, 33, -180], [15, 16, 14])
    assert found.after_hw.lag_min == pytest.approx(31.5, abs=0.1)
    assert found.after_hw.high_min - found.after_hw.lag_min < 20.0


def test_interval_holds_the_lag_nine_times_in_ten() -> None:
    # Notes with errors of a quarter of an hour and every tenth wild: the floor makes the interval too wide, not narrow.
    generator, truth, held, trials = np.random.default_rng(11), 40.0, 0, 300
    for _ in range(trials):
        errors = generator.normal(0.0, 15.0, 6) + np.where(generator.random(6) < 0.1, 90.0, 0.0)
        found = noted(list(truth + errors), [0.0])
        held += found.after_hw.low_min <= truth <= found.after_hw.high_min
    assert held / trials >= 0.9


def test_one_sided_notes_are_refused() -> None:
    with pytest.raises(SlackUndetermined, match="turns to the flood, after low water"):
        noted([30, 32], [])
    with pytest.raises(SlackUndetermined, match="turns to the ebb, after high water"):
        noted([], [10])
    with pytest.raises(SlackUndetermined, match="turns to the ebb"):
        lags_from_notes(np.empty(0, dtype="datetime64[us]"), [], TIDES)


def test_notes_near_no_water_are_named_and_not_used() -> None:
    found = noted([30, 330, 31], [5])
    assert len(found.unused) == 1
    assert found.after_hw.notes == 2
    with pytest.raises(SlackUndetermined, match="2 lie over 240 min"):
        lags_from_notes(HIGHS[3:5], ["ebb", "ebb"], TIDES.lows())
    with pytest.raises(SlackUndetermined, match="1 lie over 240 min"):
        noted([330], [5])


def test_notes_must_fit_together() -> None:
    with pytest.raises(InvalidInput, match="one for each of 2"):
        lags_from_notes(HIGHS[:2], ["ebb"], TIDES)
    with pytest.raises(InvalidInput, match="'ebb' or 'flood'"):
        lags_from_notes(HIGHS[:1], ["up"], TIDES)  # type: ignore[list-item]
