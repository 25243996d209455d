"""What comes to a mark or stays away from it: the sea from offshore, mist, closures, water over its way back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.safety.shores import BEACH, CALM, EVENING, LEDGE, NOON, WAY, ZERO, issue_of, line_of
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.safety import OutingFacts, assess
from tidecore.safety.thresholds import DEFAULTS

KNOWN = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False)
MINUTE = np.timedelta64(1, "m")
#: Looks west; a sea from the east does not come to it.
WESTWARD = {"facing_degree": 270.0, "exposure": {"from_degree": 220.0, "to_degree": 320.0}}


def of(mark: dict[str, Any], kind: str, sea: dict[str, Any] | None = None, given: Conditions | None = None) -> Any:
    timeline = line_of(mark, sea or {}) if given is None else line_of(mark, given=given)
    return [one for one in assess(timeline, NOON, EVENING, facts=KNOWN).hazards if one.kind == kind]


def grades(*asked: Any, **named: Any) -> set[str]:
    return {one.grade for one in of(*asked, **named)}


def offshore(**sea: float) -> Conditions:
    told = issue_of({**CALM, **sea}).to_document()
    return Conditions.of([ConditionIssue.parse({**told, "waves_at": "offshore"})])


def test_a_small_sea_far_under_the_peg_is_no_hazard():
    plane = [{"distance_m": 0.0, "level_m": 9.0, "bed": "clean_sand"}, {"distance_m": 600.0, "level_m": -3.0}]
    assert of({**BEACH, **WESTWARD, "profile": plane}, "overwash") == []
    assert of({**BEACH, **WESTWARD, "profile": plane}, "overwash", given=offshore(wave_from_degree=270.0)) == []


def test_a_sea_from_outside_the_exposure_bends_round_and_is_not_assessed():
    away = offshore(wave_from_degree=90.0)
    assert grades({**BEACH, **WESTWARD}, "overwash", given=away) == {"not_assessed"}
    # Water over the peg is a danger whatever the sea does.
    low = {**BEACH, **WESTWARD, "peg": {"distance_m": 130.0}}
    assert "danger" in grades(low, "overwash", given=away)
    # How much of a sea offshore comes into an estuary nobody knows, and it is not said of every one of them.
    assert of({**BEACH, "kind": "estuary"}, "overwash", given=away) == []
    assert "danger" in grades({**low, "kind": "estuary"}, "overwash", given=away)


@pytest.mark.parametrize(
    ("kind", "hazard", "place"),
    [("rock_ledge", "waves_on_rock", "this ledge"), ("pier_or_wall", "waves_on_wall", "this wall")],
)
@pytest.mark.parametrize(("height", "period", "threshold"), [(1.1, 14.0, 1.0), (1.5, 6.0, 1.5), (2.0, 14.0, 1.5)])
def test_a_sea_on_rock_or_a_wall_is_held_against_what_it_passes(kind, hazard, place, height, period, threshold):
    sea = {"wave_height_m": height, "wave_period_s": period}
    (found,) = of({**LEDGE, "kind": kind, "ledge_height_m": 30.0}, hazard, sea)
    assert (found.grade, found.threshold) == ("danger", threshold)
    assert place in found.text


@pytest.mark.parametrize(
    ("bed", "visibility", "grade"),
    [
        ("shingle", None, set()),
        ("clean_sand", None, {"not_assessed"}),
        ("shingle", 100.0, {"not_assessed"}),
        ("shingle", 5000.0, set()),
    ],
)
def test_mist_that_nobody_foretells_matters_on_flats_alone(bed, visibility, grade):
    mark = {"kind": "open_beach", "beds": [bed]}
    assert grades(mark, "visibility", {"visibility_m": visibility}) == grade


@pytest.mark.parametrize(
    ("bed", "period", "grade"),
    [
        (["shingle"], 9.0, {"danger"}),
        (["clean_sand"], 9.0, set()),
        ([], 9.0, {"not_assessed"}),
        (["shingle"], 5.0, set()),
    ],
)
def test_a_long_sea_breaks_hard_on_shingle(bed, period, grade):
    mark = {"kind": "open_beach", "beds": bed}
    assert grades(mark, "shore_break", {"wave_height_m": 1.5, "wave_period_s": period}) == grade


def test_that_there_is_no_forecast_is_said_of_the_sea_and_of_nothing_else_that_wants_it():
    unknown = {"wave_height_m": None}
    assert grades({**BEACH, **WESTWARD}, "sea", unknown) == {"not_assessed"}
    assert of({**BEACH, **WESTWARD}, "overwash", unknown) == []
    assert of({"kind": "open_beach", "beds": ["shingle"]}, "shore_break", unknown) == []


@pytest.mark.parametrize(
    ("mark", "grade"),
    [
        ({"kind": "harbour", "ground_datum": ZERO}, set()),
        ({"kind": "harbour"}, set()),
        ({"kind": "harbour", "ground_datum": ZERO, "way_back": WAY}, {"not_assessed"}),
        ({"kind": "harbour", "ground_datum": ZERO, "ledge_height_m": 6.0}, {"not_assessed"}),
        (BEACH, {"not_assessed"}),
    ],
)
def test_surge_is_told_where_a_level_is_held_against_the_water(mark, grade):
    assert grades(mark, "surge") == grade


def test_ground_that_nobody_knows_is_said_of_beaches():
    for kind, grade in (("open_beach", {"not_assessed"}), ("estuary", set()), ("harbour", set())):
        assert grades({"kind": kind}, "ground") == grade


@pytest.mark.parametrize("kind", ["open_beach", "rock_ledge", "pier_or_wall", "harbour"])
def test_a_closure_is_said_at_marks_of_every_kind(kind):
    gate = {"kind": "gate", "state": "closed", "hours": {"from": "12:00", "to": "14:00"}}
    (found,) = of({"kind": kind, "access": [gate]}, "access")
    assert (found.grade, found.start) == ("caution", NOON)


def test_a_sea_shuts_a_pier_as_wind_does():
    pier = {
        "kind": "pier_or_wall",
        "access": [{"kind": "gale_closure", "state": "closed", "wave_height_over_m": 2.0}],
    }
    assert grades(pier, "access", {"wave_height_m": 2.1}) == {"danger"}
    assert of(pier, "access", {"wave_height_m": 1.9}) == []


def test_turning_back_is_due_walk_packing_up_and_spare_time_before_the_sill_is_covered():
    timeline = line_of({**BEACH, "way_back": WAY}, {})
    times = np.arange(timeline.span.start, timeline.span.end, MINUTE)
    level = timeline.at(times.astype("datetime64[us]").astype(np.int64), ("height",))["height"]
    # The interval of a model without a record is half a metre, and the zero is sure to 0.1 m.
    over = level + 0.6 >= 4.0 - DEFAULTS.sill_margin_m
    covered = times[1:][over[1:] & ~over[:-1]][1]
    walk = 200.0 / 4000.0 * 60.0
    due = covered - np.timedelta64(round(walk + 25.0), "m")
    report = assess(timeline, covered - 300 * MINUTE, covered + 60 * MINUTE, facts=KNOWN)
    ahead, late = (
        next(one for one in report.hazards if one.kind == "cut_off" and one.grade == grade)
        for grade in ("info", "danger")
    )
    assert abs(late.turn_back - due) <= MINUTE
    assert ahead.turn_back == late.turn_back == late.start
    # The time to spare is all that is left then.
    assert abs(ahead.end - (covered - np.timedelta64(round(DEFAULTS.spare_min), "m"))) <= 6 * MINUTE


def test_wading_on_a_flood_behind_a_bar_is_a_danger_and_on_the_ebb_it_is_not():
    wading = OutingFacts(alone=False, first_visit=False, wading=True, bathers=False)
    timeline = line_of({**BEACH, "peg": {"distance_m": 180.0}}, {"wave_height_m": 0.1})
    times = np.arange(timeline.span.start, timeline.span.end, MINUTE)
    level = timeline.at(times.astype("datetime64[us]").astype(np.int64), ("height",))["height"]
    day = slice(300, 300 + 745)
    low, high = times[day][np.argmin(level[day])], times[day][np.argmax(level[day])]

    def told(start):
        found = assess(timeline, start, start + 120 * MINUTE, facts=wading).hazards
        return {one.grade for one in found if one.kind == "wading"}

    assert told(low + 60 * MINUTE) == {"danger"}
    assert told(high + 60 * MINUTE) == set()
