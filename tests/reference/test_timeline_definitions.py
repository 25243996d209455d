"""Factors against rules of thumb and textbook relations that do not rest on this code."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.timeline.places import TIDES, mark_without_lags, model_of
from tidecore.timeline import build_timeline

#: Rule of twelfths, 1-2-3-3-2-1 (common practice): against a pure M2 curve it errs by at most 1.7% of the range.
TWELFTHS = np.cumsum([0, 1, 2, 3, 3, 2, 1]) / 12.0
TWELFTHS_TOLERANCE = 0.017
#: Speed at which S2 gains on M2 [degrees an hour]: 30.0 - 28.9841042 (Schureman, Special Publication 98).
GAIN = 1.0158958


def test_a_plain_tide_rises_by_twelfths() -> None:
    # tide_phase says how far the half tide has run in time, fraction how far the level has come.
    timeline = build_timeline(mark_without_lags(), model_of("plain"), "2026-03-01", "2026-03-15", "1min")
    phase, fraction = timeline.columns["tide_phase"], timeline.columns["fraction"]
    sixths, rising = np.arange(7) / 6.0, phase < 0.5
    for passed, done in (
        (2.0 * phase[rising], fraction[rising]),
        (2.0 * phase[~rising] - 1.0, 1.0 - fraction[~rising]),
    ):
        for sixth, twelfths in zip(sixths, TWELFTHS, strict=True):
            near = np.abs(passed - sixth) < 0.002
            assert near.any()
            worst = np.abs(done[near] - twelfths).max()
            # The sample may lie 0.002 of the half tide from the sixth, where the curve runs at pi/2 at most.
            assert worst < TWELFTHS_TOLERANCE + 0.002 * np.pi / 2.0


def test_springs_come_an_age_of_the_tide_after_new_and_full_moon() -> None:
    # The age is (g(S2) - g(M2)) / (speed of S2 - speed of M2), a textbook relation (from memory). Single springs move
    # by the unevenness of the moon's motion: 6.3 degrees of longitude and evection over 12.2 degrees a day.
    lines = TIDES["beating"]
    age_days = (lines["S2"][1] - lines["M2"][1]) / GAIN / 24.0
    timeline = build_timeline(mark_without_lags(), model_of("beating"), "2026-01-01", "2027-01-01", "1d")
    syzygies = [event.time for event in timeline.events() if event.kind in ("new_moon", "full_moon")]
    assert len(syzygies) == 25
    days = timeline.at(np.array(syzygies), ["days_from_springs"])["days_from_springs"]
    assert np.mean(days) == pytest.approx(-age_days, abs=0.15)
    np.testing.assert_allclose(days, -age_days, atol=1.0)


def test_the_day_is_longest_at_the_solstice() -> None:
    # 50 N on 21 June 2026: sunrise to sunset about 16 h 22 min (almanac rule, from memory; 0.1 h).
    timeline = build_timeline(mark_without_lags(), model_of("plain"), "2026-06-20T12:00", "2026-06-22T12:00", "1min")
    day = timeline.columns["light"] == "day"
    assert day.sum() / 60.0 / 2.0 == pytest.approx(16.37, abs=0.1)
