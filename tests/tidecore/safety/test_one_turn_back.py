"""Turning back is one instant, whoever tells it: hazards, plans of pegs, notes for home and a mark now."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.safety.shores import BEACH, WAY, line_of
from tidecore.safety import OutingFacts, Thresholds, assess, outing_span
from tidecore.shore.turning_back import NAMED_MIN
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.timeline.peg_plans import plan_pegs, turning_back

#: High water stands over the gut twice a day, for some hours.
TIMELINE = line_of({**BEACH, "way_back": WAY}, {})
FIRST = np.datetime64("2026-06-10T14:00", "us")
#: Hazards are looked at every five minutes.
STEP = 5 * US_PER_MINUTE
LIMITS = st.builds(
    Thresholds,
    sill_margin_m=st.floats(0.0, 0.6).map(lambda one: round(one, 2)),
    spare_min=st.integers(0, 60).map(float),
)
FACTS = st.builds(
    OutingFacts,
    surge_m=st.sampled_from([None, -0.5, 0.0, 0.2]),
    pace=st.sampled_from([1.0, 0.5, 3.0, 6.0]),
    pack_up_min=st.integers(0, 60).map(float),
)


def told(span, limits, facts):
    """When hazards say that turning back is due, of water that is not gone when the outing begins."""
    start, end = outing_span(TIMELINE, span.start, span.end, facts)
    report = assess(TIMELINE, start, end, limits, facts)
    return {
        int(one.turn_back.astype("datetime64[us]").astype(np.int64))
        for one in report.hazards
        if one.kind == "cut_off"
        and one.turn_back is not None
        # A stretch goes on to the instant after it.
        and one.end > span.start + np.timedelta64(STEP, "us")
    }


@given(after=st.integers(0, 1440), minutes=st.integers(10, 420), limits=LIMITS, facts=FACTS)
def test_hazards_and_the_plan_of_pegs_say_the_same(after, minutes, limits, facts):
    start = FIRST + np.timedelta64(after, "m")
    span = TimeSpan(start, start + np.timedelta64(minutes, "m"))
    allowances = limits.allowances(facts)
    found, unsure = turning_back(TIMELINE.sources, span, facts.surge_m, allowances)
    assert found is not None
    assert found.way.walk_min is not None
    assert unsure == ()
    due = told(span, limits, facts)
    # Told up to three hours after the walk out.
    last = span.end_us + (found.way.walk_min + NAMED_MIN) * US_PER_MINUTE
    if found.time_us is not None and (due or found.time_us < last - STEP):
        assert min(abs(one - found.time_us) for one in due) <= US_PER_MINUTE / 60
    if found.time_us is None:
        # The instant before the first that has a hazard begins it.
        assert all(one > last - 2 * STEP for one in due)
    plan = plan_pegs(TIMELINE, span, surge_m=facts.surge_m, allowances=allowances)
    assert plan.turn_back == found


@pytest.mark.parametrize("surge_m", [-2.0, -0.1])
def test_a_surge_below_nothing_makes_nothing_safer(surge_m):
    start = FIRST + np.timedelta64(4, "h")
    span = TimeSpan(start, start + np.timedelta64(5, "h"))
    without, below = (told(span, Thresholds(), OutingFacts(surge_m=one)) for one in (0.0, surge_m))
    assert without == below
    assert without


def test_who_walks_slowly_or_packs_up_long_turns_back_so_much_earlier():
    start = FIRST + np.timedelta64(1, "h")
    span = TimeSpan(start, start + np.timedelta64(5, "h"))
    usual, slow, long = (
        due(span, facts) for facts in (OutingFacts(), OutingFacts(pace=3.0), OutingFacts(pack_up_min=60.0))
    )
    walk = 200.0 / 4000.0 * 60.0
    assert usual - slow == pytest.approx(2.0 * walk, abs=0.01)
    assert usual - long == pytest.approx(45.0, abs=0.01)


def due(span: TimeSpan, facts: OutingFacts) -> float:
    """When turning back is due [min]."""
    found, _ = turning_back(TIMELINE.sources, span, 0.0, Thresholds().allowances(facts))
    assert found is not None
    assert found.time_us is not None
    return found.time_us / US_PER_MINUTE
