"""BODC text."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.gauges.samples import BODC_HEADER, bodc
from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable
from tidecore.gauges import read_gauge

ROWS = """\
     1) 2026/03/01 00:00:00      3.6329      -0.1522
     2) 2026/03/01 01:00:00      3.4195M     -0.1547
     3) 2026/03/01 02:00:00    -99.0000N    -99.0000N
     4) 2026/03/01 03:00:00      2.2612T     -0.2170T
     5) 2026/03/01 04:00:00     -0.0858      -0.2043M
"""
FILE = BODC_HEADER + ROWS


def test_reads_what_the_header_states(write):
    record = read_gauge(write(FILE))
    names = ("format", "unit_given", "zone_given", "utc_offset_h", "datum", "station", "latitude", "longitude")
    assert [record.attrs[name] for name in names] == [
        "bodc", "m", "GMT, by the format", 0.0, "ICD", "Tarrowick (X042)", 50.12345, -5.54321,
    ]  # fmt: skip
    assert record.attrs["end_stated"] == "02MAR2026-23.00.00"
    assert str(record["time"].values[4])[:19] == "2026-03-01T04:00:00"


def test_flags_become_qualities(write):
    record = read_gauge(write(FILE))
    assert record["sea_level"].values.tolist() == pytest.approx([3.6329, 3.4195, np.nan, 2.2612, -0.0858], nan_ok=True)
    # The flag of the residual on the last row is none of the level.
    assert record["quality"].values.tolist() == [1, 3, 9, 3, 1]
    assert (record.attrs["suspect"], record.attrs["sentinels"], record.attrs["rejected"]) == (2, 1, 0)


def test_columns_may_be_narrower_and_the_code_another(write):
    text = FILE.replace("ASLVZZ01", "ASLVBG02").replace("-99.0000N", "-99.000N").replace("3.6329 ", "3.632 ")
    record = read_gauge(write(text))
    assert record.attrs["parameter"].startswith("ASLVBG02")
    assert record["sea_level"].values[0] == 3.632


def test_a_datum_given_goes_before_the_one_stated(write):
    record = read_gauge(write(FILE), datum="LAT", unit="m", zone="UTC")
    assert (record.attrs["datum"], record.attrs["datum_in_file"]) == ("LAT", "ICD")


def test_a_datum_in_words_stays_words(write):
    text = FILE.replace("The data refer to Invented Chart Datum (ICD)", "Gauge zero")
    assert read_gauge(write(text)).attrs["datum"] == "Gauge zero"


@pytest.mark.parametrize("hints", [{"unit": "ft"}, {"zone": "UTC+1"}, {"zone": "Europe/London"}])
def test_hints_that_contradict_the_format_are_refused(write, hints):
    with pytest.raises(RecordAmbiguous):
        read_gauge(write(FILE), **hints)


def test_without_a_datum_it_must_be_said(write):
    with pytest.raises(HintMissing, match="datum is not given"):
        read_gauge(write(FILE.replace("The data refer to Invented Chart Datum (ICD)", "")))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("3.4195M", "3.4195Q", "line 13: the flag of the level '3.4195Q' is 'Q'; expected none, M, N or T"),
        ("3.4195M", "3.41x95", "line 13: the level is '3.41x95'"),
        ("3.4195M", "M", "line 13: the level is ''"),
        ("    -0.1547\n", "\n", "line 13: the row has 4 cells; expected 5"),
        ("03/01 03:00", "02/30 03:00", "line 15: the day is 30"),
        ("2026/03/01 03:00", "2026-03-01 03:00", "line 15: the time is '2026-03-01 03:00:00'"),
        ("-99.0000N", "-99.0000 ", "the level is -99 m, where"),
        ("ASLVZZ01 =", "PRESZZ01 =", "the parameter is 'PRESZZ01'; expected a surface elevation"),
        ("Time      ASLVZZ01", "Time      ASLVZZ02", "the columns are .*ASLVZZ02"),
        ("  Cycle    Date ", "  Date ", "no line names the columns"),
        (" Number yyyy", " yyyy", "the header has no end"),
        ("Port:              X042", "Port:", "the header has no 'Port'"),
        (ROWS, "", "no row below its header"),
    ],
)  # fmt: skip
def test_refuses_what_breaks_the_format(write, old, new, said):
    assert old in FILE
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE.replace(old, new)))


def test_duplicates_and_disorder_are_counted(write):
    rows = ROWS.splitlines(keepends=True)
    record = read_gauge(write(BODC_HEADER + "".join([rows[1], rows[0], rows[1], *rows[3:]])))
    assert (record.attrs["duplicates"], record.attrs["unsorted"]) == (1, 1)
    # Twice the same level, flagged both times.
    assert record["quality"].values.tolist() == [1, 3, 3, 1]


def test_a_whole_sample(write):
    assert read_gauge(write(bodc(48))).attrs["values"] == 48
