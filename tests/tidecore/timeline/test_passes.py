"""When a quantity passes a threshold, invented ones whose passages are worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.timeline import build_timeline
from tidecore.timeline.frame import Frame
from tidecore.timeline.passes import value_passes
from tidecore.units import FloatArray

SOURCES = build_timeline(mark_at(), model_of("plain"), "2026-03-01", "2026-03-02").sources
MIDDAY = SOURCES.span.start_us + 12 * 60 * US_PER_MINUTE
NOTHING = np.empty(0, dtype=np.int64)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_peak_between_two_samples_is_passed_twice(sign: float) -> None:
    # Four minutes past a sample, over the threshold for two minutes.
    peak = MIDDAY + 4 * US_PER_MINUTE

    def bump(frame: Frame) -> FloatArray:
        return sign * (1.0 - ((frame.times_us - peak) / US_PER_MINUTE) ** 2)

    found = value_passes(SOURCES, bump, (0.0,), NOTHING)
    wanted = np.repeat([peak - US_PER_MINUTE, peak + US_PER_MINUTE], 2)
    assert found == pytest.approx(wanted, abs=0.01 * US_PER_SECOND)
    # From the later of each two on it has passed, whatever the last digits.
    assert (found[1::2] > wanted[1::2]).all()


def test_every_threshold_is_passed_and_what_is_unknown_passes_nothing() -> None:
    def rising(frame: Frame) -> FloatArray:
        hours = (frame.times_us - MIDDAY) / (60.0 * US_PER_MINUTE)
        return np.where(np.abs(hours) < 6.0, hours, np.nan)

    found = value_passes(SOURCES, rising, (-2.0, 1.05, 9.0), NOTHING)
    wanted = np.repeat(MIDDAY + np.array([-120, 63]) * US_PER_MINUTE, 2)
    assert found == pytest.approx(wanted, abs=0.01 * US_PER_SECOND)
    assert (found[1::2] > wanted[1::2]).all()


def test_a_jump_is_a_break_of_its_own_and_no_passage() -> None:
    jump = MIDDAY + 3 * US_PER_MINUTE

    def step(frame: Frame) -> FloatArray:
        return np.where(frame.times_us < jump, -1.0, 1.0)

    assert value_passes(SOURCES, step, (0.0,), np.array([jump])).size == 0
