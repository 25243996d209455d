from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.extremes.grouping import group_tides, too_small

HOUR = 3_600_000_000.0
M2_HOURS = 12.4206012


def turning_points(rises: list[float], gaps_h: list[float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Alternating heights from rises (in turn up and down) and gaps, a low water first."""
    signs = np.where(np.arange(len(rises)) % 2 == 0, 1.0, -1.0)
    heights = np.concatenate(([0.0], np.cumsum(signs * np.array(rises))))
    times = np.concatenate(([0.0], np.cumsum(gaps_h))) * HOUR
    return times, heights, np.arange(heights.size) % 2 == 1


def one_at_a_time(times: np.ndarray, heights: np.ndarray) -> list[int]:
    """Literally: of all pairs under 3 cm or 2 h the smallest in height, then in gap, until none is left."""
    alive = list(range(times.size))
    joined = list(range(times.size))
    while True:
        pairs = [
            (abs(heights[b] - heights[a]), times[b] - times[a], k)
            for k, (a, b) in enumerate(pairwise(alive))
            if abs(heights[b] - heights[a]) < 0.03 or times[b] - times[a] < 2 * HOUR
        ]
        if not pairs:
            break
        k = min(pairs)[2]
        joined[alive[k]] = alive[k + 2] if k + 2 < len(alive) else -1
        joined[alive[k + 1]] = alive[k - 1] if k else -1
        del alive[k : k + 2]
    for i in range(len(joined)):
        while joined[i] not in (-1, joined[joined[i]]):
            joined[i] = joined[joined[i]]
    return joined


def grouped(times: np.ndarray, heights: np.ndarray, maximum: np.ndarray, form: float = 1.0) -> np.ndarray:
    # every extreme in a cycle of its own: no doubles
    return group_tides(times, heights, maximum, 2.0 * np.arange(times.size, dtype=np.float64), form).primary


ENDS = ([1.0, 1.2], [6.0, 6.0])  # tides that stand by themselves at either side


@settings(max_examples=300)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=30).flatmap(lambda r: st.tuples(
    st.just(r), st.permutations(range(len(r))))))  # fmt: skip
def test_pairs_under_three_centimetres_go_one_at_a_time_smallest_first(drawn: tuple[list[int], list[int]]) -> None:
    millimetres, order = drawn
    # distinct differences, so that "smallest first" has one meaning
    rises = [0.001 * r + 1e-5 * k for r, k in zip(millimetres, order, strict=True)]
    rises = ENDS[0] + rises + [1.0 + 0.1 * (len(rises) % 2), *ENDS[0]]
    times, heights, maximum = turning_points(rises, [3.0] * len(rises))
    assert grouped(times, heights, maximum).tolist() == one_at_a_time(times, heights)


@settings(max_examples=300)
@given(st.lists(st.tuples(st.floats(0.001, 0.5), st.booleans()), min_size=1, max_size=20))
def test_higher_high_water_stays_and_kinds_alternate_whatever_is_merged(steps: list[tuple[float, bool]]) -> None:
    rises = ENDS[0] + [r for r, _ in steps] + [1.0 + 0.1 * (len(steps) % 2), *ENDS[0]]
    gaps = ENDS[1] + [1.3 if short else 2.6 for _, short in steps] + [6.0] * 3
    times, heights, maximum = turning_points(rises, gaps)
    owner = grouped(times, heights, maximum)
    left = np.flatnonzero(owner == np.arange(owner.size))
    assert np.all(maximum[left][1:] != maximum[left][:-1])
    assert np.all(np.abs(np.diff(heights[left])) >= 0.03)
    assert np.all(np.diff(times[left]) >= 2 * HOUR)
    merged = np.flatnonzero(owner >= 0)
    sign = np.where(maximum, 1.0, -1.0)
    assert np.all(maximum[merged] == maximum[owner[merged]])
    assert np.all((sign * (heights[owner] - heights))[merged] >= -1e-12)


def test_the_lower_low_water_stays_where_a_pair_is_too_near_in_time_alone() -> None:
    # A low water, a hump of 20 cm an hour and a half after it, a trough 10 cm lower than that after three hours more.
    times, heights, maximum = turning_points([*ENDS[0], 0.2, 0.1, 1.1, 1.0], [*ENDS[1], 1.5, 3.0, 6.0, 6.0])
    owner = grouped(times, heights, maximum)
    assert heights[2] < heights[4]
    assert owner.tolist() == [0, 1, 2, 5, 2, 5, 6]


def test_three_centimetres_and_two_hours_are_enough_and_less_of_either_is_not() -> None:
    heights = np.array([0.0, 0.03, 0.0, 0.5, 0.0, 0.0299, 1.0])
    times = np.array([0.0, 6.0, 8.0, 10.0, 11.999, 18.0, 24.0]) * HOUR
    assert too_small(times, heights).tolist() == [False, False, False, True, True, False]


def test_of_two_equal_pairs_the_shorter_goes_first_then_the_earlier() -> None:
    # low 0, high 1, dip of 2 cm, high 1: both pairs of the dip differ by 2 cm
    # turning points 3 and 5 are the peaks, 4 the dip between them
    rises = ENDS[0] + [1.0, 0.02, 0.02, 1.0] + ENDS[0]
    later_is_shorter = turning_points(rises, [6.0, 6.0, 6.0, 1.5, 1.0, 6.0, 6.0, 6.0])
    assert grouped(*later_is_shorter)[3:6].tolist() == [3, 6, 3]
    equal = turning_points(rises, [6.0, 6.0, 6.0, 1.2, 1.2, 6.0, 6.0, 6.0])
    assert grouped(*equal)[3:6].tolist() == [5, 2, 5]


def double_high(dip: float, apart_h: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tides of 2 m every 12.4 h, the fifth with a second peak 10 cm lower."""
    rest = (M2_HOURS - apart_h) / 2.0
    plain = [2.0, 2.0]
    rises = plain * 4 + [2.0, dip, dip - 0.1, 1.9] + plain * 4
    gaps = [M2_HOURS / 2] * 8 + [rest, apart_h / 2, apart_h / 2, rest] + [M2_HOURS / 2] * 8
    return turning_points(rises, gaps)


@pytest.mark.parametrize(
    ("dip", "apart_h", "form", "is_double", "is_one"),
    [
        (0.4, 5.0, 0.1, True, True),
        (0.12, 5.0, 0.1, False, True),  # the second peak rises 2 cm: merged, no double
        (0.4, 3.0, 0.1, False, True),  # less than 2 h between peak and dip: merged
        (0.4, 7.9, 0.1, True, True),
        (0.4, 5.0, 0.6, True, True),  # mixed, but both in one M2 cycle
    ],
)
def test_separate_peaks_of_one_tide_are_double(
    dip: float, apart_h: float, form: float, is_double: bool, is_one: bool
) -> None:
    times, heights, maximum = double_high(dip, apart_h)
    cycles = (times / HOUR - M2_HOURS / 2) / M2_HOURS + 0.02  # M2 high half a tide after the low water at 0
    groups = group_tides(times, heights, maximum, cycles, form)
    first, second = 9, 11
    assert groups.double[[first, second]].tolist() == [is_double] * 2
    assert np.count_nonzero(groups.double) == 2 * is_double
    assert bool(groups.primary[second] == first) is is_one
    assert groups.primary[first] == first


@pytest.mark.parametrize(("apart_h", "is_double"), [(7.9, True), (8.1, False)])
def test_peaks_more_than_eight_hours_apart_are_two_tides(apart_h: float, is_double: bool) -> None:
    rises = [2.0, 2.0, 2.0, 0.4, 0.3, 1.9, 2.0, 2.0]
    times, heights, maximum = turning_points(rises, [6.2, 6.2, 5.0, apart_h / 2, apart_h / 2, 5.0, 6.2, 6.2])
    middle = times[4] / HOUR
    groups = group_tides(times, heights, maximum, (times / HOUR - middle) / M2_HOURS, 0.6)
    assert np.flatnonzero(groups.double).tolist() == ([3, 5] if is_double else [])


def test_close_peaks_in_two_cycles_of_a_mixed_tide_stay_two() -> None:
    times, heights, maximum = double_high(0.4, 6.0)
    cycles = (times / HOUR - M2_HOURS / 2) / M2_HOURS + 0.5  # an M2 low between the two peaks
    mixed = group_tides(times, heights, maximum, cycles, 0.6)
    assert mixed.primary[11] == 11
    assert not mixed.double.any()
    assert group_tides(times, heights, maximum, cycles, 0.2).primary[11] == 9


def test_stretch_without_tide_that_is_open_belongs_to_nothing() -> None:
    rises = [0.01] * 9 + [1.0, 1.0, 1.1]
    times, heights, maximum = turning_points(rises, [3.0] * 12)
    owner = grouped(times, heights, maximum)
    assert owner[:9].tolist() == [-1] * 9
    assert owner[9:].tolist() == [9, 10, 11, 12]
    assert grouped(*turning_points([0.01] * 20, [3.0] * 20)).tolist() == [-1] * 21
    assert grouped(np.empty(0), np.empty(0), np.empty(0, dtype=bool)).size == 0


@pytest.mark.parametrize("count", [3401, 3402])
def test_lull_of_more_than_400_days_belongs_to_nothing_and_kinds_still_alternate(count: int) -> None:
    rises = [1.0, 1.0, 1.0] + [0.01] * count + [1.0] * 4
    times, heights, maximum = turning_points(rises, [3.0] * len(rises))
    owner = grouped(times, heights, maximum)
    assert np.count_nonzero(owner == -1) >= count - 2
    left = np.flatnonzero(owner == np.arange(owner.size))
    assert np.all(maximum[left][1:] != maximum[left][:-1])
    assert {0, 1, 2} < set(left.tolist())
