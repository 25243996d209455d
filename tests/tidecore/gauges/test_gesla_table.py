"""GESLA tables."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.gauges.samples import GESLA_NAMES, gesla
from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge


def row(minute: str, level: str, control: str = "1", use: str = "1", site: str = "Tarrowick") -> str:
    """Return one row."""
    cells = [f"2026-03-01T{minute}:00Z", "2026", "3", "1", "0", "INV", site, "50.1", "-5.5", level, control, use]
    return "\t".join([*cells, f"{site.lower()}-inv"]) + "\n"


NAMES = "\t".join(GESLA_NAMES) + "\n"
FILE = NAMES + "".join(
    [
        row("00:00", "1.1", "0"),
        row("01:00", "1.2", "1"),
        row("02:00", "1.3", "2"),
        row("03:00", "1.4", "3"),
        row("04:00", "8.5", "4"),
        row("05:00", "-99.9999", "5", "0"),
        row("06:00", "1.7", "1", "0"),
    ]
)


def test_flags_become_qualities(write):
    record = read_gauge(write(FILE), datum="unknown")
    assert record["quality"].values.tolist() == [2, 1, 3, 3, 4, 9, 4]
    assert record["sea_level"].values.tolist() == pytest.approx(
        [1.1, 1.2, 1.3, 1.4, np.nan, np.nan, np.nan], nan_ok=True
    )
    assert {name: record.attrs[name] for name in ("sentinels", "rejected", "suspect")} == {
        "sentinels": 1, "rejected": 2, "suspect": 2,
    }  # fmt: skip


def test_says_where_it_is_from(write):
    record = read_gauge(write(FILE), datum="unknown", unit="m", zone="UTC")
    names = ("format", "unit_given", "utc_offset_h", "station", "source", "latitude", "longitude")
    assert [record.attrs[name] for name in names] == [
        "gesla-table", "m", 0.0, "Tarrowick", "tarrowick-inv", 50.1, -5.5,
    ]  # fmt: skip


def test_datum_must_be_said(write):
    with pytest.raises(HintMissing, match=r"datum is not given; give .*each contributor"):
        read_gauge(write(FILE))


@pytest.mark.parametrize("hints", [{"unit": "cm"}, {"zone": "UTC+1"}])
def test_hints_that_contradict_the_format_are_refused(write, hints):
    with pytest.raises(RecordAmbiguous):
        read_gauge(write(FILE), datum="unknown", **hints)


def test_several_stations_need_a_word(write):
    text = FILE + row("00:00", "5.1", site="Hollow Point") + row("01:00", "5.2", site="Hollow Point")
    with pytest.raises(RecordAmbiguous, match="the station could be Hollow Point or Tarrowick; say which with gauge="):
        read_gauge(write(text), datum="unknown")
    for name in ("Hollow Point", "hollow point-inv"):
        record = read_gauge(write(text), datum="unknown", gauge=name)
        assert (record.attrs["station"], record.attrs["rows"]) == ("Hollow Point", 2)
    with pytest.raises(UnknownName, match="unknown station 'Nowhere'; known: Hollow Point, Tarrowick"):
        read_gauge(write(text), datum="unknown", gauge="Nowhere")


def test_a_level_missing_by_its_number_alone(write):
    record = read_gauge(write(FILE.replace("1.1", "-99.9999")), datum="unknown")
    assert record["quality"].values[0] == 9


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (row("07:00", "1.1", "6"), "line 9: the qc_flag is 6; expected one of 0, 1, 2, 3, 4, 5"),
        (row("07:00", "1.1", "1", "2"), "line 9: the use_flag is 2; expected one of 0, 1"),
        (row("07:00", "1.1", "x"), "line 9: the qc_flag is 'x'"),
        (row("07:00", "1.1", ""), "line 9: the qc_flag is ''"),
        (row("07:00", "one"), "line 9: the level is 'one'"),
        (row("25:00", "1.1"), "line 9: the hour is 25"),
        (row("07:00", "1.1").replace("Z\t", "\t"), "line 9: the time has no offset; expected Z"),
        (row("07:00", "1.1").rpartition("\t")[0], "line 9: the row has 12 cells; expected 13"),
    ],
)
def test_refuses_broken_rows_and_says_where(write, more, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE + more), datum="unknown")


def test_refuses_a_header_that_lacks_columns(write):
    with pytest.raises(RecordUnreadable, match="line 1: the first line does not name the columns"):
        read_gauge(write(FILE.replace("\tsite_name", "\tsite")), datum="unknown")
    with pytest.raises(RecordUnreadable, match="a header and no row"):
        read_gauge(write(NAMES), datum="unknown")


def test_hints_of_plain_csv_mean_plain_csv(write):
    record = read_gauge(write(FILE), time="date_time", level="sea_level", unit="m", datum="unknown", missing=-99.9999)
    assert record.attrs["format"] == "csv"


def test_duplicates_and_disorder_are_counted(write):
    record = read_gauge(write(FILE + row("00:00", "1.1", "3")), datum="unknown")
    assert (record.attrs["duplicates"], record.attrs["unsorted"]) == (1, 1)
    # Not controlled by one row and doubtful by the other: doubtful.
    assert record["quality"].values[0] == 3


def test_a_whole_sample(write):
    assert read_gauge(write(gesla(48)), datum="unknown").attrs["values"] == 48
