"""DTF text."""

from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.gauges.samples import dtf
from tidecore.errors import HintMissing, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge

SAID: dict[str, Any] = {"unit": "m", "zone": "UTC-3", "datum": "unknown"}
FILE = """\
         0 2026 12 31 22.0000     1.200 0
      3600 2026 12 31 23.0000     1.430 1
      7200 2027  1  1  0.0000     9.730 2
     10800 2027  1  1  1.0000     2.030 0
"""


def test_reads_local_times_and_flags(write):
    record = read_gauge(write(FILE), **SAID)
    assert (record.attrs["format"], record.attrs["utc_offset_h"]) == ("dtf", -3.0)
    assert str(record["time"].values[0])[:16] == "2027-01-01T01:00"
    assert record["quality"].values.tolist() == [1, 3, 4, 1]
    assert record["sea_level"].values[[0, 1, 3]].tolist() == [1.2, 1.43, 2.03]
    assert (record.attrs["rejected"], record.attrs["suspect"]) == (1, 1)


@pytest.mark.parametrize("hint", ["unit", "zone", "datum"])
def test_states_nothing_itself(write, hint):
    with pytest.raises(HintMissing, match=f"{hint} is not given"):
        read_gauge(write(FILE), **{**SAID, hint: None})


def test_a_clock_of_elapsed_seconds_has_no_summer_time(write):
    with pytest.raises(HintMissing, match=r"zone cannot be 'America/Bahia'.*one offset"):
        read_gauge(write(FILE), **{**SAID, "zone": "America/Bahia"})
    with pytest.raises(UnknownName):
        read_gauge(write(FILE), **{**SAID, "unit": "fathom"})


def test_two_clocks_that_differ_make_it_no_dtf(write):
    # The second and later rows are an hour off their seconds: no other reader knows what the columns are.
    text = FILE.replace("3600 2026", "7200 2026")
    with pytest.raises(HintMissing, match="time is not given"):
        read_gauge(write(text), **SAID)
    with pytest.raises(RecordUnreadable, match=r"line 2: the calendar is 3600 s .* the count of seconds 7200"):
        read_gauge(write(text), "dtf", **SAID)


def test_a_file_may_begin_anywhere(write):
    record = read_gauge(write("".join(FILE.splitlines(keepends=True)[1:])), **SAID)
    assert (record.attrs["format"], record.attrs["rows"]) == ("dtf", 3)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("14400 2027 1 1 2.0000 2.380", "line 5: the row has 6 cells; expected 7"),
        ("14400 2027 1 1 2.0000 2.380 3", "line 5: the flag is 3; expected 0"),
        ("14400 2027 1 1 2.0000 2.380 x", "line 5: the flag is 'x'"),
        ("14400 2027 13 1 2.0000 2.380 0", "line 5: the month is 13"),
        ("14400 2027 1 1 24.0000 2.380 0", "line 5: the hour is 24"),
        ("14400 2027 1 1 2.0000 two 0", "line 5: the level is 'two'"),
        ("14400.5 2027 1 1 3.0000 2.380 0", "line 5: the calendar"),
        ("14400 2027 1 1 2.0000 99.0 0", "line 5: the level is 99 m"),
    ],
)
def test_refuses_broken_rows_and_says_where(write, row, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE.replace("9.730 2", "1.730 2") + row + "\n"), "dtf", **SAID)


def test_one_row_is_not_recognised_and_read_if_said(write):
    one = FILE.splitlines()[0]
    with pytest.raises(HintMissing, match="time is not given"):
        read_gauge(write(one), **SAID)
    assert read_gauge(write(one), "dtf", **SAID).attrs["rows"] == 1


def test_a_whole_sample(write):
    assert read_gauge(write(dtf(48)), **SAID).attrs["values"] == 48
