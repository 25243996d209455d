"""The command that fits the published records does what it says."""

from __future__ import annotations

from pathlib import Path

from tests.reference.fit_records import LATITUDES, month
from tests.reference.test_gauge_records import RECORDS


def test_every_record_has_its_latitude() -> None:
    assert set(LATITUDES) == {record.path for record in RECORDS}


def test_a_month_of_windows_from_a_real_gauge(open_data: Path) -> None:
    lines = list(month(open_data))
    # A mixed tide: a low water a day at least, two at most, each with its flood.
    assert 28 <= len(lines) <= 60
    assert lines == sorted(lines)
    assert all(line.startswith(("2026-12", "2027-01-01")) for line in lines)
