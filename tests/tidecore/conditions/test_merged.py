from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.conditions.issues import START, START_US, issue, observed, ticks
from tidecore.conditions import CONDITION_NAMES, VARIABLES, Conditions
from tidecore.errors import UnknownName
from tidecore.timebase import US_PER_HOUR, TimeSpan

NAN = float("nan")


def span(first: float, last: float) -> TimeSpan:
    return TimeSpan(START + np.timedelta64(round(first * 3600), "s"), START + np.timedelta64(round(last * 3600), "s"))


def test_numbers_are_linear_and_gaps_unknown():
    merged = Conditions.of([issue([0, 3, 6, 10], wave_height_m=[1.0, 1.6, 1.0, 2.0])])
    found = merged.at("wave_height_m", ticks(-1, 0, 1, 3, 4.5, 6, 8, 10, 11))
    np.testing.assert_allclose(found, [NAN, 1.0, 1.2, 1.6, 1.3, 1.0, NAN, 2.0, NAN], atol=1e-12)


def test_slow_quantities_bridge_six_hours():
    slow = {"air_temperature_c", "sea_temperature_c", "pressure_hpa"}
    assert {variable.name for variable in VARIABLES if variable.longest_gap_h == 6.0 and variable.unit} == slow
    merged = Conditions.of([issue([0, 6, 13], sea_temperature_c=[12, 13, 14], cloud_cover_percent=[0, 60, 70])])
    np.testing.assert_allclose(merged.at("sea_temperature_c", ticks(3, 9)), [12.5, NAN])
    assert np.isnan(merged.at("cloud_cover_percent", ticks(3, 9))).all()


def test_a_null_is_passed_over():
    merged = Conditions.of([issue([0, 1, 2, 3, 4, 5, 6], rain_mm_per_h=[0, None, 2, None, None, None, 4])])
    np.testing.assert_allclose(merged.at("rain_mm_per_h", ticks(0.5, 1, 2, 3, 4)), [0.5, 1.0, 2.0, NAN, NAN])


def test_directions_go_the_shorter_way():
    merged = Conditions.of([issue([0, 2, 4, 6, 8], wind_from_degree=[350, 10, 350, 170, 360])])
    found = merged.at("wind_from_degree", ticks(0.5, 1, 3, 3.5, 5, 8))
    np.testing.assert_allclose(found, [355.0, 0.0, 0.0, 355.0, 260.0, 0.0])
    assert ((found >= 0.0) & (found < 360.0)).all()


def test_the_newest_that_has_a_value_wins():
    old = issue(range(0, 13, 3), issued=-2, wave_height_m=[1.0] * 5, wind_speed_m_per_s=[3.0] * 5)
    new = issue([3, 6, 9], issued=1, wave_height_m=[2.0, 2.0, 2.0])
    merged = Conditions.of([old, new])
    np.testing.assert_allclose(merged.at("wave_height_m", ticks(0, 2.9, 3, 6, 9, 9.1, 12)), [1, 1, 2, 2, 2, 1, 1])
    np.testing.assert_allclose(merged.at("wind_speed_m_per_s", ticks(3, 6, 9)), [3, 3, 3])


def test_a_forecast_counts_until_it_is_no_longer_valid():
    old = issue(range(0, 13, 3), issued=-2, wave_height_m=[1.0] * 5)
    new = issue(range(0, 13, 3), issued=0, valid_until="2026-10-05T05:00:00Z", wave_height_m=[2.0] * 5)
    np.testing.assert_allclose(Conditions.of([old, new]).at("wave_height_m", ticks(0, 5, 5.01, 12)), [2, 2, 1, 1])


def test_what_was_observed_goes_before_any_forecast():
    forecast = issue(range(0, 13, 3), issued=6, wave_height_m=[1.0] * 5)
    seen = observed([0, 2, 4], wave_height_m=[1.5, 1.5, 1.5], waves_at="at_mark")
    merged = Conditions.of([forecast, seen])
    np.testing.assert_allclose(merged.at("wave_height_m", ticks(0, 3, 4, 4.01)), [1.5, 1.5, 1.5, 1.0])
    assert merged.at("waves_at", ticks(-1, 3, 4.01)).tolist() == ["", "at_mark", "offshore"]


def test_periods_are_told_in_every_kind():
    peak = Conditions.of([issue([0, 3], wave_period_s=[11.0, 11.0], wave_period_kind="peak")])
    energy = Conditions.of([issue([0, 3], wave_period_s=[10.0, 10.0], wave_period_kind="energy")])
    names = ("wave_peak_period_s", "wave_energy_period_s", "wave_zero_crossing_period_s", "wave_period_s")
    np.testing.assert_allclose([peak.at(name, ticks(1))[0] for name in names], [11.0, 10.0, 11.0 / 1.28, 11.0])
    np.testing.assert_allclose([energy.at(name, ticks(1))[0] for name in names], [11.0, 10.0, 11.0 / 1.28, 10.0])
    # What was given comes back to the last digit.
    for kind, name in (("peak", names[0]), ("energy", names[1]), ("zero_crossing", names[2])):
        given_so = Conditions.of([issue([0], wave_period_s=[7.3], wave_period_kind=kind)])
        assert given_so.at(name, ticks(0))[0] == 7.3
        assert given_so.at("wave_period_kind", ticks(0, 1)).tolist() == [kind, ""]


def test_what_was_seen_holds_for_its_time():
    merged = Conditions.of([observed([0, 1], clarity=["tinge", "coloured"], weed=["none", None])])
    assert merged.at("clarity", ticks(-0.1, 0, 0.9, 1, 12.9, 13)).tolist() == [
        "", "tinge", "tinge", "coloured", "coloured", "",
    ]  # fmt: skip
    assert merged.at("weed", ticks(0, 5.9, 6)).tolist() == ["none", "none", ""]


def test_names_that_are_none_are_refused():
    merged = Conditions.of([])
    with pytest.raises(UnknownName, match="wave_height_ft"):
        merged.at("wave_height_ft", ticks(0))
    for name in CONDITION_NAMES:
        found = merged.at(name, ticks(0, 1))
        assert (found == "").all() if found.dtype.kind == "U" else np.isnan(found).all()


def test_breaks_are_the_corners_and_ends():
    merged = Conditions.of([issue([0, 3, 8], wave_height_m=[1.0, 2.0, 2.0])])
    found = merged.breaks_us("wave_height_m", START_US, START_US + 7 * US_PER_HOUR)
    assert found.tolist() == [*ticks(0, 3).tolist(), ticks(3)[0] + 1]


def test_the_basis_names_issues_gaps_and_the_end():
    old = issue([0, 3, 6, 9, 12], issued=-30, source="Old Met", wave_height_m=[1.0, 1.0, None, None, 1.0])
    new = issue([12, 15, 18], issued=1, wave_height_m=[2.0] * 3)
    basis = Conditions.of([old, new]).basis("wave_height_m", span(0, 24))
    assert [(use.issue.source, use.age_h) for use in basis.uses] == [("Old Met", 30.0), ("Invented Met", 11.0)]
    assert basis.gaps == ((START + np.timedelta64(3, "h"), START + np.timedelta64(12, "h")),)
    assert basis.ends_at == START + np.timedelta64(18, "h")
    assert basis.known_share == pytest.approx(9 / 24)
    merged = Conditions.of([old, new])
    assert merged.sentences(span(0, 24)) == (
        "sea not assessed from 2026-10-05T03:00Z to 2026-10-05T12:00Z: no issue covers it",
        "sea not assessed after 2026-10-05T18:00Z: the forecast of Invented Met issued 2026-10-05T01:00Z ends there",
        "the forecast of Old Met issued 2026-10-03T18:00Z is 30 h old when this span begins",
    )
    assert merged.sentences(span(13, 15)) == ()
    assert merged.sentences(span(20, 24), ["wave_height_m"]) == (
        "sea not assessed: no issue says anything of it in this span",
    )
    assert merged.sentences(span(0, 1), ["rain_mm_per_h"]) == (
        "rain not assessed: no issue says anything of it in this span",
    )


def test_many_gaps_are_counted():
    seldom = issue([0, 10, 20, 30, 40, 50], rain_mm_per_h=[0] * 6)
    said = Conditions.of([seldom]).sentences(span(0, 50))
    assert len(said) == 4
    assert said[3] == "rain not assessed in 2 more gaps"


def test_what_reaches_far_ahead_is_to_be_looked_at_again():
    far = issue(range(0, 73, 3), wave_height_m=[1.0] * 25)
    assert Conditions.of([far]).sentences(span(0, 72)) == (
        "the forecast of Invented Met issued 2026-10-05T00:00Z reaches further than 48 h ahead: decide 24 to 48 h "
        "before, and again on arrival",
    )


def test_conditions_pickle():
    merged = Conditions.of([issue([0, 3], wave_height_m=[1.0, 1.6])])
    merged.at("wave_height_m", ticks(0))
    again = pickle.loads(pickle.dumps(merged))
    assert again.at("wave_height_m", ticks(1.5))[0] == pytest.approx(1.3)


@st.composite
def any_issue(draw):
    first = draw(st.integers(-30, 60))
    hours = first + np.cumsum([0, *draw(st.lists(st.integers(1, 5), min_size=0, max_size=12))])
    count = len(hours)
    column = st.lists(st.one_of(st.none(), st.integers(0, 360).map(float)), min_size=count, max_size=count)
    direction, cloud = draw(column), draw(column)
    cloud = [None if value is None else value / 4.0 for value in cloud]
    given_so = {
        name: values
        for name, values in (("wind_from_degree", direction), ("cloud_cover_percent", cloud))
        if any(value is not None for value in values)
    } or {"rain_mm_per_h": [0.0] * count}
    hours_list = [float(hour) for hour in hours]
    if draw(st.booleans()):
        return observed(hours_list, **given_so)
    return issue(
        hours_list, issued=draw(st.integers(-60, int(hours[-1]))), source=draw(st.sampled_from("AB")), **given_so
    )


INSTANTS = ticks(*np.arange(-40.0, 130.0, 0.7))
NAMES = ("wind_from_degree", "cloud_cover_percent", "rain_mm_per_h")


@settings(max_examples=60, deadline=None)
@given(st.lists(any_issue(), max_size=7), st.randoms())
def test_the_order_of_issues_changes_nothing(issues, random):
    shuffled = list(issues)
    random.shuffle(shuffled)
    one, other = Conditions.of(issues), Conditions.of(shuffled)
    for name in NAMES:
        np.testing.assert_array_equal(one.at(name, INSTANTS), other.at(name, INSTANTS))
        np.testing.assert_array_equal(one.pieces(name).breaks_us(), other.pieces(name).breaks_us())


@settings(max_examples=60, deadline=None)
@given(st.lists(any_issue(), max_size=6), any_issue())
def test_an_issue_changes_nothing_before_its_first_time(issues, later):
    before = INSTANTS[INSTANTS < np.datetime64(later.times[0].replace(tzinfo=None), "us").astype(np.int64)]
    for name in NAMES:
        with_it = Conditions.of([*issues, later]).at(name, before)
        np.testing.assert_array_equal(Conditions.of(issues).at(name, before), with_it)


@settings(max_examples=60, deadline=None)
@given(st.lists(any_issue(), min_size=1, max_size=6))
def test_every_value_is_that_of_the_first_in_rank_that_has_one(issues):
    merged = Conditions.of(issues)
    for name in NAMES:
        alone = np.stack([Conditions.of([one]).at(name, INSTANTS) for one in merged.issues])
        first = np.argmax(~np.isnan(alone), axis=0)
        np.testing.assert_array_equal(merged.at(name, INSTANTS), alone[first, np.arange(INSTANTS.size)])


@settings(max_examples=40, deadline=None)
@given(st.lists(any_issue(), min_size=1, max_size=5))
def test_between_two_breaks_a_number_is_straight(issues):
    pieces = Conditions.of(issues).pieces("cloud_cover_percent")
    breaks = pieces.breaks_us()
    wide = np.flatnonzero(np.diff(breaks) > 4)
    left, right = breaks[:-1][wide], breaks[1:][wide] - 1
    first, middle, last = (pieces.at(at) for at in (left, (left + right) // 2, right))
    np.testing.assert_array_equal(np.isnan(first), np.isnan(last))
    np.testing.assert_allclose(middle, (first + last) / 2.0, atol=1e-6)
