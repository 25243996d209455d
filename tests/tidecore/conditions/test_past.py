"""The past of a sea held against its definitions, worked out instant by instant in plain Python."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.conditions.issues import issue, ticks
from tests.tidecore.timeline.places import mark_at
from tidecore.conditions import TRENDS, Conditions, SeaAtMark
from tidecore.conditions.past import Past, day_sum_over, over
from tidecore.conditions.pieces import Pieces

MINUTE_US = 60_000_000


def sea(hours: list[float], heights: list[float]) -> SeaAtMark:
    return SeaAtMark(Conditions.of([issue(hours, wave_height_m=heights)]), mark_at())


@st.composite
def seas(draw: Any) -> tuple[list[float], list[float]]:
    steps = draw(st.lists(st.sampled_from([1, 2, 3, 3, 3, 8, 12, 13]), min_size=30, max_size=110))
    hours = np.cumsum([0, *steps]).astype(float).tolist()
    tenths = st.integers(0, 40)
    heights = draw(st.lists(tenths, min_size=len(hours), max_size=len(hours)))
    return hours, [tenth / 10.0 for tenth in heights]


def height_at(hours: list[float], heights: list[float], hour: float) -> float:
    """The sea with gaps of up to 12 h bridged, NaN in others."""
    for (first, low), (last, high) in zip(
        zip(hours, heights, strict=True), zip(hours[1:], heights[1:], strict=True), strict=False
    ):
        if first <= hour <= last:
            if hour in (first, last):
                return low if hour == first else high
            return low + (high - low) * (hour - first) / (last - first) if last - first <= 12.0 else float("nan")
    return float("nan")


@settings(max_examples=12, deadline=None)
@given(seas(), st.integers(0, 10_000))
def test_peaks_are_those_of_the_definition(told: tuple[list[float], list[float]], pick: int) -> None:
    hours, heights = told
    minutes = np.arange(0, round(hours[-1] * 60) + 1, 10)
    bridged = np.array([height_at(hours, heights, minute / 60.0) for minute in minutes])
    place = pick % minutes.size
    expected = float("nan")
    for back in range(place + 1):
        k = place - back
        if np.isnan(bridged[k]):
            break
        day = bridged[max(k - 144, 0) : k + 1]
        if day.size == 145 and bridged[k] >= max(np.max(day), 1.2 * np.min(day), 1.0) - 1e-9:
            expected = min(back / 6.0, 240.0)
            break
        if back >= 264 * 6:
            expected = 240.0
            break
    at = sea(hours, heights)
    instant = ticks(minutes[place] / 60.0)
    if at.height.found(instant)[0] < 0:
        expected = float("nan")
    np.testing.assert_allclose(at.hours_since_peak(instant), [expected], atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(seas())
def test_the_trend_is_that_of_the_definition(told: tuple[list[float], list[float]]) -> None:
    at = sea(*told)
    instants = ticks(*np.arange(0.0, told[0][-1], 0.83))
    now, before = at.height.at(instants), at.height.at(instants - 180 * MINUTE_US)
    for code, this, that in zip(at.trend(instants).tolist(), now.tolist(), before.tolist(), strict=True):
        if np.isnan(this) or np.isnan(that):
            assert code == -1
            continue
        step = max(0.1, 0.1 * that)
        wanted = "rising" if this - that >= step - 1e-9 else "falling" if that - this >= step - 1e-9 else "steady"
        assert TRENDS[code] == wanted


def test_a_tenth_of_a_metre_is_enough_however_it_is_rounded():
    assert [TRENDS[code] for code in sea([0, 3, 6], [0.2, 0.3, 0.2]).trend(ticks(3, 6))] == ["rising", "falling"]


def test_nothing_is_known_of_nothing():
    past = Past.of(Pieces.none(), over(1.0))
    assert np.isnan(past.since_h(ticks(0, 1))).all()
    assert np.isnan(past.known_h(ticks(0, 1))).all()
    assert past.breaks_us(1.0).size == 0


def test_the_rain_of_a_day_is_its_integral():
    hours = [float(hour) for hour in range(0, 61)]
    rain = Conditions.of([issue(hours, rain_mm_per_h=[1.0] * 61)]).pieces("rain_mm_per_h")
    assert Past.of(rain, day_sum_over(24.0)).start_us.tolist() == ticks(24).tolist()
    assert Past.of(rain, day_sum_over(24.1)).start_us.size == 0
    # Less than a day of it is known at first, and that is so much at least.
    assert Past.of(rain, day_sum_over(5.0)).start_us.tolist() == ticks(5).tolist()


@pytest.mark.parametrize("gap", [12.0, 12.5])
def test_a_gap_is_looked_over_up_to_twelve_hours(gap):
    past = sea([0, 1, 1 + gap, 2 + gap, 3 + gap], [2.5, 1.0, 1.0, 1.0, 1.0]).tearing
    since = past.since_h(ticks(3 + gap))
    assert (since < 3 + gap).all() if gap <= 12.0 else np.isnan(since).all()


def test_each_stretch_is_known_from_its_first_instant_to_its_last():
    past = sea([0, 3, 20, 23], [2.5, 1.0, 1.0, 2.5]).tearing
    known = past.known_h(ticks(-0.01, 0, 3, 3.01, 19.99, 20, 23, 23.01))
    np.testing.assert_allclose(known, [np.nan, 0, 3, np.nan, np.nan, 0, 3, np.nan])
    # From the second stretch on nothing of the first is known; the sea is at 2 m again after two thirds of the way.
    since = past.since_h(ticks(0, 3, 20, 22, 23))
    np.testing.assert_allclose(since, [0, 2, np.nan, 0, 0], atol=1e-9)


def within(degree: float, first: float, last: float) -> bool:
    """Whether a direction lies in the sector clockwise from one to another; an edge of half a degree left aside."""
    return (degree - first) % 360.0 <= (last - first) % 360.0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 35), st.one_of(st.none(), st.integers(0, 359))), min_size=4, max_size=20),
    st.integers(0, 359),
    st.integers(1, 359),
    st.sampled_from(["offshore", "at_mark"]),
    st.booleans(),
)
def test_seas_of_open_water_reach_a_mark_from_its_sector_alone(waves, first, wide, waves_at, by_facing):
    hours = [2.0 * k for k in range(len(waves))]
    heights, directions = ([one[k] for one in waves] for k in (0, 1))
    # The first is known: a column holds a value at least.
    told: dict[str, Any] = {
        "wave_height_m": [height / 10.0 for height in heights],
        "wave_from_degree": [first, *directions[1:]],
    }
    if by_facing:
        first, wide = (first - 90) % 360, 180
    given_so = {"facing_degree": (first + 90) % 360} if by_facing else {
        "exposure": {"from_degree": first, "to_degree": (first + wide) % 360}
    }  # fmt: skip
    conditions = Conditions.of([issue(hours, waves_at=waves_at, **told)])
    at = SeaAtMark(conditions, mark_at(**given_so))
    found = at.onshore if by_facing else at.height
    instants = ticks(*np.arange(-1.0, hours[-1] + 1.0, 0.21))
    height, towards = (conditions.at(name, instants) for name in told)
    for instant, sea_m, degree in zip(found.at(instants).tolist(), height.tolist(), towards.tolist(), strict=True):
        if min(abs((degree - edge + 180.0) % 360.0 - 180.0) for edge in (first, first + wide)) < 0.5:
            continue
        away = waves_at == "offshore" and not np.isnan(degree) and not within(degree, first, first + wide)
        np.testing.assert_allclose(instant, np.where(np.isnan(sea_m), np.nan, 0.0 if away else sea_m), atol=1e-9)
