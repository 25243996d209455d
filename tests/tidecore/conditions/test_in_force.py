from __future__ import annotations

from itertools import permutations
from typing import Any

import pytest

from tests.tidecore.conditions.cap_examples import THUNDERSTORM
from tests.tidecore.conditions.issues import moment, ticks
from tidecore.conditions import WARNING_LEVELS, Conditions, OfficialWarning, read_cap, warning_steps

HERE = (50.0, -4.0)
BOX = [[49.0, -5.0], [51.0, -5.0], [51.0, -3.0], [49.0, -3.0], [49.0, -5.0]]
FAR = [[latitude + 9.0, longitude] for latitude, longitude in BOX]


def told(identifier: str, sent: float, **changes: Any) -> OfficialWarning:
    plain: dict[str, Any] = {
        "identifier": identifier,
        "sender": "invented@example.test",
        "sent": moment(sent),
        "msg_type": "alert",
        "severity": "moderate",
        "expires": moment(20),
        "areas": [{"description": "Invented Bay"}],
    }
    return OfficialWarning.parse(plain | changes)


def refers(identifier: str, sent: float = 0.0) -> list[dict[str, Any]]:
    return [{"sender": "invented@example.test", "identifier": identifier, "sent": moment(sent)}]


def levels(warnings: list[OfficialWarning], *hours: float) -> list[str]:
    merged = Conditions.of([], warnings).warnings
    return [(*WARNING_LEVELS, "")[level] for level in warning_steps(merged, *HERE).at(ticks(*hours))]


def test_nothing_is_told_where_no_message_counts():
    assert levels([], 0, 5) == ["", ""]
    assert levels([told("a", 0)], -0.1, 0, 20, 20.1) == ["", "moderate", "moderate", ""]


def test_until_it_begins_there_is_none():
    assert levels([told("a", 0, onset=moment(6))], 0, 5.9, 6, 20, 21) == ["none", "none", "moderate", "moderate", ""]
    assert levels([told("a", 0, effective=moment(2), onset=moment(6))], 0, 2, 6) == ["", "none", "moderate"]


def test_a_message_that_expires_before_what_it_warns_of_is_not_dropped():
    early = told("a", 0, onset=moment(30))
    found = levels([early], 0, 20, 25, 30, 53.9, 54.1)
    assert found == ["none", "none", "", "moderate", "moderate", ""]
    off = told("b", 22, msg_type="cancel", references=refers("a"), expires=moment(40))
    assert levels([early, off], 25, 30) == ["none", "none"]


def test_the_gravest_counts():
    grave = told("b", 1, severity="severe", expires=moment(5))
    assert levels([told("a", 0), grave], 0.5, 1, 5, 5.1) == ["moderate", "severe", "severe", "moderate"]


def test_an_unknown_severity_is_no_other():
    vague = told("b", 1, severity="unknown", expires=moment(5))
    assert levels([vague], 2) == [""]
    assert levels([told("a", 0), vague], 2) == ["moderate"]


def test_updates_take_the_place_of_what_they_refer_to_in_any_order():
    first = told("a", 0, severity="severe")
    update = told("b", 4, msg_type="update", references=refers("a"), severity="minor", expires=moment(10))
    cancel = told("c", 8, msg_type="cancel", references=refers("b", 4), severity="unknown", areas=[])
    for order in permutations((first, update, cancel)):
        found = levels(list(order), 0, 3.9, 4, 7.9, 8, 10, 10.1, 12)
        assert found == ["severe", "severe", "minor", "minor", "none", "none", "", ""]


def test_a_cancel_of_a_message_not_on_file_says_nothing():
    assert levels([told("c", 8, msg_type="cancel", references=refers("a"))], 9) == [""]


@pytest.mark.parametrize(("ring", "found"), [(BOX, "none"), (FAR, "")])
def test_a_cancel_says_that_there_is_nothing_where_what_it_cancels_counted(ring, found):
    areas = [{"description": "drawn", "polygons": [ring]}]
    off = told("b", 8, msg_type="cancel", references=refers("a"), areas=areas)
    for order in permutations((told("a", 0, areas=areas), off)):
        assert levels(list(order), 9) == [found]


def test_a_message_that_is_replaced_twice_ends_with_the_first_of_both():
    first, update = told("a", 0), told("b", 4, msg_type="update", references=refers("a"), expires=moment(6))
    late = told("c", 10, msg_type="update", references=refers("a"), severity="minor", expires=moment(12))
    for order in permutations((first, update, late)):
        assert levels(list(order), 3, 5, 7, 9, 11) == ["moderate", "moderate", "", "", "minor"]


@pytest.mark.parametrize(
    ("areas", "found"),
    [
        ([{"description": "inside", "polygons": [BOX]}], "moderate"),
        ([{"description": "a name alone"}], "moderate"),
        ([], "moderate"),
        ([{"description": "ring elsewhere", "polygons": [FAR]}], ""),
        ([{"description": "near", "circles": [{"latitude": 50.5, "longitude": -4.0, "radius_km": 56.0}]}], "moderate"),
        ([{"description": "far", "circles": [{"latitude": 50.5, "longitude": -4.0, "radius_km": 55.0}]}], ""),
        # Half a degree of a meridian is 55.6 km, and a degree along the parallel of 50 is 71.5 km.
        ([{"description": "near", "circles": [{"latitude": 50.0, "longitude": -3.0, "radius_km": 72.0}]}], "moderate"),
        ([{"description": "far", "circles": [{"latitude": 50.0, "longitude": -3.0, "radius_km": 71.0}]}], ""),
        (
            [{"description": "ring elsewhere", "polygons": [FAR]}, {"description": "name"}],
            "moderate",
        ),
    ],
)
def test_a_warning_counts_where_its_areas_lie(areas, found):
    assert levels([told("a", 0, areas=areas)], 1) == [found]


def test_the_thunderstorm_of_the_standard_over_time():
    steps = warning_steps(read_cap(THUNDERSTORM), 38.48, -119.95)
    sent, end = 1055887020_000000, 1055890800_000000
    assert [WARNING_LEVELS[level] if level >= 0 else "" for level in steps.at(steps.edges_us)] == ["severe", ""]
    assert steps.edges_us.tolist() == [sent, end + 1]
    assert warning_steps(read_cap(THUNDERSTORM), 50.0, -4.0).edges_us.size == 0
