"""MEDS CSV."""

from __future__ import annotations

import pytest

from tests.tidecore.gauges.samples import MEDS_HEADER, meds
from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable
from tidecore.gauges import read_gauge

ROWS = "2026/03/01 05:00,0.57,\n2026/03/01 06:00,2,\n2026/03/01 09:00,1.12,\n"
FILE = (MEDS_HEADER + ROWS).replace("\n", "\r\n")


def test_reads_what_the_header_states(write):
    record = read_gauge(write(FILE))
    names = ("format", "unit_given", "utc_offset_h", "datum", "station", "zone_in_file")
    assert [record.attrs[name] for name in names] == ["meds", "metres", 0.0, "CD", "TARROWICK (42)", "UTC"]
    assert record["sea_level"].values.tolist() == [0.57, 2.0, 1.12]
    # Absent rows are gaps; nobody vouches for the levels.
    assert (record.attrs["gaps"], record.attrs["absent"]) == (1, 2)
    assert record["quality"].values.tolist() == [2, 2, 2]


def test_the_longitude_is_west(write):
    record = read_gauge(write(FILE))
    assert (record.attrs["longitude"], record.attrs["longitude_in_file"]) == (-64.5, 64.5)
    assert read_gauge(write(FILE.replace("64.5", "-64.5"))).attrs["longitude"] == -64.5


def test_trailing_commas_are_on_every_row_or_on_none(write):
    assert read_gauge(write(FILE.replace(",\r\n", "\r\n"))).attrs["values"] == 3
    with pytest.raises(RecordUnreadable, match="line 11: the row has 2 cells; expected 3"):
        read_gauge(write(FILE.replace("1.12,", "1.12")))
    with pytest.raises(RecordUnreadable, match="line 10: a third cell holds 'x'"):
        read_gauge(write(FILE.replace(",2,", ",2,x")))


def test_an_abbreviation_states_no_offset(write):
    local = FILE.replace("Time_zone,UTC", "Time_zone,AST")
    with pytest.raises(HintMissing, match=r"zone is not given.*the file says 'AST', which states no offset"):
        read_gauge(write(local))
    record = read_gauge(write(local), zone="UTC-4")
    assert (record.attrs["utc_offset_h"], record.attrs["zone_in_file"]) == (-4.0, "AST")
    assert str(record["time"].values[0])[:16] == "2026-03-01T09:00"


def test_times_shown_twice_need_a_word(write):
    text = (MEDS_HEADER.replace("UTC", "LOCAL") + "2026/11/01 00:30,1,\n2026/11/01 01:30,1.5,\n").replace("\n", "\r\n")
    with pytest.raises(RecordAmbiguous, match="ambiguous_times"):
        read_gauge(write(text), zone="America/Halifax")
    record = read_gauge(write(text), zone="America/Halifax", ambiguous_times="later")
    assert str(record["time"].values[1])[:16] == "2026-11-01T05:30"
    assert read_gauge(write(text), zone="America/Halifax", ambiguous_times="drop").attrs["values"] == 1
    with pytest.raises(HintMissing, match="ambiguous_times cannot be 'never'"):
        read_gauge(write(text), zone="America/Halifax", ambiguous_times="never")


@pytest.mark.parametrize("hints", [{"unit": "ft"}, {"zone": "UTC-4"}])
def test_hints_that_contradict_the_header_are_refused(write, hints):
    with pytest.raises(RecordAmbiguous):
        read_gauge(write(FILE), **hints)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("SLEV(metres)", "SLEV", "line 8: the column of levels is 'SLEV'; expected its unit in brackets"),
        ("SLEV(metres)", "SLEV(volts)", "line 8: the column of levels is"),
        ("Obs_date,", "When,", "the header has no end"),
        ("Station_Number,42", "Station_Number,", "line 8: the header has no 'Station_Number'"),
        ("06:00,2,", "06:00,two,", "line 10: the level is 'two'"),
        ("2026/03/01 06:00", "2026-03-01 06:00", "line 10: the time is '2026-03-01 06:00'"),
        ("2026/03/01 06:00", "2026/02/29 06:00", "line 10: the day is 29"),
        (ROWS.replace("\n", "\r\n"), "", "no row below its header"),
    ],
)
def test_refuses_what_breaks_the_format(write, old, new, said):
    assert old in FILE
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE.replace(old, new)))


def test_a_datum_must_be_stated_or_said(write):
    bare = FILE.replace("Datum,CD", "Datum,")
    with pytest.raises(HintMissing, match="datum is not given"):
        read_gauge(write(bare))
    assert read_gauge(write(bare), datum="unknown").attrs["datum"] == "unknown"


def test_blank_levels_are_missing(write):
    assert read_gauge(write(FILE.replace(",2,", ",,")))["quality"].values.tolist() == [2, 9, 2]


def test_a_whole_sample(write):
    assert read_gauge(write(meds(48))).attrs["values"] == 48
