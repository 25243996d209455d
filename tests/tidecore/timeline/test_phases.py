from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline import build_timeline
from tidecore.timeline.frame import Frame
from tidecore.timeline.phases import named_phase, named_phase_basis
from tidecore.timeline.sources import Turns

#: Low water at 0, 12.4 h ..., high water at 6.2, 18.6 h ...
_TURNS = np.arange(-4, 8) * 6.2
BY_LEVEL = [
    (-2.1, "mid_ebb"),
    (-1.9, "last_of_the_ebb"),
    (-1.0, "bottom_of_the_tide"),
    (0.0, "bottom_of_the_tide"),
    (0.9, "bottom_of_the_tide"),
    (1.1, "first_of_the_flood"),
    (1.9, "first_of_the_flood"),
    (2.1, "mid_flood"),
    (5.1, "mid_flood"),
    (5.3, "top_of_the_tide"),
    (7.1, "top_of_the_tide"),
    (7.3, "first_of_the_ebb"),
    (8.1, "first_of_the_ebb"),
    (8.3, "mid_ebb"),
    (10.3, "mid_ebb"),
    (10.5, "last_of_the_ebb"),
]
#: The stream turns 2 h after high water and 1.5 h after low water.
BY_STREAM = [
    (0.9, "bottom_of_the_tide"),
    (1.4, "bottom_of_the_tide"),  # the level rises, the stream still ebbs
    (1.6, "first_of_the_flood"),
    (3.4, "first_of_the_flood"),
    (3.6, "mid_flood"),
    (5.3, "top_of_the_tide"),
    (7.3, "top_of_the_tide"),  # the level falls, the stream still floods
    (8.1, "top_of_the_tide"),
    (8.3, "first_of_the_ebb"),
    (10.1, "first_of_the_ebb"),
    (10.3, "mid_ebb"),
    (11.3, "mid_ebb"),  # the bottom of the tide comes before the last of the ebb
    (11.5, "bottom_of_the_tide"),
]
#: It turns 1.5 h before high and low water.
EARLY = [
    (-1.4, "first_of_the_flood"),
    (-0.9, "bottom_of_the_tide"),
    (0.9, "bottom_of_the_tide"),
    (1.1, "mid_flood"),
    (4.6, "mid_flood"),
    (4.8, "first_of_the_ebb"),
    (5.3, "top_of_the_tide"),
    (7.3, "mid_ebb"),
    (8.6, "mid_ebb"),
    (8.8, "mid_ebb"),
    (9.0, "last_of_the_ebb"),
    (10.8, "last_of_the_ebb"),
    (11.0, "first_of_the_flood"),
]


def frame_with(lags_h: tuple[float, float] | None, hours: np.ndarray[Any, Any]) -> Frame:
    times = np.rint(_TURNS * US_PER_HOUR).astype(np.int64)
    high = np.arange(-4, 8) % 2 == 1
    turns = Turns(times, np.where(high, 4.0, 1.0), high)
    after_hw, after_lw = lags_h or (0.0, 0.0)
    slacks = times + np.rint(np.where(high, after_hw, after_lw) * US_PER_HOUR).astype(np.int64)
    mark = SimpleNamespace(flow_reliable=lags_h is not None)
    sources: Any = SimpleNamespace(turns=turns, slacks_us=slacks, mark=mark)
    return Frame(sources, np.rint(hours * US_PER_HOUR).astype(np.int64))


@pytest.mark.parametrize(
    ("lags", "table", "basis"),
    [(None, BY_LEVEL, "level"), ((2.0, 1.5), BY_STREAM, "stream"), ((-1.5, -1.5), EARLY, "stream")],
)
def test_phases_by_hand(lags: tuple[float, float] | None, table: list[tuple[float, str]], basis: str) -> None:
    hours = np.array([hour for hour, _ in table])
    frame = frame_with(lags, hours)
    assert named_phase(frame).tolist() == [name for _, name in table]
    assert set(named_phase_basis(frame)) == {basis}


def test_every_instant_of_a_tide_has_a_name_and_all_names_occur() -> None:
    for mark, basis in ((mark_at(), "stream"), (mark_without_lags(), "level")):
        timeline = build_timeline(mark, model_of("large"), "2026-03-20", "2026-03-24")
        assert len(set(timeline.columns["named_phase"])) == 7
        assert "" not in timeline.columns["named_phase"]
        assert set(timeline.columns["named_phase_basis"]) == {basis}
