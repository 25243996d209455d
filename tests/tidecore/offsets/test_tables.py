from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.offsets.tables import TEXTBOOK, TEXTBOOK_TIMES, by_ratio, evenly
from tidecore.errors import InvalidInput
from tidecore.offsets import place_heights, place_times
from tidecore.place import MarkOffsets

HIGH, LOW = np.array([True]), np.array([False])


def ticks(*times: str) -> np.ndarray:
    return np.array(times, dtype="datetime64[us]").view(np.int64)


def moved(offsets: MarkOffsets, time: str, high: np.ndarray = HIGH) -> float:
    """Minutes by which a water comes later."""
    return float(place_times(offsets, ticks(time), high)[0] - ticks(time)[0]) / 60e6


def test_textbook_exercise_in_times() -> None:
    # Of the usual form: +00:35 at 00 and 12 h, +00:23 at 06 and 18 h; a HW at 06:38 comes 00:24 later, at 07:02.
    offsets = MarkOffsets.parse(TEXTBOOK)
    at_place = place_times(offsets, ticks("2026-03-01T06:38"), HIGH).view("datetime64[us]")
    assert abs(at_place[0] - np.datetime64("2026-03-01T07:02")) < np.timedelta64(30, "s")
    # Linear between the hours: 12 of 360 minutes of the clock a minute.
    assert moved(offsets, "2026-03-01T06:38") == pytest.approx(23 + 12 * 38 / 360, abs=1e-6)


def test_textbook_exercise_in_heights() -> None:
    # +1.1 (4.2), +0.8 (3.4), +0.2 (1.1), +0.1 (0.4): a HW of 4.2 m becomes 5.3 m, one of 3.8 m becomes 4.75 m.
    offsets = MarkOffsets.parse(TEXTBOOK)
    heights, held = place_heights(offsets, np.array([4.2, 3.8, 3.4]), np.ones(3, dtype=bool))
    np.testing.assert_allclose(heights, [5.3, 4.75, 4.2], atol=1e-12)
    heights, lows_held = place_heights(offsets, np.array([0.4, 0.75, 1.1]), np.zeros(3, dtype=bool))
    np.testing.assert_allclose(heights, [0.5, 0.9, 1.3], atol=1e-12)
    assert not held.any()
    assert not lows_held.any()


def test_heights_are_followed_for_half_a_step_then_held_and_flagged() -> None:
    offsets = MarkOffsets.parse(TEXTBOOK)
    # The step is 0.8 m: followed from 3.0 to 4.6 m, where the differences are 0.65 and 1.25 m.
    heights, held = place_heights(offsets, np.array([2.5, 3.0, 4.6, 4.61, 5.5]), np.ones(5, dtype=bool))
    np.testing.assert_allclose(heights, [3.15, 3.65, 5.85, 5.86, 6.75], atol=1e-12)
    assert held.tolist() == [True, False, False, True, True]


def test_times_go_round_the_clock() -> None:
    offsets = evenly(0, 0)
    late = [{"clock_h": 3, "later_min": 10}, {"clock_h": 21, "later_min": 70}]
    offsets = MarkOffsets.parse(offsets.to_document() | {"high_water": {"times": late}})
    # From 21 h to 3 h of the next day are six hours, from 70 back to 10 minutes.
    for time, expected in (("21:00", 70), ("23:00", 50), ("00:00", 40), ("02:00", 20), ("03:00", 10), ("12:00", 40)):
        assert moved(offsets, f"2026-03-01T{time}") == pytest.approx(expected, abs=1e-6)


def test_times_are_those_of_the_standard_zone_in_summer_too() -> None:
    offsets = MarkOffsets.parse(TEXTBOOK | {"standard_zone": "+01:00"})
    for day in ("2026-01-15", "2026-07-15"):
        assert moved(offsets, f"{day}T05:00") == pytest.approx(23.0)
    west = MarkOffsets.parse(TEXTBOOK | {"standard_zone": "-03:30"})
    assert moved(west, "2026-07-15T09:30") == pytest.approx(23.0)


def test_high_and_low_waters_have_tables_of_their_own() -> None:
    offsets = evenly(40, -15, by_ratio(1.5), None)
    assert moved(offsets, "2026-03-01T06:38") == 40
    assert moved(offsets, "2026-03-01T06:38", LOW) == -15
    heights, held = place_heights(offsets, np.array([4.0, 1.0]), np.array([True, False]))
    assert heights.tolist() == [6.0, 1.0]
    assert not held.any()


def test_offsets_survive_as_plain_data() -> None:
    offsets = MarkOffsets.parse(TEXTBOOK)
    assert MarkOffsets.parse(offsets.to_document()) == offsets
    assert hash(MarkOffsets.parse(TEXTBOOK)) == hash(offsets)


@pytest.mark.parametrize(
    "zone", ["Europe/London", "Z", "UTC", "1:00", "+1:00", "+15:00", "+14:30", "+01:60", "", "-14:01"]
)
def test_only_a_fixed_zone_is_taken(zone: str) -> None:
    with pytest.raises(InvalidInput, match="never summer time"):
        MarkOffsets.parse(TEXTBOOK | {"standard_zone": zone})


def test_all_faults_of_offsets_at_once() -> None:
    twice = [{"clock_h": 6, "later_min": 1}, {"clock_h": 6, "later_min": 2}]
    level = {
        "kind": "differences",
        "springs": {"station_height_m": 4.0, "higher_m": 1.0},
        "neaps": {"station_height_m": 4.0, "higher_m": 0.5},
    }
    bad: dict[str, Any] = {
        "standard_zone": "Etc/UTC",
        "high_water": {"times": twice, "heights": level},
        "low_water": {
            "times": [{"clock_h": 0, "later_min": 9}, {"clock_h": 24, "later_min": 900}],
            "heights": {"kind": "ratio", "ratio": 0},
        },
        "summer": True,
    }
    with pytest.raises(InvalidInput) as raised:
        MarkOffsets.parse(bad)
    assert {fault.field for fault in raised.value.faults} == {
        "standard_zone",
        "high_water.times",
        "high_water.heights",
        "low_water.times.1.clock_h",
        "low_water.times.1.later_min",
        "low_water.heights.ratio",
        "summer",
    }
    with pytest.raises(InvalidInput, match=r"low_water\.times"):
        MarkOffsets.parse(TEXTBOOK | {"low_water": {"times": []}})
    with pytest.raises(InvalidInput, match="is missing"):
        MarkOffsets.parse({"standard_zone": "+00:00", "high_water": {"times": TEXTBOOK_TIMES}})
