"""ERDDAP CSV."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.gauges.samples import erddap_csv, erddap_csvp
from tidecore.errors import HintMissing, RecordAmbiguous, RecordNotRecognised, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge
from tidecore.gauges.erddap_csv import rounded_to_minutes
from tidecore.timebase import US_PER_MINUTE

NAMES = "sea_level (millimeters),time (UTC),latitude (degrees_north),longitude (degrees_east),station_name,gauge_id\n"
FILE = NAMES + (
    '1349,2026-03-01T00:00:00Z,50.1,354.5,"Tarrowick, Roads",42\n'
    'NaN,2026-03-01T00:59:59Z,50.1,354.5,"Tarrowick, Roads",42\n'
    '1534,2026-03-01T02:00:00Z,50.1,354.5,"Tarrowick, Roads",42\n'
)
OTHER = "5349,2026-03-01T00:00:00Z,51.5,354.5,Hollow Point,43\n5350,2026-03-01T00:59:59Z,51.5,354.5,Hollow Point,43\n"


def test_reads_what_the_names_state(write):
    record = read_gauge(write(FILE), datum="unknown")
    names = ("format", "unit_given", "utc_offset_h", "station", "variable", "latitude", "longitude")
    assert [record.attrs[name] for name in names] == [
        "erddap-csv", "millimeters", 0.0, "Tarrowick, Roads", "sea_level", 50.1, -5.5,
    ]  # fmt: skip
    assert record["sea_level"].values.tolist() == pytest.approx([1.349, np.nan, 1.534], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 9, 2]


def test_a_second_off_is_put_right_and_reported(write):
    record = read_gauge(write(FILE), datum="unknown")
    assert [str(time)[11:19] for time in record["time"].values] == ["00:00:00", "01:00:00", "02:00:00"]
    assert (record.attrs["times_rounded"], record.attrs["time_rounding_s"]) == (1, 1.0)
    assert (record.attrs["uneven_steps"], record.attrs["gaps"]) == (0, 0)


def test_stamps_that_mean_their_seconds_stay(write):
    record = read_gauge(write(FILE.replace("02:00:00Z", "02:00:30Z")), datum="unknown")
    assert [str(time)[11:19] for time in record["time"].values] == ["00:00:00", "00:59:59", "02:00:30"]
    assert record.attrs["times_rounded"] == 0


@given(
    minutes=st.lists(st.integers(0, 10**6), min_size=1, max_size=20),
    off=st.lists(st.integers(-(10**6), 10**6), min_size=20, max_size=20),
)
def test_rounding_gives_the_minute_back(minutes, off):
    meant = np.array(minutes) * US_PER_MINUTE
    times = meant + np.array(off[: len(minutes)])
    found, report = rounded_to_minutes(times)
    assert found.tolist() == meant.tolist()
    assert report["times_rounded"] == int((times != meant).sum())
    assert report["time_rounding_s"] == np.abs(times - meant).max() / 1e6


def test_units_may_stand_in_a_row(write):
    text = "time,latitude,longitude,water_level,sensor\nUTC,degrees_north,degrees_east,m,\n"
    text += "2026-03-01T00:00:00Z,50.1,-5.5,1.25,a\n2026-03-01T00:06:00Z,50.1,-5.5,1.5,a\n"
    record = read_gauge(write(text), datum="LAT", unit="m", zone="UTC")
    assert [record.attrs[name] for name in ("format", "unit_given", "datum", "rows")] == ["erddap-csv", "m", "LAT", 2]
    assert record["sea_level"].values.tolist() == [1.25, 1.5]


def test_several_stations_need_a_word(write):
    with pytest.raises(
        RecordAmbiguous, match="the station could be Hollow Point or Tarrowick, Roads; say which with gauge="
    ):
        read_gauge(write(FILE + OTHER), datum="unknown")
    for name in ("Hollow Point", "43", "51.5"):
        record = read_gauge(write(FILE + OTHER), datum="unknown", gauge=name)
        assert (record.attrs["station"], record.attrs["latitude"], record.attrs["rows"]) == ("Hollow Point", 51.5, 2)
    # All stations have this longitude.
    with pytest.raises(RecordAmbiguous, match="the station could be"):
        read_gauge(write(FILE + OTHER), datum="unknown", gauge="354.5")
    with pytest.raises(UnknownName, match="unknown station 'Nowhere'; known: Hollow Point, Tarrowick, Roads"):
        read_gauge(write(FILE + OTHER), datum="unknown", gauge="Nowhere")


def test_stations_of_one_name_are_told_apart_by_the_rest(write):
    with pytest.raises(RecordAmbiguous, match=r"Hollow Point 51\.5 354\.5 43 or Hollow Point 51\.6 354\.5 44"):
        read_gauge(write(NAMES + OTHER + OTHER.replace("51.5", "51.6").replace("43", "44")), datum="unknown")


def test_a_station_of_a_table_that_names_none(write):
    text = "time (UTC),sea_level (m)\n2026-03-01T00:00:00Z,1\n2026-03-01T01:00:00Z,2\n"
    assert read_gauge(write(text), datum="unknown").attrs["station"] == ""
    with pytest.raises(UnknownName, match="unknown station"):
        read_gauge(write(text), datum="unknown", gauge="Tarrowick")


def test_several_levels_need_a_word(write):
    text = "time (UTC),sea_level (m),water_level (ft),depth (m)\n"
    text += "2026-03-01T00:00:00Z,1,10,3\n2026-03-01T01:00:00Z,2,11,3\n"
    with pytest.raises(RecordAmbiguous, match="the sea level could be sea_level or water_level; say which with level="):
        read_gauge(write(text), datum="unknown")
    for name, unit in (("water_level", "ft"), ("water_level (ft)", "ft"), ("depth", "m")):
        assert read_gauge(write(text), datum="unknown", level=name).attrs["unit_given"] == unit
    with pytest.raises(UnknownName, match="'height'"):
        read_gauge(write(text), datum="unknown", level="height")


def test_no_level_needs_a_word(write):
    text = "time (UTC),tide (m),wind (m/s)\n2026-03-01T00:00:00Z,1,10\n2026-03-01T01:00:00Z,2,11\n"
    with pytest.raises(HintMissing, match="level is not given"):
        read_gauge(write(text), datum="unknown")
    assert read_gauge(write(text), datum="unknown", level="tide").attrs["variable"] == "tide"
    with pytest.raises(RecordUnreadable, match="the unit of the column 'wind' is 'm/s'; expected a unit of length"):
        read_gauge(write(text), datum="unknown", level="wind")


def test_datum_must_be_said_and_hints_agree(write):
    with pytest.raises(HintMissing, match="datum is not given"):
        read_gauge(write(FILE))
    contradicting: list[dict[str, Any]] = [{"unit": "m"}, {"zone": "UTC+1"}]
    for hints in contradicting:
        with pytest.raises(RecordAmbiguous):
            read_gauge(write(FILE), datum="unknown", **hints)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("1534", "x", "line 4: the level is 'x'"),
        ("02:00:00Z", "26:00:00Z", "line 4: the hour is 26"),
        ("02:00:00Z", "noon", "line 4: the time is '2026-03-01Tnoon'"),
        ('1534,2026-03-01T02:00:00Z,50.1,354.5,"Tarrowick, Roads",42', "1534,2026-03", "line 4: the row has 2 cells"),
        ('Roads",42\n1534', "Roads,42\n1534", "line 3: "),
        (",gauge_id", ",latitude (x)", "line 1: the column 'latitude' stands more than once"),
    ],
)
def test_refuses_what_breaks_the_format(write, old, new, said):
    assert old in FILE
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE.replace(old, new)), datum="unknown")


def test_tables_without_units_are_plain_csv(write):
    text = "time,water_level\n2026-03-01T00:00:00Z,1\n2026-03-01T01:00:00Z,2\n"
    assert read_gauge(write(text), datum="unknown", unit="m").attrs["format"] == "csv"
    with pytest.raises(RecordUnreadable, match="line 1: no column 'time' states that it is UTC"):
        read_gauge(write(text), "erddap-csv", datum="unknown")
    with pytest.raises(RecordUnreadable, match="a header and no row"):
        read_gauge(write(NAMES), "erddap-csv", datum="unknown")
    with pytest.raises(RecordNotRecognised):
        read_gauge(write(NAMES), datum="unknown")


@pytest.mark.parametrize("sample", [erddap_csvp, erddap_csv])
def test_a_whole_sample(write, sample):
    record = read_gauge(write(sample(48)), datum="unknown")
    assert (record.attrs["format"], record.attrs["values"], record.attrs["step_s"]) == ("erddap-csv", 48, 3600.0)
