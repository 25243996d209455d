"""What is no pattern of the wall clock is refused, with every fault named."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tidecore.calendars import Hours, WeeklyHours
from tidecore.errors import InvalidInput


def faults_of(document: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(InvalidInput) as caught:
        WeeklyHours.parse(document)
    return {fault.field: str(fault) for fault in caught.value.faults}


def test_a_pattern_survives_json():
    plain = {
        "weekdays": ["saturday", "sunday"],
        "hours": {"from": "20:00", "to": "02:30"},
        "season": {"from": "11-01", "to": "02-29"},
        "dates": [{"from": "2026-01-01", "to": "2030-12-31"}],
    }
    read = WeeklyHours.parse(plain)
    assert json.loads(json.dumps(read.to_document())) == plain
    assert WeeklyHours.parse(read.to_document()) == read


def test_all_faults_come_at_once_with_their_paths():
    found = faults_of(
        {
            "weekdays": ["funday"],
            "hours": {"from": "25:00", "to": "7:30"},
            "season": {"from": "02-30", "to": "13-01"},
            "dates": [{"from": "2026-02-29", "to": "1066-10-14"}],
            "months": [1],
        }
    )
    assert set(found) == {
        "weekdays.0",
        "hours.from",
        "hours.to",
        "season.from",
        "season.to",
        "dates.0.from",
        "dates.0.to",
        "months",
    }
    assert "HH:MM" in found["hours.to"]


@pytest.mark.parametrize(
    ("document", "field", "words"),
    [
        ({"hours": {"from": "10:00", "to": "10:00"}}, "hours", "no time or the whole day"),
        ({"hours": {"from": "24:00", "to": "00:00"}}, "hours", "no time or the whole day"),
        ({"weekdays": []}, "weekdays", "at least one"),
        ({"weekdays": ["monday", "monday"]}, "weekdays", "twice"),
        ({"dates": [{"from": "2026-05-02", "to": "2026-05-01"}]}, "dates.0", "on or after the start"),
        ({"dates": [{"from": "2026-05-02", "to": "2046-05-01"}]}, "dates.0", "3660 days"),
        ({"dates": []}, "dates", "at least one"),
        (
            {"season": {"from": "06-01", "to": "08-31"}, "dates": [{"from": "2026-01-01", "to": "2026-02-01"}]},
            "document",
            "never comes",
        ),
        ({"weekdays": ["monday"], "dates": [{"from": "2026-11-03", "to": "2026-11-08"}]}, "document", "never comes"),
    ],
)
def test_what_is_no_pattern_is_refused(document, field, words):
    found = faults_of(document)
    assert set(found) == {field}
    assert words in found[field]


def test_the_whole_day_may_be_said():
    assert Hours.parse({"from": "00:00", "to": "24:00"}).minutes == (0, 1440)
