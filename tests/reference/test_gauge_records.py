"""Real gauge records through the readers: counts, spans and ranges as their publishers' files have them.

Expected figures were counted in the files by other means than these readers (awk, scipy's own NetCDF module), or are
stated by whoever collected them. Sources are named at each record.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from tidecore.errors import RecordNotRecognised, RecordUnreadable
from tidecore.gauges import read_gauge


@dataclass(frozen=True)
class Published:
    """One record: where it is, how to read it, and what it holds (levels in metres, times in UTC)."""

    path: str
    hints: dict[str, Any]
    rows: int
    missing: int
    first: str
    last: str
    lowest: float | None = None
    highest: float | None = None
    format: str = "csv"
    counts: dict[str, Any] = field(default_factory=dict)


UTC_METRES = {"unit": "m", "zone": "UTC"}
RECORDS = [
    # UTide (Python port), tests/data/HNL2010.asc: no gaps, 974 to 2021 mm.
    Published(
        "honolulu/HNL2010.asc",
        {"time_unit": "days since 1700-01-01", "unit": "mm", "zone": "UTC", "datum": "unknown"},
        8760, 0, "2010-01-01T00:00", "2010-12-31T23:00", 0.974, 2.021, counts={"gaps": 0},
    ),
    # UHSLC h820 (Nuuk), as issued: Caldwell et al. 2015, doi:10.7289/V5V40S7W.
    Published(
        "uhslc/h820.csv", {"datum": "unknown"},
        51804, 3477, "2014-07-04T12:00", "2020-05-31T23:00", format="uhslc-hourly", counts={"sentinels": 3477},
    ),
    # UHSLC h079 (Chatham), lines of 2009 to 2011; same source.
    Published(
        "uhslc/h079_2009-2011.csv", {"datum": "unknown"},
        26280, 745, "2009-01-01T00:00", "2011-12-31T23:00", format="uhslc-hourly", counts={"sentinels": 745},
    ),
    # NDBC wplf1 (Watson Place), COARDS NetCDF-3 in feet, 6 min, gaps up to 25 h: rnoaa, tests/files/wplf1h2009.nc.
    Published(
        "netcdf/wplf1_2009-08_2009-09.nc", {"variable": "water_level", "datum": "unknown"},
        13850, 0, "2009-08-01T00:00", "2009-09-30T23:54", format="cf-netcdf",
        counts={"unit_given": "feet", "step_s": 360.0, "latitude": 25.708, "longitude": -81.248, "longest_gap_h": 25.1},
    ),
    # Tuktoyaktuk 1975 (station 6485): Foreman (1977), Appendix 7.2, by oce, create_data/sealevel; times as its
    # published analyses take them.
    Published(
        "tuktoyaktuk/tuk_time_elev.dat", {"time_format": "%d-%b-%Y %H:%M:%S", **UTC_METRES, "datum": "unknown"},
        1584, 74, "1975-07-06T01:00", "1975-09-10T00:00", 0.04, 5.76, counts={"sentinels": 74, "gaps": 0},
    ),
    # Halifax 2003 (MEDS 490) by oce, create_data/sealevel: CRLF, trailing commas, 22 gaps, the longest 22 h.
    Published(
        "halifax/490-01-JAN-2003_slev.csv",
        {"time": 0, "level": 1, "time_format": "%Y/%m/%d %H:%M", "skip_rows": 7, **UTC_METRES, "datum": "CD"},
        6667, 0, "2003-01-01T05:00", "2003-10-08T11:00", 0.0, 2.84, counts={"gaps": 22, "longest_gap_h": 22.0},
    ),
    # UTide (Python port), notebooks/can1998.dtf (Cananeia): local time, UTC-3; flag 2 (bad) on ten rows.
    Published(
        "cananeia/can1998.dtf",
        {
            "time": {"year": 1, "month": 2, "day": 3, "hour": 4}, "level": 5, "flag": 6, "flag_bad": 2,
            "unit": "m", "zone": "UTC-3", "datum": "unknown",
        },
        8760, 10, "1998-01-01T03:00", "1999-01-01T02:00", 0.63, 3.13, counts={"rejected": 10, "utc_offset_h": -3.0},
    ),
    # NOAA 8461490 (New London), verified, metres above MHW, GMT; by VulnToolkit, data/NL_6min_2013.RData.
    Published(
        "noaa/newlondon_8461490_2013_hourly_MHW_gmt.csv", {**UTC_METRES, "datum": "MHW"},
        8760, 0, "2013-01-01T00:00", "2013-12-31T23:00", counts={"gaps": 0},
    ),
    Published(
        "noaa/newlondon_8461490_201301_6min_MHW_gmt.csv", {**UTC_METRES, "datum": "MHW"},
        7200, 0, "2013-01-01T00:00", "2013-01-30T23:54", counts={"gaps": 0, "step_s": 360.0},
    ),
    # NOAA 8454000 (Providence), metres above MLLW, standard time UTC-5; by SLRSIM, data.
    Published(
        "noaa/providence_8454000_hourly_2014-2017_MLLW.csv", {"unit": "m", "zone": "UTC-5", "datum": "MLLW"},
        35064, 0, "2014-01-01T05:00", "2018-01-01T04:00", counts={"gaps": 0},
    ),
    # NOAA 8418150 (Portland ME), verified high and low waters in feet above MLLW, clock of the place; by CBEP_OA, Data.
    Published(
        "noaa/portland_8418150_high_low_observed_2015-2019.csv",
        {"time": "DateTime", "level": "Water Level", "unit": "ft", "zone": "America/New_York", "datum": "MLLW"},
        7052, 0, "2015-01-01T06:12", "2020-01-01T01:48", counts={"times_shown_twice": 0},
    ),
    # Australian Bureau of Meteorology, metres above tide gauge zero, UTC; by TideHarmonics, data.
    Published(
        "bom/hillarys_2012-2014_hourly.csv", {**UTC_METRES, "datum": "tide gauge zero"},
        26304, 0, "2012-01-01T00:00", "2014-12-31T23:00",
    ),
    Published(
        "bom/portland_2012-2014_hourly.csv", {**UTC_METRES, "datum": "tide gauge zero"},
        26304, 9, "2012-01-01T00:00", "2014-12-31T23:00",
    ),
    # IOC sea level monitoring facility, export of h820 (Nuuk), 5 min: byte order mark, US dates, unit and zone in the
    # header; by tidegauges-historical, data/tidegauge.
    Published(
        "ioc/vliz_realtime_h820_20201014.csv", {"time_format": "%m/%d/%y %H:%M", "datum": "unknown"},
        8634, 0, "2020-09-15T21:32", "2020-10-15T21:23", -3.911, 1.059, counts={"unit_given": "m", "utc_offset_h": 0.0},
    ),
    # Kotzebue by ioos_qc, docs/source/examples: metres above MHHW, gaps, spikes of -2.85 and 4.16 m.
    Published(
        "ioos/water_level_example_kotzebue.csv",
        {"time": "time", "level": "sea_surface_height_above_sea_level", "unit": "m", "datum": "MHHW"},
        7241, 0, "2018-09-05T21:00", "2019-07-10T19:00", -2.84988, 4.163568,
    ),
    # GESLA-3 excerpts by geslaR, inst/extdata: Syowa (null -99.9999 with use_flag 0), Rosslare (irregular).
    Published(
        "gesla/geslaR_antarctica.txt",
        {"time": "date_time", "level": "sea_level", "flag": "use_flag", "flag_bad": 0, "unit": "m", "datum": "unknown"},
        744, 8, "2019-01-01T00:00", "2019-01-31T23:00", counts={"rejected": 8},
    ),
    Published(
        "gesla/geslaR_ireland.txt", {"time": "date_time", "level": "sea_level", "unit": "m", "datum": "unknown"},
        100, 0, "2019-01-01T00:40", "2019-01-08T23:05",
    ),
]  # fmt: skip


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.path)
def test_record(open_data, record):
    found = read_gauge(open_data / record.path, **record.hints)
    assert found.attrs["format"] == record.format
    assert (found.attrs["rows"], found.attrs["missing"]) == (record.rows, record.missing)
    assert found.attrs["values"] == record.rows - record.missing
    assert (found.attrs["duplicates"], found.attrs["unsorted"]) == (0, 0)
    times = found["time"].values
    assert [str(time)[:16] for time in times[[0, -1]]] == [record.first, record.last]
    for stated, name in ((record.lowest, "level_min_m"), (record.highest, "level_max_m")):
        if stated is not None:
            assert found.attrs[name] == pytest.approx(stated, abs=1e-9)
    assert {name: found.attrs[name] for name in record.counts} == record.counts
    assert found.attrs["datum"] == record.hints["datum"]


def test_honolulu_falls_on_the_hour(open_data):
    record = RECORDS[0]
    times = read_gauge(open_data / record.path, **record.hints)["time"].values
    assert (np.diff(times) == np.timedelta64(1, "h")).all()


def test_hourly_values_are_those_of_minute_nought(open_data):
    # Both New London files are cut from one series: the hourly one holds its minute 0.
    fine, hourly = (
        read_gauge(open_data / "noaa" / name, unit="m", zone="UTC", datum="MHW")["sea_level"]
        for name in ("newlondon_8461490_201301_6min_MHW_gmt.csv", "newlondon_8461490_2013_hourly_MHW_gmt.csv")
    )
    at_nought = fine[::10]
    assert at_nought.sizes["time"] == 720
    assert hourly.sel(time=at_nought["time"]).equals(at_nought)


def test_nuuk_reads_the_same_as_plain_csv(open_data):
    path = open_data / "uhslc" / "h820.csv"
    plain = read_gauge(
        path,
        time={"year": 0, "month": 1, "day": 2, "hour": 3},
        level=4,
        unit="mm",
        zone="UTC",
        datum="unknown",
        missing=-32767,
    )
    assert plain.attrs["format"] == "csv"
    assert plain["sea_level"].equals(read_gauge(path, datum="unknown")["sea_level"])


def test_stamps_a_second_off_are_left_as_they_are(open_data, tmp_path):
    # UHSLC global hourly by ERDDAP (searvey, tests/cassettes/uhslc_test): Dakar alone, of three stations in the file.
    lines = (open_data / "uhslc" / "erddap_global_hourly_fast_20210801.csvp").read_text("utf-8").splitlines()
    path = tmp_path / "dakar.csv"
    path.write_text("\n".join([lines[0], *(line for line in lines if "Dakar" in line)]), encoding="utf-8")
    record = read_gauge(path, time="time (UTC)", level="sea_level (millimeters)", datum="unknown")
    assert [str(time)[11:19] for time in record["time"].values[:4]] == ["00:00:00", "01:00:00", "01:59:59", "03:00:00"]
    assert record["sea_level"].values[:3].tolist() == pytest.approx([1.349, 1.463, 1.534])
    assert record.attrs["gaps"] == 0


def test_three_stations_in_one_file_are_refused(open_data):
    with pytest.raises(RecordUnreadable, match="13 of 13 times stand more than once with differing levels"):
        read_gauge(
            open_data / "uhslc" / "erddap_global_hourly_fast_20210801.csvp",
            time="time (UTC)",
            level="sea_level (millimeters)",
            datum="unknown",
        )


def test_values_with_a_flag_behind_them_are_no_plain_csv(open_data):
    # BODC, UK gauge network, Aberdeen 1946: "2.1393M" is an improbable value of line 93.
    with pytest.raises(RecordUnreadable, match=r"line 93: the level is '2\.1393M'"):
        read_gauge(
            open_data / "bodc" / "1946ABE.txt",
            "csv",
            time=[1, 2],
            level=3,
            time_format="%Y/%m/%d %H:%M:%S",
            skip_rows=11,
            header=False,
            delimiter="whitespace",
            unit="m",
            zone="UTC",
            datum="ACD",
        )


@pytest.mark.parametrize(
    "path",
    [
        "ioc/bgraph_vera_20220831.html",
        "noaa/harcon_1612340.json",
        "noaa/water_level_1612340_20210101_STND_metric_gmt.json",
    ],
)
def test_pages_and_documents_are_not_recognised(open_data, path):
    with pytest.raises(RecordNotRecognised):
        read_gauge(open_data / path, unit="m", zone="UTC", datum="unknown")
