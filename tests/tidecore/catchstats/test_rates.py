from __future__ import annotations

import math

import pytest

from tidecore.catchstats import TripCount, catch_rate, rates_by_bin
from tidecore.errors import InvalidInput


def trips(*counts, hours=4.0):
    return [TripCount(place, count, hours) for place, count in enumerate(counts)]


def test_a_rate_has_garwoods_limits_over_its_effort():
    found = catch_rate(trips(2, 0, 1, 2, 0))
    assert found.per_hour == 0.25
    assert found.lower * 20 == pytest.approx(1.623, abs=1e-3)
    assert found.upper * 20 == pytest.approx(11.668, abs=1e-3)
    assert (found.trips, found.blanks, found.not_fished) == (5, 2, 0)


def test_blanks_count_and_what_was_not_fished_stands_apart():
    found = catch_rate([*trips(0, 0, 0), TripCount("weed", 0, 0.0, fished=False)])
    assert (found.blanks, found.not_fished, found.per_hour, found.lower) == (3, 1, 0.0, 0.0)
    assert found.upper == pytest.approx(3.689 / 12, abs=1e-3)


def test_a_trip_of_unknown_effort_is_told_and_left_out():
    found = catch_rate([*trips(1, 2), TripCount("old", 7, math.nan)])
    assert (found.count, found.effort_h, found.effort_unknown, found.uncounted) == (3, 8.0, 1, 7)


def test_thin_evidence_is_named():
    assert catch_rate([]).evidence == "none"
    assert math.isnan(catch_rate([]).per_hour)
    thin = catch_rate(trips(3))
    assert thin.evidence == "thin"
    assert thin.words.startswith("thin evidence: 3 in 4.0 rod-hours of 1 trip;")
    assert math.isnan(thin.wide_lower)
    assert catch_rate(trips(40)).evidence == "thin"  # one good night
    fair = catch_rate(trips(2, 3, 1, 2, 3, 2))
    assert fair.evidence == "fair"
    assert (fair.wide_lower, fair.wide_upper) == (fair.lower, fair.upper)
    assert "trips differ" not in fair.words


def test_bursts_widen_the_limits():
    found = catch_rate(trips(20, 0, 0, 0, 1, 0, 0, 0))
    assert found.dispersion > 5.0
    assert found.wide_lower < found.lower < found.upper < found.wide_upper
    assert "trips differ more than chance" in found.words


@pytest.mark.parametrize(("dispersion", "told"), [(1.0, None), (1.049, None), (1.06, "1.1"), (2.0, "2.0")])
def test_an_over_dispersion_of_1_to_a_tenth_is_not_said_to_be_any(dispersion, told):
    words = catch_rate(trips(3), dispersion=dispersion).words
    assert ("differ more" in words) == (told is not None)
    assert "(1.0 times)" not in words
    if told is not None:
        assert f"({told} times)" in words


def test_a_thin_bin_takes_the_over_dispersion_of_the_others():
    found = rates_by_bin({"dark": trips(9, 0, 0, 5, 0, 1), "light": trips(2, 0), "dusk": []})
    assert found["light"].dispersion == found["dark"].dispersion > 1.0
    assert found["light"].wide_upper > found["light"].upper
    assert found["dusk"].evidence == "none"
    # That of those that differ most, where several tell theirs.
    many = {"even": trips(2, 3, 1, 2, 3, 2), "dark": trips(9, 0, 0, 5, 0, 1), "some": trips(3, 0, 1, 2, 0, 3)}
    each = {name: catch_rate(one).dispersion for name, one in many.items()}
    assert each["even"] < each["some"] < each["dark"]
    assert rates_by_bin({**many, "light": trips(2, 0)})["light"].dispersion == each["dark"]


def test_faults_come_at_once():
    wrong = [TripCount(1, -1, 2.0), TripCount(1, 0, -2.0), TripCount(2, 3, 1.0, fished=False)]
    with pytest.raises(InvalidInput) as caught:
        catch_rate(wrong)
    assert [fault.field for fault in caught.value.faults] == ["0.count", "1.trip", "1.effort_h", "2.fished"]
