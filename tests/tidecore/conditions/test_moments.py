from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from tidecore.conditions.moments import Moment, written

MOMENTS = TypeAdapter(list[Moment])
OFFSETS = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
INSTANTS = st.datetimes(datetime(1700, 1, 2), datetime(2199, 12, 30), timezones=OFFSETS)  # noqa: DTZ001 - they get one


@given(INSTANTS)
def test_an_instant_comes_back_in_utc_as_it_is_written(when):
    expected = when.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"
    as_text, as_time = MOMENTS.validate_python([when.isoformat(), when])
    assert as_text == as_time == when
    assert as_text.tzinfo is UTC
    assert MOMENTS.dump_python([as_text], mode="json") == [written(as_text)] == [expected]
    assert MOMENTS.dump_json([as_text]).decode() == f'["{expected}"]'


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("2026-02-30T06:00:00Z", "which is no instant of the calendar"),
        ("2026-01-31T24:00:00+00:00", "which is no instant of the calendar"),
        ("2026-01-3\N{FULLWIDTH DIGIT ONE}T06:00:00Z", "which is no instant of the calendar"),
        ("2O26-01-31T06:00:00Z", "expected an instant with its offset"),
        ("2026-W1-31T06:00:00Z", "expected an instant with its offset"),
        ("2026-01-31T06:00:00", "expected an instant with its offset"),
        ("2026-01-31T06:00:00Z ", "expected an instant with its offset"),
        ("1699-12-31T23:59:59Z", "expected an instant from 1700 to 2200"),
        (datetime(1699, 12, 31, tzinfo=UTC), "is 1699-12-31T00:00:00.00:00; expected an instant from 1700 to 2200"),
    ],
)
def test_what_only_looks_like_an_instant_is_refused(text, problem):
    with pytest.raises(ValidationError, match=problem):
        MOMENTS.validate_python([text])
