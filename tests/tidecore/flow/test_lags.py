from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.extremes.plain_tide import plain_tide
from tidecore.errors import InvalidInput
from tidecore.extremes import find_extremes
from tidecore.flow import SlackLags, slack_times

START, END = np.datetime64("2024-03-01", "us"), np.datetime64("2024-03-15", "us")
TIDE = plain_tide(("M2", 1.0, 0), ("M4", 0.5, 0))  # double low water


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 240.5, -241.0])
def test_both_faults_of_lags_are_said_at_once(bad: float) -> None:
    with pytest.raises(InvalidInput) as caught:
        SlackLags(bad, bad)
    assert [fault.field for fault in caught.value.faults] == ["after_hw_min", "after_lw_min"]
    assert "minutes from -240 to 240" in str(caught.value)


def test_stream_turns_after_the_primaries_only() -> None:
    tides = find_extremes(TIDE, START, END)
    primaries = tides.primaries()
    assert len(primaries) < len(tides)
    slacks = slack_times(tides, SlackLags(70.0, -12.5))
    assert len(slacks) == len(primaries)
    after = np.where(primaries.kind == "high", np.timedelta64(4200, "s"), np.timedelta64(-750, "s"))
    assert np.array_equal(slacks.time, primaries.time + after)
    assert np.array_equal(slacks.after, primaries.kind)
    assert np.array_equal(slacks.tide_id, primaries.tide_id)
    assert np.array_equal(slack_times(tides).time, primaries.time)


def test_lags_that_swap_slacks_are_refused_with_the_tide() -> None:
    tides = find_extremes(plain_tide(("M2", 1.0, 0)), START, END)
    SlackLags(-180.0, 180.0).turning_us(tides)  # 12 min left of the flood
    # Slacks an hour apart are brought together: neither is before the other.
    hour = np.array([0, 3_600_000_000])
    SlackLags(0.0, 59.99).after(hour, np.array([False, True]))
    with pytest.raises(InvalidInput, match="every slack comes before the next"):
        SlackLags(0.0, 60.0).after(hour, np.array([False, True]))
    with pytest.raises(InvalidInput, match=r"190 min after LW put the turn after the low water of 2024-03-\d\d"):
        slack_times(tides, SlackLags(-190.0, 190.0))
