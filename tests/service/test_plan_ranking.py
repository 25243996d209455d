"""The order of the sessions of a plan, held to a sort in plain Python."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from service.storage.plan_records import PlanMarkRecord
from service.usecases.plan_ranking import rank_sessions, read_ranking

NOW = datetime(2026, 6, 1, tzinfo=UTC)
#: Minutes and worths that are often equal; eighths are exact in four bytes.
SESSIONS = st.lists(
    st.tuples(st.integers(29_600_000, 29_600_004), st.integers(0, 6).map(lambda k: k / 8.0)), max_size=6
).map(sorted)


@given(st.lists(SESSIONS, max_size=5))
def test_sessions_come_by_worth_and_by_time_with_equals_by_time_and_mark(marks):
    records = [
        PlanMarkRecord(f"mrk_{place}", "", False, len(told), [("key", 0, *one) for one in told], None, None, NOW)
        for place, told in enumerate(marks)
    ]
    content = rank_sessions(records)
    rows = [(-worth, minute, place, k) for place, told in enumerate(marks) for k, (minute, worth) in enumerate(told)]
    assert len(content) == 16 * len(rows)
    by_worth = [[place, k] for _, _, place, k in sorted(rows)]
    assert read_ranking(content, "worth").tolist() == by_worth
    by_time = [[place, k] for _, _, place, k in sorted(rows, key=lambda row: (row[1], row[2], row[0], row[3]))]
    assert read_ranking(content, "time").tolist() == by_time
