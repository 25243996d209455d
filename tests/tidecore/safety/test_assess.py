"""Hazards of outings at invented marks."""

from __future__ import annotations

import pickle
import re

import numpy as np
import pytest

from tests.tidecore.safety.shores import (
    BEACH,
    CALM,
    EVENING,
    LEDGE,
    MIDNIGHT,
    NOON,
    SMALL_HOURS,
    WAY,
    issue_of,
    line_of,
    warning_of,
)
from tidecore.conditions import Conditions
from tidecore.errors import InvalidInput, InvalidSpan
from tidecore.safety import DEFERS, Hazard, HazardReport, OutingFacts, Thresholds, assess

KNOWN = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False)
HOUR = np.timedelta64(1, "h")


def of(report: HazardReport, kind: str) -> list[Hazard]:
    return [one for one in report.hazards if one.kind == kind]


def grades(report: HazardReport, kind: str) -> set[str]:
    return {one.grade for one in of(report, kind)}


def test_long_swell_on_a_ledge_on_a_sunny_day():
    timeline = line_of(LEDGE, {"wave_height_m": 1.1, "wave_period_s": 14.0})
    report = assess(timeline, NOON, EVENING, facts=KNOWN)
    assert report.grade == "danger"
    (found,) = of(report, "waves_on_rock")
    assert (found.grade, found.threshold, found.unit) == ("danger", 1.0, "m")
    assert found.value == pytest.approx(1.1)
    assert "14 s" in found.text
    assert (found.start, found.end) == (NOON, EVENING)
    assert found.text in report.sentences[:2]
    short = assess(line_of(LEDGE, {"wave_height_m": 1.1, "wave_period_s": 7.0}), NOON, EVENING, facts=KNOWN)
    assert grades(short, "waves_on_rock") == {"info"}


def test_marks_that_share_tide_and_conditions_have_the_hazards_that_each_has_alone():
    sea = {"pressure_hpa": [1013.0 - 0.3 * k for k in range(140)], "rain_mm_per_h": 0.4, "wave_height_m": 0.9}
    places = [
        BEACH | {"way_back": [WAY[0] | {"lowest_sill_m": sill}], "cliff": ["foot"], "peg": {"distance_m": peg}}
        for sill, peg in ((3.4, 60.0), (4.1, 80.0))
    ]
    shared = Conditions.of([issue_of({**CALM, **sea})])
    together = [assess(line_of(place, given=shared), NOON, SMALL_HOURS) for place in places]
    assert together == [assess(line_of(place, sea, tide="plain"), NOON, SMALL_HOURS) for place in places]
    assert [len(of(one, "cut_off")) > 0 for one in together] == [True, True]
    assert of(together[0], "cut_off") != of(together[1], "cut_off")


@pytest.mark.parametrize(
    ("mark", "kind"),
    [
        ({"kind": "open_beach"}, "sea"),
        ({"kind": "open_beach"}, "ground"),
        ({"kind": "open_beach"}, "cut_off"),
        ({"kind": "rock_ledge"}, "sea"),
        ({"kind": "rock_ledge"}, "cut_off"),
        ({"kind": "pier_or_wall"}, "sea"),
        ({"kind": "pier_or_wall"}, "access"),
        ({"kind": "estuary"}, "cut_off"),
        ({"kind": "harbour"}, "official_warning"),
        ({"kind": "harbour"}, "thunder"),
        ({**BEACH, "ground_datum": None}, "ground"),
        ({**BEACH, "ground_datum": None, "way_back": WAY}, "cut_off"),
        ({"kind": "rock_ledge", "cliff": ["foot"]}, "cliff"),
    ],
)
def test_what_is_unknown_and_matters_is_not_assessed(mark, kind):
    report = assess(line_of(mark), NOON, EVENING, facts=KNOWN)
    assert kind in report.not_assessed
    assert "not_assessed" in grades(report, kind)
    assert report.grade in ("caution", "not_assessed")
    assert report.weight == 1
    assert report.sentences[-1] == DEFERS


def test_a_forecast_that_ends_is_named_with_when_to_decide():
    given = Conditions.of([issue_of({"wave_height_m": 0.3, "wave_period_s": 5.0}, "2026-06-09T00", 39)])
    report = assess(line_of(LEDGE, given=given), NOON, EVENING, facts=KNOWN)
    (found,) = of(report, "sea")
    assert found.start == np.datetime64("2026-06-10T14:00")
    assert "the forecast ends" in found.text
    assert "decide 24 to 48 h before, and again on arrival" in found.text


def test_water_stands_behind_the_peg_on_a_bar_and_cuts_it_off():
    timeline = line_of({**BEACH, "peg": {"distance_m": 180.0}, "way_back": WAY}, {})
    level = timeline.at(timeline.times, ["height"])["height"]
    report = assess(timeline, "2026-06-10T00:00", "2026-06-11T00:00", facts=KNOWN)
    # The interval of a model without a record is half a metre; the zero is sure to 0.1 m.
    over = timeline.times[level + 0.6 >= 3.6]
    for one in of(report, "water_behind"):
        assert one.grade == "danger"
        inside = (over >= one.start - HOUR / 12) & (over <= one.end + HOUR / 12)
        assert inside.any()
    covered = np.zeros(over.size, dtype=bool)
    for one in of(report, "water_behind"):
        covered |= (over >= one.start) & (over <= one.end)
    assert covered[over < np.datetime64("2026-06-11T00:00")].all()
    # The trough behind the peg is lower than the sill of the way: turning back goes by it.
    turning = of(report, "cut_off")
    assert {"info", "danger"} <= {one.grade for one in turning}
    assert "the ground behind the peg" in turning[0].text
    assert "Turn back by" in " ".join(one.text for one in turning)
    cut = max((one for one in turning if one.grade == "danger"), key=lambda one: one.end - one.start)
    late = assess(timeline, cut.end - HOUR, cut.end, facts=KNOWN)
    said = [one.text for one in of(late, "cut_off") if one.grade == "danger"]
    assert said[0].startswith("Turning back was due at")
    # The outing may be over before the water goes: that it goes then is not said.
    early = assess(timeline, cut.start - HOUR, cut.end - HOUR, facts=KNOWN)
    (behind,) = (one for one in of(report, "water_behind") if one.start < cut.end and one.end > cut.start)
    for whole in (cut, behind):
        assert whole.end > early.hazards[0].end
        dry = re.search(r"until \S+ (\d\d:\d\d)", whole.text)
        assert dry is not None
        assert f"until {dry[1]}" in " ".join(one.text for one in of(early, whole.kind))
    due = cut.turn_back
    assert due is not None
    after = assess(timeline, due + np.timedelta64(1, "m"), due + np.timedelta64(9, "m"), facts=KNOWN)
    assert next(one.text for one in of(after, "cut_off")).startswith("Turning back was due at")


def test_a_way_is_called_what_its_owner_calls_it():
    called = "gut {a} {value}"
    told = line_of({**BEACH, "way_back": [{**WAY[0], "name": called}]}, CALM)
    assert any(f"({called}, 4.0 m" in one.text for one in assess(told, NOON, SMALL_HOURS).hazards)


def test_alone_goes_up_a_grade_with_night_rock_or_a_tide_that_cuts_off():
    timeline = line_of(LEDGE, {})
    alone = OutingFacts(alone=True, first_visit=False)
    assert grades(assess(timeline, NOON, EVENING, facts=alone), "alone") == {"caution"}
    assert grades(assess(timeline, NOON, EVENING, facts=alone), "waves_on_rock") == {"caution"}
    assert grades(assess(timeline, NOON, EVENING, facts=KNOWN), "waves_on_rock") == {"info"}
    beach = line_of({**BEACH, "way_back": [{**WAY[0], "lowest_sill_m": 8.0}]}, {})
    assert grades(assess(beach, NOON, EVENING, facts=alone), "alone") == {"info"}
    assert grades(assess(beach, MIDNIGHT, SMALL_HOURS, facts=alone), "alone") == {"caution"}
    assert grades(assess(beach, MIDNIGHT, SMALL_HOURS), "alone") == {"not_assessed"}
    assert OutingFacts(party=1).is_alone
    assert not OutingFacts(party=3).is_alone


@pytest.mark.parametrize(
    ("kind", "first", "grade"),
    [
        ("open_beach", True, {"caution"}),
        ("rock_ledge", True, {"danger"}),
        ("rock_ledge", False, set()),
        ("rock_ledge", None, {"not_assessed"}),
    ],
)
def test_a_first_visit_in_the_dark(kind, first, grade):
    facts = OutingFacts(alone=False, first_visit=first)
    report = assess(line_of({"kind": kind}, {}), MIDNIGHT, SMALL_HOURS, facts=facts)
    assert grades(report, "dark") == grade
    assert not of(assess(line_of({"kind": kind}, {}), NOON, EVENING, facts=facts), "dark")


def test_thunder_in_mid_session_and_for_half_an_hour_after():
    probability = [0.0] * 140
    probability[86:88] = [40.0, 40.0]
    report = assess(line_of(LEDGE, {"thunder_probability_percent": probability}), NOON, EVENING, facts=KNOWN)
    (found,) = of(report, "thunder")
    assert (found.grade, found.threshold) == ("caution", 30.0)
    assert found.value == pytest.approx(40.0)
    assert np.datetime64("2026-06-10T13:10") < found.start < np.datetime64("2026-06-10T14:00")
    seen = [0.0] * 140
    seen[86] = 100.0
    given = Conditions.of(
        [
            issue_of({"thunder_probability_percent": 0.0}),
            issue_of({"thunder_probability_percent": seen}, kind="observation"),
        ]
    )
    observed = of(assess(line_of(LEDGE, given=given), NOON, EVENING, facts=KNOWN), "thunder")
    assert observed[0].grade == "danger"
    # From half of the way up to half of the way down, and half an hour more.
    assert np.datetime64("2026-06-10T15:00") <= observed[0].end <= np.datetime64("2026-06-10T15:10")
    # Who comes within the half hour has not waited it out; who comes later has.
    for arrival, grade in (("14:50", {"danger"}), ("15:10", set())):
        later = assess(line_of(LEDGE, given=given), f"2026-06-10T{arrival}", EVENING, facts=KNOWN)
        assert {one.grade for one in of(later, "thunder") if one.grade == "danger"} == grade


def test_an_official_warning_goes_before_a_calm_forecast():
    pier = {"kind": "pier_or_wall"}
    warning = warning_of("Strong wind", "severe", "2026-06-10T13:00:00Z", "2026-06-10T18:00:00Z")
    report = assess(line_of(pier, {}, warnings=(warning,)), NOON, EVENING, facts=KNOWN)
    assert report.grade == "danger"
    assert "severe" in of(report, "official_warning")[0].text
    minor = warning_of("Strong wind", "minor", "2026-06-10T13:00:00Z", "2026-06-10T18:00:00Z")
    assert "caution" in grades(assess(line_of(pier, {}, warnings=(minor,)), NOON, EVENING), "official_warning")
    unsaid = warning_of("Strong wind", "unknown", "2026-06-10T13:00:00Z", "2026-06-10T18:00:00Z")
    assert "caution" in grades(assess(line_of(pier, {}, warnings=(unsaid,)), NOON, EVENING), "official_warning")
    thunder = warning_of("Thunderstorms", "minor", "2026-06-10T13:00:00Z", "2026-06-10T18:00:00Z")
    assert "danger" in grades(assess(line_of(pier, {}, warnings=(thunder,)), NOON, EVENING), "thunder")


def test_a_gale_shuts_a_pier_and_a_gate_closes_it():
    gale = {"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 15.0}
    gate = {"kind": "gate", "state": "closed", "hours": {"from": "12:00", "to": "14:00"}}
    pier = {"kind": "pier_or_wall", "access": [gale, gate]}
    assert grades(assess(line_of(pier, {"wind_speed_m_per_s": 16.0}), NOON, EVENING), "access") == {"danger"}
    assert grades(assess(line_of(pier, {"wind_speed_m_per_s": 14.0}), NOON, EVENING), "access") == {"caution"}
    unknown = assess(line_of(pier, {"wind_speed_m_per_s": None}), EVENING, EVENING + HOUR)
    assert grades(unknown, "access") == {"not_assessed"}


@pytest.mark.parametrize(
    ("changes", "grade"),
    [
        ({}, {"info"}),
        ({"rain_mm_per_h": 0.5}, {"caution"}),
        ({"air_temperature_c": -1.0}, {"caution"}),
        ({"rain_mm_per_h": None}, {"not_assessed"}),
    ],
)
def test_a_cliff_is_named_always(changes, grade):
    report = assess(line_of({**LEDGE, "cliff": ["foot", "top"]}, changes), NOON, EVENING, facts=KNOWN)
    assert grades(report, "cliff") == grade
    assert "foot" in of(report, "cliff")[0].text
    assert "edge" in of(report, "cliff")[0].text


@pytest.mark.parametrize(
    ("surveyed", "height", "grade"),
    [
        ("2026-05-20", 0.3, set()),
        ("2026-02-20", 0.3, {"caution"}),
        ("2026-05-20", 2.6, {"caution"}),
        (None, 0.3, {"not_assessed"}),
    ],
)
def test_a_sill_on_sand_is_as_good_as_its_survey(surveyed, height, grade):
    past = [height] * 20 + [0.3] * 120
    leg = {**WAY[0], "lowest_sill_m": 8.0, "surveyed": surveyed}
    report = assess(line_of({**BEACH, "way_back": [leg]}, {"wave_height_m": past}), NOON, EVENING, facts=KNOWN)
    assert grades(report, "sill_survey") == grade


def test_thresholds_that_are_loosened_are_seen_in_every_answer():
    loose = Thresholds.parse({"ledge_height_any_period_m": 2.0, "thunder_caution_percent": 20.0})
    assert loose.changed == ("ledge_height_any_period_m", "thunder_caution_percent")
    assert loose.loosened == ("ledge_height_any_period_m",)
    high = {**LEDGE, "ledge_height_m": 30.0}
    timeline = line_of(high, {"wave_height_m": 1.6, "wave_period_s": 6.0})
    assert assess(timeline, NOON, EVENING, facts=KNOWN).grade == "danger"
    report = assess(timeline, NOON, EVENING, loose, KNOWN)
    assert report.grade != "danger"
    assert report.loosened == ("ledge_height_any_period_m",)
    assert any("has loosened ledge_height_any_period_m: 2 instead of 1.5" in one for one in report.sentences)
    for name in ("peg_danger_m", "visibility_danger_m", "cold_shock_sea_c", "deck_caution_m"):
        assert Thresholds.parse({name: 0.0}).loosened == (name,)


def test_bathers_and_wading():
    timeline = line_of({**BEACH, "beds": ["mud"], "profile": [], "peg": None}, {})
    facts = OutingFacts(alone=False, wading=True, bathers=True)
    report = assess(timeline, NOON, EVENING, facts=facts)
    assert grades(report, "bathers") == {"danger"}
    assert grades(report, "wading") == {"danger"}
    assert not of(assess(timeline, NOON, EVENING, facts=KNOWN), "wading")
    assert grades(assess(timeline, NOON, EVENING), "wading") == {"caution"}


def test_bad_facts_and_spans_are_refused():
    with pytest.raises(InvalidInput) as caught:
        OutingFacts(surge_m=99.0, pace=0.0, pack_up_min=-1.0)
    assert {one.field for one in caught.value.faults} == {"surge_m", "pace", "pack_up_min"}
    with pytest.raises(InvalidInput, match="alone"):
        OutingFacts(alone=True, party=2)
    timeline = line_of(LEDGE)
    with pytest.raises(InvalidSpan):
        assess(timeline, EVENING, NOON)
    with pytest.raises(InvalidSpan):
        assess(timeline, "2026-07-01T00:00", "2026-07-01T03:00")


def test_reports_are_equal_and_pickle_and_no_one_is_called_safe():
    timeline = line_of(LEDGE, {})
    report = assess(timeline, NOON, EVENING, facts=KNOWN)
    assert pickle.loads(pickle.dumps(report)) == report == assess(line_of(LEDGE, {}), NOON, EVENING, facts=KNOWN)
    assert report.weight == 1
    assert "safe" not in " ".join(report.sentences).lower().split()
