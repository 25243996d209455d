"""The verdict on a mark says what hinders, and what it lacks where it cannot tell."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.timeline import build_timeline
from tidecore.windows.verdicts import FishableVerdict, judge_fishing

DAY = np.datetime64("2026-03-20", "us")
RATES = dict.fromkeys(
    ("spring_flood_m_per_s", "spring_ebb_m_per_s", "neap_flood_m_per_s", "neap_ebb_m_per_s"), 0.4
)  # fmt: skip


def seen(**values: Any) -> Conditions:
    """What was seen all day, every three hours."""
    times = [f"{DAY + np.timedelta64(3 * k, 'h')}Z" for k in range(9)]
    issue = {"kind": "observation", "source": "invented", "issued_at": times[-1], "times": times, "waves_at": "at_mark"}
    return Conditions.of([ConditionIssue.parse({**issue, "values": {name: [v] * 9 for name, v in values.items()}})])


def verdict(conditions: Conditions | None, **mark: Any) -> FishableVerdict:
    """The verdict on six hours at a mark that looks west."""
    place = mark_at(facing_degree=270, exposure={"from_degree": 200, "to_degree": 340}, **mark)
    line = build_timeline(place, model_of("large"), DAY, DAY + np.timedelta64(1, "D"), conditions=conditions)
    start = int((DAY + np.timedelta64(6, "h")).astype(np.int64))
    return judge_fishing(line, start, start + 6 * 3_600_000_000)


SEA = {"wave_height_m": 0.5, "wave_from_degree": 270, "weed": "none"}


@pytest.mark.parametrize(
    ("wind", "grade", "named"),
    [(4.0, "yes", ""), (14.0, "hard", "crosswind")],
)  # fmt: skip
def test_a_wind_that_hinders_is_named(wind, grade, named):
    found = verdict(seen(**SEA, wind_speed_m_per_s=wind, wind_from_degree=270), stream_rates=RATES)
    assert found.grade == grade
    assert named in " ".join(found.reasons)


def test_what_is_lacking_is_named_and_nothing_else():
    found = verdict(seen(**SEA, wind_speed_m_per_s=4.0, wind_from_degree=270))
    assert found.grade == "unknown"
    assert found.reasons == ("Long Ledge: not known whether it fishes, for want of: holding.",)
    nothing = verdict(None).reasons[0]
    assert all(word in nothing for word in ("holding", "surf", "weed", "crosswind"))
