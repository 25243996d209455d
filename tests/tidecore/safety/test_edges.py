"""Hazards of standing above the water, of the wind at an edge, and of what the pressure lifts the sea."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.safety.shores import BEACH, EVENING, LEDGE, NOON, WAY, ZERO, line_of
from tidecore.safety import Care, Hazard, OutingFacts, Thresholds, assess, worst_in_steps
from tidecore.shore.dangers import GRADES, WAVES_IN_OUTING, overtopped, strong_gusts
from tidecore.shore.waves import largest_most_probable
from tidecore.windows import bait_dangers, find_bait_outings

KNOWN = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False)
#: The tide of the plain model stands 4.6 m at most, and its allowance and the doubt of the zero are 0.6 m more.
PIER: dict[str, Any] = {"kind": "pier_or_wall", "ledge_height_m": 7.0, "ground_datum": ZERO}


def of(mark: dict[str, Any], sea: dict[str, Any] | None, kind: str, **asked: Any) -> list[Hazard]:
    report = assess(line_of(mark, sea), NOON, EVENING, **{"facts": KNOWN, **asked})
    return [one for one in report.hazards if one.kind == kind]


def grades(*asked: Any, **named: Any) -> set[str]:
    return {one.grade for one in of(*asked, **named)}


def test_the_highest_wave_of_an_outing_comes_over_a_deck_or_does_not():
    highest = float(largest_most_probable(WAVES_IN_OUTING))
    water, sea = np.full(5, 5.0), np.array([0.0, 0.5, 1.0, 2.0, np.nan])
    codes, margin = overtopped(5.0 + highest + 0.1, water, sea, np.ones(5, dtype=np.int64), (0.5, 0.0))
    assert [GRADES[code] for code in codes] == ["none", "none", "caution", "danger", "not_assessed"]
    assert margin[2] == pytest.approx(0.1)
    # Still water over the top needs no sea to be known; from outside the exposure some of it bends round.
    assert [GRADES[code] for code in overtopped(4.9, water, sea, np.zeros(5, dtype=np.int64), (0.5, 0.0))[0]] == [
        "danger"
    ] * 5
    off = overtopped(6.0, water, sea, np.zeros(5, dtype=np.int64), (0.5, 0.0))[0]
    assert [GRADES[code] for code in off] == ["none", "not_assessed", "not_assessed", "not_assessed", "not_assessed"]


def test_a_pier_is_overtopped_at_high_water_and_what_is_unknown_of_it_is_said():
    assert not of(PIER, {}, "overtopping")
    found, *rest = of(PIER, {"wave_height_m": 1.4}, "overtopping")
    assert (found.grade, found.threshold, found.unit) == ("danger", 0.0, "m")
    assert {one.grade for one in rest} == {"caution"}
    assert found.value is not None
    assert found.value < 0.0
    assert f"to {-found.value:.1f} m above its top: stay off" in found.text
    assert grades(PIER, {"wave_height_m": 0.8}, "overtopping", thresholds=Thresholds(deck_danger_m=1.5)) == {"danger"}
    for unknown in ({"ledge_height_m": None}, {"ground_datum": None}):
        (said,) = of({**PIER, **unknown}, {}, "overtopping")
        assert said.grade == "not_assessed"
        assert "not known" in said.text
    # Whether the sea comes at all is the one thing that is said where no forecast covers it.
    assert grades(PIER, {"wave_height_m": None}, "overtopping") == set()
    assert grades(PIER, {"wave_height_m": None}, "sea") == {"not_assessed"}
    assert grades({**PIER, "kind": "harbour"}, {"wave_height_m": None}, "overtopping") == {"not_assessed"}
    assert grades({**PIER, "ledge_height_m": 4.0}, {"wave_height_m": None}, "overtopping") >= {"danger"}


@pytest.mark.parametrize(
    ("wind", "gust", "grade"),
    [
        (6.0, None, set()),
        (8.0, None, {"not_assessed"}),
        (10.0, None, {"caution"}),
        (13.4, None, {"danger"}),
        (8.0, 14.9, set()),
        (8.0, 15.0, {"caution"}),
        (8.0, 20.0, {"danger"}),
        (None, None, {"not_assessed"}),
        (None, 20.0, {"danger"}),
    ],
)
def test_gusts_at_an_edge(wind, gust, grade):
    sea = {"wind_speed_m_per_s": wind, "wind_gust_m_per_s": gust}
    assert grades(LEDGE, sea, "wind") == grade
    for one in of(LEDGE, sea, "wind"):
        assert ("reckoned from the mean wind" in one.text) == (gust is None and one.grade != "not_assessed")


def test_the_wind_is_told_of_cliffs_too_and_by_the_thresholds_of_the_account():
    assert not of({"kind": "open_beach"}, {"wind_gust_m_per_s": 30.0}, "wind")
    (found,) = of({"kind": "open_beach", "cliff": ["top"]}, {"wind_gust_m_per_s": 30.0}, "wind")
    assert "off the cliff" in found.text
    assert strong_gusts(np.array([9.0]), np.array([12.0]), 10.0, 12.0)[0].tolist() == [GRADES.index("danger")]
    assert Thresholds(gust_danger_m_per_s=25.0).loosened == ("gust_danger_m_per_s",)


def test_low_pressure_lifts_the_sea_and_a_given_surge_replaces_it():
    mark = {**BEACH, "way_back": [{**WAY[0], "lowest_sill_m": 5.6}]}
    for pressure, grade in (
        (1030.0, set()),
        (1013.0, set()),
        (1008.25, {"info"}),
        (973.25, {"caution"}),
        (None, {"not_assessed"}),
    ):
        found = of(mark, {"pressure_hpa": pressure}, "surge")
        assert {one.grade for one in found} == grade
        if pressure is not None and found:
            assert found[0].value == pytest.approx(0.01 * (1013.25 - pressure))
            assert "inverse barometer" in found[0].text
    # The tide covers the sill for longer with 0.4 m on it; high pressure takes nothing off.
    cut = {
        name: sum(
            float((one.end - one.start) / np.timedelta64(1, "m"))
            for one in of(mark, sea, "cut_off", facts=facts)
            if one.grade == "danger"
        )
        for name, sea, facts in (
            ("unknown", {}, KNOWN),
            ("high", {"pressure_hpa": 1045.0}, KNOWN),
            ("low", {"pressure_hpa": 973.25}, KNOWN),
            ("given", {"pressure_hpa": 973.25}, OutingFacts(alone=False, surge_m=0.4)),
            ("none", {"pressure_hpa": 973.25}, OutingFacts(alone=False, surge_m=0.0)),
        )
    }
    assert cut["low"] == pytest.approx(cut["given"])
    assert cut["high"] == cut["unknown"] == cut["none"] < cut["low"]
    assert not of(mark, {"pressure_hpa": 973.25}, "surge", facts=OutingFacts(alone=False, surge_m=0.0))


def test_who_gathers_bait_is_out_beyond_the_bank_and_the_peg():
    # The peg is on the land side of the trough; who gathers bait goes out over the bank behind which it fills.
    timeline = line_of({**BEACH, "way_back": WAY}, {"visibility_m": 300.0})
    bank = [one for one in assess(timeline, NOON, EVENING, facts=KNOWN).hazards if one.kind == "water_behind"]
    assert not bank
    gathering = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False, gathering=True)
    told = assess(timeline, NOON, EVENING, facts=gathering).hazards
    assert "behind the banks" in next(one.text for one in told if one.kind == "water_behind" and one.grade == "danger")
    # The way back is short, but the edge of low water lies far out: mist counts.
    assert {one.grade for one in told if one.kind == "visibility"} == {"danger"}
    assert not find_bait_outings(timeline, 3.0, care=Care(facts=KNOWN))
    assert "visibility 100%" in bait_dangers(timeline, Care(facts=KNOWN))[0]
    shown = find_bait_outings(timeline, 3.0, care=Care(facts=KNOWN, include_dangerous=True))
    assert {one.hazards.grade for one in shown} == {"danger"}


def test_bait_outings_leave_before_the_flood_fills_the_trough():
    timeline = line_of({**BEACH, "way_back": WAY}, {})
    found = find_bait_outings(timeline, 4.0, care=Care(facts=KNOWN))
    free = find_bait_outings(timeline, 4.0, care=Care(facts=KNOWN, include_dangerous=True))
    assert found
    assert all(one.hazards.grade != "danger" for one in found)
    assert sum(one.duration_h for one in found) < sum(one.duration_h for one in free)


def test_the_worst_of_each_step_is_that_of_an_outing_of_the_step():
    timeline = line_of({**BEACH, "peg": {"distance_m": 180.0}, "way_back": WAY}, {"thunder_probability_percent": 40.0})
    step = np.timedelta64(30, "m")
    times = np.arange(NOON, EVENING, step)
    found = worst_in_steps(timeline, times, step, facts=KNOWN)
    assert {"danger", "caution"} <= set(found.grades.tolist())
    for k, start in enumerate(times):
        report = assess(timeline, start, start + step, facts=KNOWN)
        kinds = {one.kind for one in report.hazards if one.grade == report.grade}
        assert found.grades[k] == report.grade
        assert set(found.kinds[k].split()) >= kinds
        assert set(found.not_assessed[k].split()) == set(report.not_assessed)
