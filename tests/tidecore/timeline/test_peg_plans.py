"""Plans of pegs at invented marks: dry by the margin of the shore at every look, and nothing where it is unknown."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.conditions.issues import START as ZERO_HOUR
from tests.tidecore.conditions.issues import issue
from tests.tidecore.shore.peg_scan import scanned
from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.timeline.test_shore import CUT_OFF, WAY
from tidecore.conditions import Conditions
from tidecore.safety.assessing import NOBODY
from tidecore.safety.looking import Look
from tidecore.shore import dry_margin
from tidecore.shore.pegging import REACH_MARGIN_M, Pegs
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.timeline import Timeline, build_timeline
from tidecore.timeline.frame import Frame
from tidecore.timeline.peg_plans import ALL_REACHED, TOO_SHORT, PegPlan, minutes_left, plan_pegs, turning_back
from tidecore.timeline.shore_sea import shore_sea
from tidecore.timeline.surge import surge_at

OPEN: dict[str, Any] = CUT_OFF | {"way_back": [], "peg": None}


def hour(at: float) -> np.datetime64:
    return ZERO_HOUR + np.timedelta64(round(at * 3600), "s")


def line(
    height: float | None = 0.6, tide: str = "large", last: int = 24, pressure_hpa: Any = None, **changes: Any
) -> Timeline:
    hours = [float(one) for one in range(-6, last + 1, 2)]
    waves: dict[str, Any] = {} if height is None else {"wave_height_m": [height] * len(hours)}
    waves |= {} if pressure_hpa is None else {"pressure_hpa": pressure_hpa}
    seas = issue(
        hours, -6.0, wave_period_s=[8.0] * len(hours), wave_period_kind="peak", waves_at="at_mark",
        air_temperature_c=[12.0] * len(hours), **waves,
    )  # fmt: skip
    mark = mark_at(**(OPEN | changes))
    return build_timeline(mark, model_of(tide), hour(0), hour(24), conditions=Conditions.of([seas]))


def plan(timeline: Timeline, first: float = 0.0, last: float = 6.0, **asked: Any) -> PegPlan:
    return plan_pegs(timeline, TimeSpan(hour(first), hour(last)), **asked)


def places_of(found: PegPlan, times: Any) -> Any:
    """Where one stands at some times; NaN where no peg is told."""
    untold = tuple((one.start_us, one.end_us) for one in found.untold)
    return scanned(Pegs(tuple(one.move for one in found.stands), untold), times)


@pytest.mark.parametrize("first", [0.0, 3.0, 6.5, 9.0, 14.0])
@pytest.mark.parametrize("surge", [None, 0.3])
def test_every_peg_is_dry_by_the_margin_and_has_no_water_behind(first: float, surge: float | None) -> None:
    timeline = line()
    found = plan(timeline, first, first + 5.0, surge_m=surge, step_m=10.0)
    assert found.missing == ()
    times = np.arange(found.span.start_us, found.until_us, US_PER_MINUTE)
    places = places_of(found, times)
    assert np.isfinite(places).any()
    sources = timeline.sources
    ground = sources.setting.beach
    assert ground is not None
    frame = Frame(sources, times)
    still = frame.still_level + (surge or 0.0) + 0.1
    for place in np.unique(places[np.isfinite(places)]):
        there = places == place
        waves = shore_sea(Frame(sources, times[there])).waves
        dry = dry_margin(ground, float(place), still[there], waves, found.largest_over_r2).vertical
        # Where the slope steps the run-up is unknown for moments that no look comes upon.
        assert np.isnan(dry).mean() < 0.01
        assert np.nanmin(dry) > REACH_MARGIN_M - 1e-3
        assert not ground.water_behind(still[there], float(place)).any()
    # One stands or is told why not, all the time.
    for one in found.untold:
        assert one.why


def test_moves_go_down_with_the_ebb_and_up_with_the_flood() -> None:
    found = plan(line(), 0.0, 12.0, step_m=10.0)
    causes = {one.cause for one in found.stands}
    assert causes == {"set_up", "ebb", "flood"}
    for one in found.stands[1:]:
        assert one.cause == "set_up" or (one.cause == "ebb") == (one.move.metres > 0.0)
    assert found.stands[0].move.metres == 0.0


def test_more_water_and_more_sea_never_put_a_peg_further_out() -> None:
    times = np.arange(TimeSpan(hour(0), hour(10)).start_us, TimeSpan(hour(0), hour(10)).end_us, 5 * US_PER_MINUTE)

    def places(timeline: Timeline, surge: float) -> Any:
        found = plan(timeline, 0.0, 10.0, surge_m=surge, step_m=10.0)
        return places_of(found, times)

    even = [{"distance_m": 0.0, "level_m": 9.0, "bed": "clean_sand"}, {"distance_m": 450.0, "level_m": -6.0}]
    calm = places(line(0.4, profile=even), 0.0)
    assert np.isfinite(calm).all()
    for worse in (places(line(0.4, profile=even), 0.4), places(line(0.8, profile=even), 0.0)):
        known = np.isfinite(worse)
        assert (worse[known] <= calm[known]).all()
        assert (worse[known] < calm[known]).any()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"profile": []}, "no profile and no slope"),
        ({"ground_datum": None}, "zero of the ground"),
        ({"ground_datum": OPEN["ground_datum"] | {"above_datum_m": None, "uncertainty_m": None}}, "zero of the ground"),
        ({"kind": "rock_ledge"}, "rock ledge"),
        ({"beds": [], "profile": [one | {"bed": None} for one in OPEN["profile"]]}, "the bed is none"),
        ({"height": None}, "the height of the sea is not known"),
        ({"last": 2}, "the height of the sea is not known (6"),
    ],
)
def test_without_ground_datum_or_waves_there_is_no_plan_and_it_says_what_is_missing(
    changes: dict[str, Any], said: str
) -> None:
    found = plan(line(**changes))
    assert found.stands == ()
    assert found.untold == ()
    assert any(said in one for one in found.missing), found.missing


def test_a_plan_ends_when_one_turns_back() -> None:
    whole = plan(line(), 4.0, 10.0)
    assert whole.turn_back is None
    assert "turn-back not assessed: the mark does not tell the way back" in whole.not_assessed
    cut = plan(line(way_back=CUT_OFF["way_back"]), 4.0, 10.0)
    assert cut.turn_back is not None
    assert cut.turn_back.time_us is not None
    if cut.turn_back.time_us > cut.span.start_us:
        assert cut.until_us == min(cut.turn_back.time_us, cut.span.end_us)
        assert all(one.move.time_us < cut.until_us for one in cut.stands)
    firsts = [plan(line(way_back=CUT_OFF["way_back"]), float(one), one + 4.0) for one in range(0, 13)]
    late = [one for one in firsts if one.turn_back and one.turn_back.time_us is not None and not one.stands]
    assert any("too late" in said for one in late for said in one.missing)
    assert any(one.span.start_us < one.until_us < one.span.end_us and one.stands for one in firsts)


def test_the_largest_run_up_is_that_of_the_outing() -> None:
    short, long = plan(line(), 0.0, 2.0), plan(line(), 0.0, 12.0)
    # 2 h at Tz 6.25 s are 1,152 waves, 12 h 6,912: 1.342 and 1.503 times R2, rounded up to 0.05.
    assert short.largest_over_r2 == pytest.approx(1.35)
    assert long.largest_over_r2 == pytest.approx(1.55)


def test_surge_that_nobody_gave_is_named() -> None:
    assert any(one.startswith("surge not assessed") for one in plan(line()).not_assessed)
    assert not any(one.startswith("surge") for one in plan(line(), surge_m=0.1).not_assessed)
    half = plan(line(pressure_hpa=[983.25] * 8 + [None] * 8), 7.0, 12.0).not_assessed
    assert [one.split(":")[0] for one in half if one.startswith("surge")] == [
        "surge not assessed for a part of the time", "surge by the pressure of the air alone",
    ]  # fmt: skip


def test_the_pressure_of_the_air_lifts_the_water_as_a_surge_that_is_given_does() -> None:
    # 30 hPa under the standard pressure are 0.30 m by the inverse barometer.
    for way in (WAY, []):
        low = line(pressure_hpa=[983.25] * 16, way_back=way)
        plain, given, told = plan(low, surge_m=0.0), plan(low, surge_m=0.3), plan(low)
        assert (told.stands, told.untold, told.turn_back) == (given.stands, given.untold, given.turn_back)
        assert (told.turn_back if way else told.stands) != (plain.turn_back if way else plain.stands)
        assert any(one.startswith("surge by the pressure") for one in told.not_assessed)
    # High pressure is no less water; and it is the water that the hazards of the same outing are held against.
    assert plan(line(pressure_hpa=[1043.25] * 16)).stands == plain.stands
    falling = line(pressure_hpa=[1013.0 - 2.0 * k for k in range(16)], way_back=WAY)
    times = np.arange(0, 24 * 60, 7) * US_PER_MINUTE + int(hour(0).astype(np.int64))
    hazards = Look(falling.sources, times).surge(NOBODY)
    assert surge_at(falling.sources.conditions, times, None) == pytest.approx(hazards, abs=0.0)
    assert hazards[-1] > 0.2


def test_a_stage_of_the_tide_without_a_run_up_has_no_peg_and_says_why() -> None:
    found = plan(line(), 0.0, 12.0, step_m=10.0)
    slope = [one for one in found.untold if "slope" in one.why]
    assert slope
    for one in slope:
        inside = [stand for stand in found.stands if one.start_us <= stand.move.time_us < one.end_us]
        assert inside == []
    # One leaves ten minutes before the first of them.
    frame = Frame(line().sources, np.arange(slope[0].start_us, slope[0].end_us, US_PER_MINUTE))
    sea, setting = shore_sea(frame), frame.sources.setting
    known = setting.run_up(frame.still_level + 0.1, sea.waves, sea.reaches)
    assert known is not None
    assert set(known.why[:8].tolist()) == {0}
    assert (known.why[10:] > 0).any()


@pytest.mark.parametrize("surge", [None, 0.5])
def test_the_minutes_left_are_those_to_turning_back_of_an_outing_that_begins_then(surge: float | None) -> None:
    timeline = line(**(CUT_OFF | {"peg": None}))
    told = []
    for at in range(24):
        first = hour(at)
        found, unsure = turning_back(timeline.sources, TimeSpan(first, first + np.timedelta64(14, "h")), surge)
        assert found is not None
        assert found.time_us is not None
        assert not unsure
        assert not found.already
        now = int(first.astype("datetime64[us]").astype(np.int64))
        told.append(minutes_left(timeline.sources, now, surge))
        # To the tolerance of a passage, 0.05 s.
        assert told[-1] == pytest.approx((found.time_us - now) / US_PER_MINUTE, abs=0.002)
    assert min(told) < 0.0 < max(told)


def test_a_sill_that_is_never_dry_was_covered_already_and_one_that_always_is_leaves_a_day() -> None:
    span = TimeSpan(hour(0.0), hour(6.0))
    sunk, high = (
        line(**(CUT_OFF | {"peg": None, "way_back": [WAY[0] | {"lowest_sill_m": sill}]})) for sill in (-40.0, 40.0)
    )
    found, _ = turning_back(sunk.sources, span)
    assert found is not None
    assert found.already
    assert found.covered_us == span.start_us - 24 * 60 * US_PER_MINUTE
    dry, _ = turning_back(high.sources, span)
    assert dry is not None
    assert (dry.time_us, dry.covered_us, dry.already) == (None, None, False)
    assert minutes_left(high.sources, span.start_us) == 1440.0


@pytest.mark.parametrize("minutes", [5, 15, 19])
def test_a_session_shorter_than_a_stay_is_worth_has_its_peg(minutes: int) -> None:
    ebb = plan(line(), 9.0, 9.0 + minutes / 60.0)
    assert (len(ebb.stands), ebb.untold) == (1, ())
    longer = plan(line(), 9.0, 12.0)
    assert ebb.stands[0].move.distance_m == pytest.approx(longer.stands[0].move.distance_m, abs=20.0)


def test_ground_that_is_dry_too_shortly_is_not_said_to_be_reached_all_the_time() -> None:
    low = [{"distance_m": 0.0, "level_m": 3.0, "bed": "clean_sand"}, {"distance_m": 400.0, "level_m": -6.0}]

    def why(**asked: float) -> set[str]:
        return {one.why for one in plan(line(profile=low), 9.2, 14.0, **asked).untold}

    assert why(least_stay_min=0.0, notice_min=0.0) == {ALL_REACHED}
    assert why(least_stay_min=240.0, notice_min=30.0) == {TOO_SHORT}
