"""Real gauge records through the readers: counts, spans and ranges as their publishers' files have them.

Expected figures were counted in the files by other means than these readers (awk, scipy's own NetCDF module), or are
stated by whoever collected them. Sources are named at each record.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
import xarray as xr

import tidecore
from tidecore.errors import RecordAmbiguous, RecordOfTurns, RecordUnreadable
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
    datum: str | None = None
    counts: dict[str, Any] = field(default_factory=dict)


UTC_METRES: dict[str, Any] = {"unit": "m", "zone": "UTC"}
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
    # Halifax 2003 (MEDS 490) by oce, create_data/sealevel: CRLF, trailing commas, 22 gaps, the longest 22 h; its
    # longitude lacks the minus.
    Published(
        "halifax/490-01-JAN-2003_slev.csv", {},
        6667, 0, "2003-01-01T05:00", "2003-10-08T11:00", 0.0, 2.84, format="meds", datum="CD",
        counts={"gaps": 22, "longest_gap_h": 22.0, "latitude": 44.666667, "longitude": -63.583333, "utc_offset_h": 0.0},
    ),
    # UTide (Python port), notebooks/can1998.dtf (Cananeia): local time, UTC-3; flag 2 (bad) on 10 rows, 1 on 212.
    Published(
        "cananeia/can1998.dtf", {"unit": "m", "zone": "UTC-3", "datum": "unknown"},
        8760, 10, "1998-01-01T03:00", "1999-01-01T02:00", 0.63, 3.13, format="dtf",
        counts={"rejected": 10, "suspect": 212, "utc_offset_h": -3.0, "gaps": 0},
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
        7052, 0, "2015-01-01T06:12", "2020-01-01T01:48", counts={"times_shown_twice": 0, "high_low_only": 1},
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
        "gesla/geslaR_antarctica.txt", {"datum": "unknown"},
        744, 8, "2019-01-01T00:00", "2019-01-31T23:00", format="gesla-table",
        counts={"sentinels": 8, "rejected": 0, "latitude": -69.00778333},
    ),
    Published(
        "gesla/geslaR_ireland.txt", {"datum": "unknown"},
        100, 0, "2019-01-01T00:40", "2019-01-08T23:05", format="gesla-table",
    ),
    # BODC, UK gauge network, Aberdeen and Whitby, by SEPwC_tidal_assessment, data; flags counted with awk.
    Published(
        "bodc/1946ABE.txt", {}, 8760, 48, "1946-01-01T00:00", "1946-12-31T23:00", format="bodc", datum="ACD",
        counts={"suspect": 375, "sentinels": 48, "gaps": 0, "unit_given": "m", "latitude": 57.14325},
    ),
    Published(
        "bodc/1947ABE.txt", {}, 8760, 529, "1947-01-01T00:00", "1947-12-31T23:00", format="bodc", datum="ACD",
        counts={"suspect": 964, "sentinels": 529, "gaps": 0},
    ),
    Published(
        "bodc/2012WHI.txt", {}, 35136, 49, "2012-01-01T00:00", "2012-12-31T23:45", format="bodc", datum="ACD",
        counts={"suspect": 1325 + 6, "sentinels": 49, "step_s": 900.0, "latitude": 54.49008, "longitude": -0.61417},
    ),
    # IOC sea level monitoring facility, page of Veracruz, radar: searvey, tests/cassettes/ioc_test.
    Published(
        "ioc/bgraph_vera_20220831.html", {"datum": "unknown"},
        210, 0, "2022-08-31T21:36", "2022-09-01T00:00", 1.66, 1.76, format="ioc-table",
        counts={"unit_given": "m", "utc_offset_h": 0.0, "variable": "rad(m)"},
    ),
    # UHSLC global hourly by ERDDAP, three stations of 13 h: searvey, tests/cassettes/uhslc_test.
    Published(
        "uhslc/erddap_global_hourly_fast_20210801.csvp", {"datum": "unknown", "gauge": "Dakar"},
        13, 0, "2021-08-01T00:00", "2021-08-01T12:00", 1.007, 1.545, format="erddap-csv",
        counts={"times_rounded": 4, "time_rounding_s": 1.0, "uneven_steps": 0, "longitude": -17.42},
    ),
    # NOAA 9447130 (Seattle), verified 6-minute levels, 30 of them inferred: noaa_coops, tests/cassettes/test_station.
    Published(
        "noaa/station_9447130_Seattle/water_level_20150101-20150131_MLLW_metric_gmt.json",
        {**UTC_METRES, "datum": "MLLW"},
        7201, 0, "2015-01-01T00:00", "2015-01-31T00:00", format="noaa-json",
        counts={"gaps": 0, "step_s": 360.0, "suspect": 30, "station": "Seattle (9447130)"},
    ),
    # NOAA 9414458 (San Mateo Bridge): searvey, tests/cassettes/coops_test.
    Published(
        "noaa/water_level_9414458_20050330_STND_metric_gmt.json", {**UTC_METRES, "datum": "STND"},
        21, 0, "2005-03-30T00:00", "2005-03-30T02:00", format="noaa-json", counts={"product": "water level"},
    ),
    # NOAA hourly predictions of one day: searvey, test_coops_predictions_product.yaml.
    Published(
        "noaa/hourly_predictions_20210101/8652587_STND_metric_gmt_h.json", {**UTC_METRES, "datum": "STND"},
        24, 0, "2021-01-01T00:00", "2021-01-01T23:00", format="noaa-json", counts={"product": "predictions"},
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
    assert found.attrs["high_low_only"] == ("high_low" in record.path)
    assert found.attrs["datum"] == record.hints.get("datum", record.datum)


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
    ("path", "said"),
    [
        ("noaa/harcon_1612340.json", "published constituents, which are no record"),
        ("noaa/harcon_9999531_empty.json", "published constituents, which are no record"),
        ("noaa/station_9447130_Seattle/station_expanded.json", "metadata of stations"),
        ("noaa/hourly_predictions_20210101/error_example.json", "No Predictions data was found"),
        ("noaa/water_level_9999531_20210101_STND_metric_gmt_error.json", "No data was found"),
    ],
)
def test_documents_that_are_no_record_say_what_they_are(open_data, path, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(open_data / path, **UTC_METRES, datum="unknown")


def test_every_hourly_prediction_is_read(open_data):
    paths = sorted((open_data / "noaa" / "hourly_predictions_20210101").rglob("*_h.json"))
    assert len(paths) == 29
    for path in paths:
        assert read_gauge(path, **UTC_METRES, datum="STND").attrs["values"] == 24


def test_stations_of_one_file_are_named_and_told_apart(open_data):
    path = open_data / "uhslc" / "erddap_global_hourly_fast_20210801.csvp"
    with pytest.raises(RecordAmbiguous, match="the station could be Dakar or Fortaleza or Salvador, USCGS"):
        read_gauge(path, datum="unknown")
    # Salvador by its UHSLC number; Fortaleza has not one level.
    found = read_gauge(path, datum="unknown", gauge="708")
    assert (found.attrs["station"], found.attrs["values"]) == ("Salvador, USCGS", 13)
    assert found["sea_level"].values[[0, -1]].tolist() == pytest.approx([2.674, 2.671])
    with pytest.raises(RecordUnreadable, match="all 13 levels are missing"):
        read_gauge(path, datum="unknown", gauge="Fortaleza")


@pytest.mark.parametrize(
    ("path", "hints", "plain"),
    [
        (
            "halifax/490-01-JAN-2003_slev.csv", {},
            {"time": 0, "level": 1, "time_format": "%Y/%m/%d %H:%M", "skip_rows": 7, **UTC_METRES, "datum": "CD"},
        ),
        (
            "cananeia/can1998.dtf", {"unit": "m", "zone": "UTC-3", "datum": "unknown"},
            {
                "time": {"year": 1, "month": 2, "day": 3, "hour": 4}, "level": 5, "flag": 6, "flag_bad": 2,
                "unit": "m", "zone": "UTC-3", "datum": "unknown",
            },
        ),
        (
            "gesla/geslaR_antarctica.txt", {"datum": "unknown"},
            {
                "time": "date_time", "level": "sea_level", "flag": "use_flag", "flag_bad": 0, "unit": "m",
                "datum": "unknown",
            },
        ),
    ],
)  # fmt: skip
def test_levels_are_the_same_as_plain_csv(open_data, path, hints, plain):
    own, csv = read_gauge(open_data / path, **hints), read_gauge(open_data / path, **plain)
    assert (own.attrs["format"] != "csv", csv.attrs["format"]) == (True, "csv")
    assert own["sea_level"].equals(csv["sea_level"])


#: Lines of a semidiurnal coast; enough to keep M2 and S2 apart from their neighbours.
_LINES = ["M2", "S2", "N2", "K2", "NU2", "MU2", "L2", "T2", "K1", "O1"]


@pytest.mark.parametrize(
    ("paths", "every", "latitude", "published"),
    [
        (["bodc/1946ABE.txt", "bodc/1947ABE.txt"], 3, 57.14, {"M2": 1.307, "S2": 0.441}),
        (["bodc/2012WHI.txt"], 8, 54.49, {"M2": 1.659, "S2": 0.558}),
    ],
)
def test_a_fit_without_what_the_publisher_doubts_meets_the_published_amplitudes(
    open_data, paths, every, latitude, published
):
    # UK tidal database, as the README of SEPwC_tidal_assessment quotes it; from other years than these. A fit of all
    # values by itself has M2 of 1.3064 and 1.6587 m without the doubtful ones, 1.3033 and 1.6576 m with them.
    parts = [read_gauge(open_data / path).isel(time=slice(None, None, every)) for path in paths]
    model = tidecore.fit(xr.concat(parts, "time", combine_attrs="override"), latitude=latitude, constituents=_LINES)
    for name, tolerance in (("M2", 0.003), ("S2", 0.007)):
        assert model.constituents[name][0] == pytest.approx(published[name], abs=tolerance), name


def test_a_fit_of_high_and_low_waters_alone_invents_overtides(open_data):
    # NOAA 8418150 (Portland ME): M4 of 0.011 m is published (harmonic constituents of the station).
    record = next(record for record in RECORDS if "high_low" in record.path)
    turns = read_gauge(open_data / record.path, **record.hints).isel(time=slice(0, 1440))
    model = tidecore.fit(turns, latitude=43.66, constituents=[*_LINES, "M4", "M6", "M8"])
    assert model.constituents["M4"][0] > 0.3
    with pytest.raises(RecordOfTurns, match="high and low waters alone"):
        tidecore.fit(turns, latitude=43.66)
