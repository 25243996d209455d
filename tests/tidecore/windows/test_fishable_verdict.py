"""The verdict on a mark says what hinders, and what it lacks where it cannot tell."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.timeline import build_timeline
from tidecore.windows import search_mark
from tidecore.windows.verdicts import FishableVerdict, grade_stays, judge_fishing

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


def test_a_mark_stops_fishing_when_the_sea_passes_two_metres():
    # A metre in an hour: up through 2 m at 06:00 + 40 min, down through it at 18:00 + 20 min.
    hours, heights = (0, 3, 6, 9, 12, 15, 18, 21, 24), (1.0, 1.0, 1.0 + 1 / 3, 4.0 + 1 / 3, 4.0, 4.0, 2.2, 0.4, 0.4)
    times = [f"{DAY + np.timedelta64(hour, 'h')}Z" for hour in hours]
    issue = {"kind": "observation", "source": "invented", "issued_at": times[-1], "times": times, "waves_at": "at_mark"}
    told = Conditions.of([ConditionIssue.parse({**issue, "values": {"wave_height_m": list(heights)}})])
    line = build_timeline(mark_at(), model_of("large"), DAY, DAY + np.timedelta64(1, "D"), conditions=told)
    ((start, end),) = search_mark("invented", line, {}).times_when("fishable", "no")
    wanted = [int((DAY + np.timedelta64(minutes, "m")).astype(np.int64)) for minutes in (6 * 60 + 40, 18 * 60 + 20)]
    assert [start, end] == pytest.approx(wanted, abs=10_000)


def test_what_is_lacking_is_named_and_nothing_else():
    found = verdict(seen(**SEA, wind_speed_m_per_s=4.0, wind_from_degree=270))
    assert found.grade == "unknown"
    assert found.reasons == ("Long Ledge: not known whether it fishes, for want of: holding.",)
    # Waves and wind are told for half of the six hours, weed and holding for all of them.
    told = seen(**SEA, wind_speed_m_per_s=4.0, wind_from_degree=270).issues[0].to_document()
    columns = {name: [value for value in column if value is not None] for name, column in told["values"].items()}
    half = {"times": told["times"][:4], "values": {name: column[:4] for name, column in columns.items()}}
    partly = verdict(Conditions.of([ConditionIssue.parse({**told, **half})]), stream_rates=RATES)
    assert partly.grade == "unknown"
    (said,) = partly.reasons
    share = int(said.split("fishes for ")[1].split("%")[0])
    assert 45 <= share <= 55
    assert said.endswith("of the time, for want of: surf and crosswind.")
    nothing = verdict(None).reasons[0]
    assert all(word in nothing for word in ("holding", "surf", "weed", "crosswind"))


@pytest.mark.parametrize("wind", [[4.0] * 9, [4.0, 4.0, 14.0, 14.0, 4.0, None, None, 4.0, 16.0], [18.0] * 9])
def test_many_stays_have_the_grades_of_each(wind):
    times = [f"{DAY + np.timedelta64(3 * k, 'h')}Z" for k in range(9)]
    issue = {"kind": "observation", "source": "invented", "issued_at": times[-1], "times": times, "waves_at": "at_mark"}
    values = {name: [value] * 9 for name, value in SEA.items()} | {"wind_from_degree": [270] * 9}
    told = Conditions.of([ConditionIssue.parse({**issue, "values": {**values, "wind_speed_m_per_s": wind}})])
    place = mark_at(facing_degree=270, exposure={"from_degree": 200, "to_degree": 340}, stream_rates=RATES)
    line = build_timeline(place, model_of("large"), DAY, DAY + np.timedelta64(1, "D"), conditions=told)
    starts = np.random.default_rng(4).integers(0, 20 * 60, 12) * 60_000_000 + line.span.start_us
    stays = [(int(start), int(start) + (k % 4) * 3_600_000_000) for k, start in enumerate(starts)]
    grades = grade_stays(line, stays)
    assert grades == [judge_fishing(line, *stay).grade for stay in stays]
    assert grade_stays(line, []) == []
    if None in wind:
        assert len(set(grades)) == 3
