"""Plain CSV: what its hints say, and what it takes from the file."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge

SAID: dict[str, Any] = {"unit": "m", "zone": "UTC", "datum": "LAT"}
PLAIN = "2026-01-01 00:00,1.5\n2026-01-01 01:00,1.25\n2026-01-01 02:00,-0.5\n"


def levels(record) -> list[float]:
    return record["sea_level"].values.tolist()


def times(record) -> list[str]:
    return [str(time)[:19] for time in record["time"].values]


HOURS = ["2026-01-01T00:00:00", "2026-01-01T01:00:00", "2026-01-01T02:00:00"]


def test_two_columns_need_no_names(write):
    record = read_gauge(write(PLAIN), "csv", **SAID)
    assert levels(record) == [1.5, 1.25, -0.5]
    assert times(record) == HOURS
    assert record["quality"].values.tolist() == [2, 2, 2]
    assert record["sea_level"].attrs["units"] == "m"
    assert record["sea_level"].dtype == np.float64
    assert {name: record.attrs[name] for name in ("format", "datum", "unit_given", "zone_given", "utc_offset_h")} == {
        "format": "csv", "datum": "LAT", "unit_given": "m", "zone_given": "UTC", "utc_offset_h": 0.0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "hints"),
    [
        ("time,level\n" + PLAIN, {}),
        ("time, level\n" + PLAIN, {"time": "time", "level": "level"}),
        ("Time,LEVEL\n" + PLAIN, {"time": "TIME", "level": "Level"}),
        ("time,level\n" + PLAIN, {"time": 0, "level": 1, "header": True}),
        (PLAIN, {"header": False}),
        ("# made up\n\n" + PLAIN.replace("\n", "\r\n"), {}),
        (PLAIN.replace("\n", "\r"), {}),
        ("\ufefftime,level\n" + PLAIN, {"level": "level", "time": "time"}),
        ("! made up\n" + PLAIN, {"comment": "!"}),
        ("Station,Invented\nDatum,LAT,,\ntime,level\n" + PLAIN, {"skip_rows": 2}),
        (PLAIN.replace(",", ";"), {}),
        (PLAIN.replace(",", "\t"), {"delimiter": "\t"}),
        (PLAIN.replace(",", "|"), {"delimiter": "bar"}),
        (PLAIN.replace(",", ";").replace(".", ","), {"decimal": ","}),
        (PLAIN.replace(",", "   ").replace("2026-01-01 ", "2026-01-01T"), {}),
        (PLAIN.replace("2026-01-01 ", '"2026-01-01 ').replace(",", '",'), {}),
    ],
)  # fmt: skip
def test_layouts(write, text, hints):
    record = read_gauge(write(text), "csv", **SAID, **hints)
    assert levels(record) == [1.5, 1.25, -0.5]
    assert times(record) == HOURS


@pytest.mark.parametrize(
    ("text", "hints"),
    [
        ("01/01/2026 00:00,1.5\n01/01/2026 01:00,1.25\n01/01/2026 02:00,-0.5\n", {"time_format": "%d/%m/%Y %H:%M"}),
        ("0,1.5\n1,1.25\n2,-0.5\n", {"time_unit": "hours since 2026-01-01"}),
        ("46023.0,1.5\n46023.0416667,1.25\n46023.0833333,-0.5\n", {"time_unit": "excel"}),
        ("2026-01-01,00:00,1.5\n2026-01-01,01:00,1.25\n2026-01-01,02:00,-0.5\n", {"time": [0, 1], "level": 2}),
        (
            "x 2026 1 1 0.0000 1.5\nx 2026 1 1 1.0000 1.25\nx 2026 1 1 2.0000 -0.5\n",
            {"time": {"year": 1, "month": 2, "day": 3, "hour": 4}, "level": 5},
        ),
        (
            "y,d,h,m,z\n2026,1,0,0,1.5\n2026,1,1,0,1.25\n2026,1,2,0,-0.5\n",
            {"time": {"year": "y", "day_of_year": "d", "hour": "h", "minute": "m"}, "level": "z"},
        ),
        (
            "yr,clock,z,day\n2026,00:00,1.5,1 Jan\n2026,01:00,1.25,1 Jan\n2026,02:00,-0.5,1 Jan\n",
            {"time": ["yr", "day", "clock"], "level": "z", "time_format": "%Y %d %b %H:%M"},
        ),
    ],
)
def test_clocks(write, text, hints):
    record = read_gauge(write(text), "csv", **SAID, **hints)
    assert levels(record) == [1.5, 1.25, -0.5]
    assert times(record) == HOURS


@pytest.mark.parametrize(
    ("unit", "metres"), [("m", 1.0), ("cm", 0.01), ("mm", 0.001), ("ft", 0.3048), ("Feet", 0.3048)]
)
def test_units(write, unit, metres):
    record = read_gauge(write(PLAIN), "csv", **{**SAID, "unit": unit})
    assert levels(record) == pytest.approx([1.5 * metres, 1.25 * metres, -0.5 * metres], abs=1e-15)
    assert record.attrs["unit_given"] == unit


@pytest.mark.parametrize(("zone", "first"), [("UTC-5", "2026-01-01T05:00:00"), ("+05:30", "2025-12-31T18:30:00")])
def test_zones(write, zone, first):
    assert times(read_gauge(write(PLAIN), "csv", **{**SAID, "zone": zone}))[0] == first


def test_iana_zone_of_summer_and_winter(write):
    text = "2026-01-01 12:00,1\n2026-07-01 12:00,2\n"
    record = read_gauge(write(text), "csv", **{**SAID, "zone": "Europe/London"})
    assert times(record) == ["2026-01-01T12:00:00", "2026-07-01T11:00:00"]
    assert "utc_offset_h" not in record.attrs


def test_the_hour_shown_twice_is_dropped_and_counted_if_so_said(write):
    text = "".join(f"2026-10-25 {hour:02}:30,{hour}\n" for hour in (0, 1, 1, 2, 3))
    said = {**SAID, "zone": "Europe/London"}
    with pytest.raises(RecordAmbiguous, match="line 2: 2026-10-25T01:30"):
        read_gauge(write(text), "csv", **said)
    record = read_gauge(write(text), "csv", ambiguous_times="drop", **said)
    assert times(record) == ["2026-10-24T23:30:00", "2026-10-25T02:30:00", "2026-10-25T03:30:00"]
    assert (record.attrs["times_shown_twice"], record.attrs["rows"]) == (2, 3)


def test_header_states_unit_and_zone(write):
    record = read_gauge(write("Time (UTC),prs(cm)\n" + PLAIN), "csv", datum="unknown")
    assert levels(record) == pytest.approx([0.015, 0.0125, -0.005], abs=1e-15)
    assert record.attrs["zone_given"] == "UTC, stated by the file"


def test_stamps_state_the_zone(write):
    text = "2026-01-01T00:00Z,1\n2026-01-01T00:59:59Z,2\n"
    record = read_gauge(write(text), "csv", unit="m", datum="unknown")
    # A second off the hour is left as it is.
    assert times(record) == ["2026-01-01T00:00:00", "2026-01-01T00:59:59"]


@pytest.mark.parametrize(
    ("text", "hints", "said"),
    [
        ("t,prs(cm)\n" + PLAIN, {"unit": "m"}, "the unit of level could be 'cm' \\(the header\\) or 'm' \\(unit=\\)"),
        ("t (UTC),z\n" + PLAIN, {"zone": "UTC+1"}, "the zone of the clock could be"),
        ("2026-01-01 00:00;1,5\n2026-01-01 01:00;1,25\n", {}, "the delimiter could be comma or semicolon"),
        ("t,z,z\n" + PLAIN.replace("\n", ",1\n"), {"time": "t", "level": "z"}, "the column 'z' could be column 1 or"),
    ],
)
def test_refuses_what_could_be_two_things(write, text, hints, said):
    with pytest.raises(RecordAmbiguous, match=said):
        read_gauge(write(text), "csv", **{**SAID, **hints})


def test_markers_of_missing(write):
    text = "".join(
        f"2026-01-01 {hour:02}:00,{cell}\n" for hour, cell in enumerate(["1", "NA", "", "nan", "-99.0", "bad", "2"])
    )
    record = read_gauge(write(text), "csv", missing=[-99, "BAD"], **SAID)
    assert levels(record) == pytest.approx([1, *[np.nan] * 5, 2], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 9, 9, 9, 9, 9, 2]
    assert (record.attrs["sentinels"], record.attrs["missing"], record.attrs["values"]) == (5, 5, 2)


@pytest.mark.parametrize("missing", ["-9,9", "-9.9", -9.9, [-9.9]])
def test_marker_with_a_decimal_comma(write, missing):
    text = "2026-01-01 00:00;-9,90\n2026-01-01 01:00;1,5\n"
    record = read_gauge(write(text), "csv", missing=missing, decimal=",", **SAID)
    assert levels(record) == pytest.approx([np.nan, 1.5], nan_ok=True)


@pytest.mark.parametrize("bad", [2, 2.0, "2", [7, "2.0"], ["bad", 2]])
def test_flags_of_the_file(write, bad):
    text = "2026-01-01 00:00,1,0\n2026-01-01 01:00,9, 2\n2026-01-01 02:00,2,\n"
    record = read_gauge(write(text), "csv", time=0, level=1, flag=2, flag_bad=bad, **SAID)
    assert levels(record) == pytest.approx([1, np.nan, 2], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 4, 2]
    assert record.attrs["rejected"] == 1


def test_levels_outside_the_valid_range(write):
    record = read_gauge(write(PLAIN + "2026-01-01 03:00,77\n"), "csv", valid_range=[-5, 5], **SAID)
    assert levels(record) == pytest.approx([1.5, 1.25, -0.5, np.nan], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 2, 2, 4]


@pytest.mark.parametrize("name", ["unit", "zone", "datum"])
def test_unit_zone_and_datum_must_be_said(write, name):
    with pytest.raises(HintMissing, match=f"^{name} is not given; give ") as caught:
        read_gauge(write(PLAIN), "csv", **{**SAID, name: None})
    assert caught.value.hint == name


@pytest.mark.parametrize(
    ("hints", "said"),
    [
        ({"zone": "EST"}, "zone cannot be 'EST'"),
        ({"zone": "Atlantis/Harbour"}, "zone cannot be 'Atlantis/Harbour'"),
        ({"zone": 5}, "zone cannot be '5'"),
        ({"datum": ""}, "datum cannot be ''"),
        ({"datum": "  "}, "datum cannot be"),
        ({"datum": 3}, "datum cannot be '3'"),
        ({"unit": 1}, "unit cannot be '1'"),
        ({"time": 7, "level": 1}, "time cannot be '7'; give .* 0 to 1"),
        ({"time": 0, "level": -1}, "level cannot be '-1'"),
        ({"time": True, "level": 1}, "time cannot be 'True'"),
        ({"time": 0}, "level is not given"),
        ({"level": 1}, "time is not given"),
        ({"time": [], "level": 1}, "time cannot be"),
        ({"time": {"year": 0, "hour": 1}, "level": 1}, "time cannot be"),
        ({"time": {"year": 0, "month": 0, "day": 0, "minute": 0}, "level": 1}, "time cannot be"),
        ({"time_format": "%Y-%m-%d %H:%M", "time_unit": "unix"}, "time_unit cannot be"),
        ({"time_unit": "months since 1970-01-01"}, "time_unit cannot be"),
        ({"time_format": "%q"}, "time_format cannot be"),
        ({"ambiguous_times": "both"}, "ambiguous_times cannot be"),
        ({"delimiter": "dash"}, "delimiter cannot be 'dash'"),
        ({"delimiter": ",", "decimal": ","}, "delimiter cannot be ','"),
        ({"decimal": ";"}, "decimal cannot be"),
        ({"header": "yes"}, "header cannot be"),
        ({"skip_rows": -1}, "skip_rows cannot be"),
        ({"skip_rows": 1.5}, "skip_rows cannot be"),
        ({"missing": {"a": 1}}, "missing cannot be"),
        ({"missing": [None]}, "missing cannot be"),
        ({"valid_range": [1]}, "valid_range cannot be"),
        ({"valid_range": [2, 1]}, "valid_range cannot be .*the lower first"),
        ({"flag": 1}, "flag_bad is not given"),
        ({"flag_bad": 1}, "flag is not given"),
    ],
)
def test_refuses_wrong_hints_by_name(write, hints, said):
    with pytest.raises(HintMissing, match=said):
        read_gauge(write(PLAIN), "csv", **{**SAID, **hints})


@pytest.mark.parametrize(
    ("hints", "said"),
    [
        ({"unit": "fathom"}, "unknown unit of level 'fathom'; known: m, cm, mm, ft"),
        ({"level": "height", "time": "time"}, "unknown column 'height'; known: time, level"),
        ({"units": "m"}, "unknown hint of the reader 'csv' 'units'; known: time, level"),
    ],
)
def test_refuses_unknown_names(write, hints, said):
    with pytest.raises(UnknownName, match=said):
        read_gauge(write("time,level\n" + PLAIN), "csv", **{**SAID, **hints})


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("31/12/2026 00:00,1\n", "time_format"),
        ("time,level\n1/2/26 00:00,1\n1/2/26 01:00,1\n", "time_format"),
        ("46023.0,1.5\n46023.5,1.25\n", "time_unit"),
    ],
)
def test_asks_how_times_are_written(write, text, hint):
    with pytest.raises(HintMissing, match=f"^{hint} is not given; .* the first time is '"):
        read_gauge(write(text), "csv", **SAID)


@pytest.mark.parametrize(
    ("text", "hints", "said"),
    [
        (PLAIN + "2026-01-01 03:00\n", {}, "line 4: the row has 1 cells; expected 2.* the file was cut off"),
        (PLAIN + "2026-01-01 0", {}, "line 4: the row has 1 cells"),
        (PLAIN + "2026-01-01 03:00,1,2\n", {}, "line 4: the row has 3 cells"),
        (PLAIN + "2026-01-01 03:00,high\n", {}, "line 4: the level is 'high'"),
        (PLAIN + "2026-01-01 03:00,1_0\n", {}, "line 4: the level is '1_0'"),
        (PLAIN + "2026-01-01 03:00,inf\n", {}, "line 4: the level is 'inf'"),
        (PLAIN + "# note\n\n01/01/2026 03:00,1\n", {}, "line 6: the time is '01/01/2026 03:00'"),
        (PLAIN + "2026-01-32 03:00,1\n", {}, "line 4: the day is 32"),
        (PLAIN + '"2026-01-01 03:00,1\n2026-01-01 04:00,1\n', {}, "line 4: "),
        ("1,1\n,2\n", {"time_unit": "hours since 2026-01-01"}, "line 2: the time is missing"),
        ("time,level\n", {}, "a header and no row"),
        ("# nothing\n\n", {}, "the file holds no row"),
        ("1\n2\n3\n", {}, "no delimiter"),
        (PLAIN, {"skip_rows": 9}, "the file holds no row"),
        ("2026-01-01 00:00;1.500\n", {"decimal": ",", "delimiter": ";"}, "line 1: the level is '1.500'"),
        ("0,1\n99999999,2\n", {"time_unit": "days since 2026-01-01"}, "line 2: the time .* outside"),
        ("0001-01-01 00:00,1\n", {}, "line 1: the time 0001-01-01T00:00:00.000000 lies outside"),
    ],
)
def test_refuses_broken_tables_and_says_where(write, text, hints, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(text), "csv", **SAID, **hints)


@pytest.mark.parametrize("row", [19_999, 20_000, 20_001, 39_999])
def test_lines_are_right_across_blocks(write, row):
    rows = [f"{second},1.0" for second in range(40_001)]
    rows[row] = f"{row},bad"
    with pytest.raises(RecordUnreadable, match=f"line {row + 2}: the level is 'bad'"):
        read_gauge(write("t,z\n" + "\n".join(rows)), "csv", time_unit="seconds since 2026-01-01", **SAID)
