from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

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
