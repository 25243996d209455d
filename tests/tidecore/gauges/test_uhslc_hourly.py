"""UHSLC hourly CSV."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge

MARKED = "2026,1,1,22,1500\n2026,1,1,23,-32767\n2026,1,2,0,-250\n"
UNMARKED = MARKED.replace("-32767", "1700")


def test_reads_millimetres_in_utc(write):
    record = read_gauge(write(MARKED), datum="station zero")
    assert record["sea_level"].values.tolist() == pytest.approx([1.5, np.nan, -0.25], nan_ok=True)
    assert [str(time)[:16] for time in record["time"].values] == [
        "2026-01-01T22:00",
        "2026-01-01T23:00",
        "2026-01-02T00:00",
    ]
    assert {name: record.attrs[name] for name in ("format", "datum", "unit_given", "utc_offset_h", "sentinels")} == {
        "format": "uhslc-hourly", "datum": "station zero", "unit_given": "mm", "utc_offset_h": 0.0, "sentinels": 1,
    }  # fmt: skip


def test_datum_must_be_said_and_may_be_unknown(write):
    with pytest.raises(HintMissing, match=r"datum is not given; give .*zero of the station"):
        read_gauge(write(MARKED))
    assert read_gauge(write(MARKED), datum="unknown").attrs["datum"] == "unknown"


def test_without_the_marker_it_could_be_any_table(write):
    with pytest.raises(RecordAmbiguous, match="the record could be csv or uhslc-hourly; say which with format="):
        read_gauge(write(UNMARKED), datum="unknown")
    assert read_gauge(write(UNMARKED), "uhslc-hourly", datum="unknown").attrs["level_max_m"] == 1.7


def test_hints_of_plain_csv_mean_plain_csv(write):
    said: dict[str, Any] = {
        "time": {"year": 0, "month": 1, "day": 2, "hour": 3},
        "level": 4,
        "unit": "cm",
        "zone": "UTC+1",
    }
    record = read_gauge(write(MARKED.replace("1500", "150")), datum="unknown", missing=-32767, **said)
    assert (record.attrs["format"], record.attrs["level_max_m"]) == ("csv", 1.5)


def test_refuses_a_unit_of_ones_own(write):
    with pytest.raises(
        UnknownName, match="unknown hint of the reader 'uhslc-hourly' 'unit'; known: datum, valid_range"
    ):
        read_gauge(write(MARKED), "uhslc-hourly", datum="unknown", unit="cm")


def test_valid_range_is_in_millimetres(write):
    record = read_gauge(write(MARKED), datum="unknown", valid_range=[0, 2000])
    assert record["quality"].values.tolist() == [2, 9, 4]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2026,1,2,1", "line 4: the row has 4 cells; expected 5"),
        ("2026,1,2", "line 4: the row has 3 cells"),
        ("2026,1,2,1,1500,0", "line 4: the row has 6 cells"),
        ("2026,13,2,1,1500", "line 4: the month is 13"),
        ("2026,2,30,1,1500", "line 4: the day is 30"),
        ("2026,1,2,24,1500", "line 4: the hour is 24"),
        ("2026,1,2,1,15.5", "line 4: the level is 15.5; expected whole millimetres"),
        ("2026,1,2,1,", "line 4: the level is ''"),
        ("2026,1,2,1,NaN", "line 4: the level is 'NaN'"),
        ("2026,,2,1,1500", "line 4: the month is ''"),
        ("2026,1,2,1,99999999", "line 4: the level is 1e\\+08 mm"),
        ("9999,1,2,1,1500", "line 4: the time 9999-01-02"),
    ],
)
def test_refuses_broken_rows_and_says_where(write, row, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(MARKED + row + "\n"), "uhslc-hourly", datum="unknown")


def test_refuses_a_file_of_blank_lines(write):
    with pytest.raises(RecordUnreadable, match="no row"):
        read_gauge(write("\n\n"), "uhslc-hourly", datum="unknown")


def test_all_missing(write):
    with pytest.raises(RecordUnreadable, match="all 2 levels are missing"):
        read_gauge(write("2026,1,1,0,-32767\n2026,1,1,1,-32767\n"), datum="unknown")
