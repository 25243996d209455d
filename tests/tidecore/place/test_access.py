"""The access calendar of a mark: what contradicts itself, and what never opens, is refused."""

from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.place.marks import document, faults_of
from tidecore.place import Mark


def entry(state: str = "closed", kind: str = "gate", **fields: Any) -> dict[str, Any]:
    return {"kind": kind, "state": state, **fields}


def hours(first: str, last: str) -> dict[str, Any]:
    return {"hours": {"from": first, "to": last}}


MONDAY_CHRISTMAS: dict[str, Any] = {"weekdays": ["monday"], "season": {"from": "12-25", "to": "12-25"}}


@pytest.mark.parametrize(
    "calendar",
    [
        [],
        [entry("open")],
        [entry("open", **hours("06:00", "22:00")), entry("open", "car_park", **hours("21:00", "07:00"))],
        [entry("closed", season={"from": "01-02", "to": "12-31"})],
        # Open where 25 December is a Monday, as in 2000 no, in 2006 yes.
        [entry("open", **MONDAY_CHRISTMAS)],
        [entry("open", season={"from": "02-29", "to": "02-29"}), entry("closed", "other", weekdays=["tuesday"])],
        # Open on days far from the years that are tried of every calendar.
        [entry("open", dates=[{"from": "2190-05-01", "to": "2190-05-02"}])],
        # Gales come and go.
        [entry("closed", "gale_closure", wind_over_m_per_s=0)],
    ],
)
def test_a_calendar_that_opens_some_time_is_taken(calendar):
    assert len(Mark.parse(document(access=calendar)).access) == len(calendar)


@pytest.mark.parametrize(
    "calendar",
    [
        [entry("closed")],
        [entry("closed", **hours("06:00", "18:00")), entry("closed", "other", **hours("18:00", "06:00"))],
        [entry("open", **hours("06:00", "12:00")), entry("open", "car_park", **hours("12:00", "20:00"))],
        [entry("open", weekdays=["saturday"]), entry("closed", "bathing", weekdays=["saturday", "sunday"])],
        [entry("open", **MONDAY_CHRISTMAS), entry("closed", "other", weekdays=["monday"])],
        [entry("open", dates=[{"from": "2026-05-01", "to": "2026-05-02"}]),
         entry("closed", "nesting", season={"from": "03-01", "to": "07-31"})],
        [entry("open", season={"from": "11-01", "to": "01-31"}),
         entry("closed", "nesting", season={"from": "10-01", "to": "04-01"})],
    ],
)  # fmt: skip
def test_a_calendar_that_never_opens_is_refused(calendar):
    found = faults_of(access=calendar)
    assert set(found) == {"access"}
    assert "never opens" in found["access"]


@pytest.mark.parametrize(
    ("calendar", "field", "words"),
    [
        ([entry("open"), entry("closed")], "access.1", "opposite of what access.0"),
        ([entry(**hours("06:00", "07:00")), entry("open", "other"), entry(**hours("06:00", "07:00"))],
         "access.2", "again what access.0"),
        ([entry(wind_over_m_per_s=15)], "access.0.wind_over_m_per_s", "gale_closure alone"),
        ([entry("closed", "pier_hours", wave_height_over_m=2)], "access.0.wave_height_over_m", "gale_closure alone"),
        ([entry("closed", "gale_closure")], "access.0.wind_over_m_per_s", "one of the two"),
        ([entry("open", "gale_closure", wind_over_m_per_s=15)], "access.0.state", "closed"),
        ([entry("closed", "gale_closure", wind_over_m_per_s=-15)], "access.0.wind_over_m_per_s", "0"),
        ([entry("closed", "gale_closure", wave_height_over_m=-1)], "access.0.wave_height_over_m", "0"),
        ([entry("closed", "fence")], "access.0.kind", "gate"),
        ([entry(**hours("7:00", "26:00"))], "access.0.hours.from", "HH:MM"),
        ([entry(season={"from": "06-31", "to": "07-01"})], "access.0.season.from", "MM-DD"),
        ([entry(season={"from": "06-01", "to": "07-01"}, dates=[{"from": "2026-01-01", "to": "2026-01-09"}])],
         "access.0", "never comes"),
        ([entry(months=[1])], "access.0.months", "not a field"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_refused_where_it_stands(calendar, field, words):
    found = faults_of(access=calendar)
    assert field in found
    assert words in found[field]
    assert all(name.startswith(field.rsplit(".", 1)[0]) for name in found)


def test_faults_of_several_entries_come_at_once():
    found = faults_of(access=[entry(wind_over_m_per_s=15, wave_height_over_m=2), entry("open", "gale_closure")])
    assert set(found) == {
        "access.0.wind_over_m_per_s",
        "access.0.wave_height_over_m",
        "access.1.state",
        "access.1.wind_over_m_per_s",
    }
