"""What an outing is made of: the tide it is on, its best hour, its worth where a filter leaves time out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.windows.evenings import DOWN_AND_UP, NIGHT_FLOOD, search, timeline_over
from tidecore.filters import Filter
from tidecore.timebase import US_PER_MINUTE
from tidecore.windows import SessionOptions, find_outings, search_mark
from tidecore.windows.outings import _tides, outing_of

FOUND = search(DOWN_AND_UP, NIGHT_FLOOD)


@given(st.lists(st.integers(0, 40), max_size=6, unique=True).map(sorted), st.lists(st.integers(-5, 45), min_size=1))
def test_the_tide_of_an_instant_is_the_nearest_high_water_the_earlier_of_equals(highs, instants):
    turns = SimpleNamespace(high_us=np.array(highs, dtype=np.int64))
    line: Any = SimpleNamespace(sources=SimpleNamespace(turns=turns))
    expected = [min((abs(high - at), high) for high in highs)[1] if highs else at for at in instants]
    assert _tides(line, instants) == expected


@pytest.mark.parametrize("travel_min", [0.0, 35.0])
def test_many_outings_worked_out_at_once_are_each_as_it_is_alone(travel_min):
    way = round(travel_min * US_PER_MINUTE)
    outings = find_outings(FOUND, SessionOptions(), travel_min=travel_min)
    assert len(outings) > 10
    assert [outing_of(one.legs, [FOUND], way, way) for one in outings] == outings


def test_time_that_a_filter_leaves_out_is_worth_nothing():
    timeline = timeline_over()
    within = Filter.parse("light = 'night' OR height > 2.2")
    held = search_mark("ledge", timeline, {one.name: one for one in (DOWN_AND_UP, NIGHT_FLOOD)}, within=within)
    minutes = np.arange(timeline.span.start_us, timeline.span.end_us, US_PER_MINUTE)
    true = within.mask_at(timeline, minutes) == 1
    assert 0.2 < true.mean() < 0.95
    worth, free = held.best.at(minutes), FOUND.best.at(minutes)
    assert not worth[~true].any()
    np.testing.assert_allclose(worth[true], free[true], atol=0.01)
    # The curve jumps with the filter: its integral is that of what is left, to a minute an edge.
    span = timeline.span.start_us, timeline.span.end_us
    edges = np.count_nonzero(np.diff(true))
    assert held.best.integral(*span) == pytest.approx(free[true].sum() / 60.0, abs=edges / 60.0)
