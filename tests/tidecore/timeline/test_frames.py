"""What is worked out of several marks in one go is what each has alone, to the last digit."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.offsets.tables import evenly
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.timeline import Frames, Marks, Timeline, build_timeline, factors
from tidecore.timeline.sources import MARGIN_US

TOGETHER = [name for name, factor in factors().items() if factor.together is not None]
START, END = "2026-06-20T05:00", "2026-06-24T17:00"


def lines() -> list[Timeline]:
    """Marks of four stations, one without a tide; with lags, without, with offsets; one where the sun never sets."""
    return [
        build_timeline(mark, model_of(tide), START, END)
        for mark, tide in (
            (mark_at(), "large"),
            (mark_without_lags(), "large"),
            (mark_at(longitude=151.0, latitude=-34.0, slack_lags={"after_hw_min": -90, "after_lw_min": 170}), "large"),
            (mark_at(latitude=69.0), "none"),
            (mark_without_lags(offsets=evenly(50, 50).to_document()), "double_low"),
            (mark_at(offsets=evenly(50, 50).to_document()), "double_low"),
            (mark_without_lags(longitude=40.0), "diurnal"),
        )
    ]


@pytest.mark.parametrize("name", TOGETHER)
def test_a_factor_of_several_marks_is_that_of_each(name: str) -> None:
    made, chance = lines(), np.random.default_rng(5)
    first, last = made[0].span.start_us - MARGIN_US, made[0].span.end_us + MARGIN_US
    times = [chance.integers(first, last, count) for count in (40, 2, 300, 17, 0, 60, 2500)]
    frames = Frames(Marks([one.sources for one in made]), [len(one) for one in times], np.concatenate(times))
    together = factors()[name].together
    assert together is not None
    alone = np.concatenate([line.at(at, [name])[name] for line, at in zip(made, times, strict=True)])
    np.testing.assert_array_equal(together(frames), alone)


def test_the_stream_is_unknown_before_the_first_turn_of_a_mark_and_after_the_last() -> None:
    made = lines()[:3]
    marks = Marks([one.sources for one in made])
    ends = [one.sources.slacks_us[[0, 0, -1, -1]] + [-1, 0, 0, 1] for one in made]
    found = Frames(marks, [4, 4, 4], np.concatenate(ends)).flow_index.reshape(3, 4)
    assert np.isnan(found[:, [0, 3]]).all()
    assert not np.isnan(found[:, 1:3]).any()
