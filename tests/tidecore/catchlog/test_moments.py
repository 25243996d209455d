from __future__ import annotations

import datetime as dt

import pytest

from tidecore.catchlog.moments import outside

START = dt.datetime(2026, 10, 10, 18, tzinfo=dt.UTC)


def later(minutes):
    return START + dt.timedelta(minutes=minutes)


@pytest.mark.parametrize(
    ("minute", "precision", "end_minute", "expected"),
    [
        (0, 5, 60, False), (60, 5, 60, False), (-5, 5, 60, False), (65, 5, 60, False),
        (-5.1, 5, 60, True), (65.1, 5, 60, True), (-16, 15, 60, True), (-59, 60, 60, False),
        # A trip without an end goes on.
        (-5, 5, None, False), (-5.1, 5, None, True), (10_000, 5, None, False),
    ],
)  # fmt: skip
def test_a_time_is_outside_where_it_cannot_be_within_however_unsure(minute, precision, end_minute, expected):
    end = None if end_minute is None else later(end_minute)
    assert outside(later(minute), precision, START, end) is expected
