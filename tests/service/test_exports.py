"""Forms other than JSON, of series and tables typed in by hand; read back by others' readers.

A change of any byte expected here means that `service.exports.series.FORMAT` must be raised.
"""

from __future__ import annotations

import csv
import io
import json
import zoneinfo

import numpy as np
import pytest
import xarray
from scipy.io import netcdf_file

from service.exports import coveragejson
from service.exports.coveragejson import series_coverages
from service.exports.delimited import series_csv, table_csv
from service.exports.netcdf import series_netcdf
from service.exports.series import UNIT_ENDINGS, Column, Series, SeriesSet, Table, file_stem, rounded
from service.exports.standard_names import height_name
from tests.service.coverages import check_collection, decoded
from tidecore.timeline import factors

TIMES = np.array(["2026-06-01T00:00", "2026-06-01T00:10", "2026-06-01T00:20"], dtype="datetime64[us]")


def columns(shift: float = 0.0) -> list[Column]:
    return [
        Column("height", "number", np.array([1.23449, np.nan, -0.0001]) + shift, "height", "m", 3,
               standard_name=height_name("LAT")),
        Column("direction", "category", np.array(["ebb", "", "flood"]), "which way", categories=("flood", "ebb")),
        Column("flow_reliable", "boolean", np.array([1, -1, 0], dtype=np.int8), "whether it is known"),
    ]  # fmt: skip


def series(key: str = "stn_1", longitude: float | None = -20.5, shift: float = 0.0) -> Series:
    about: dict[str, str | int | bool] = {"station_id": key, "version": 3, "datum": "LAT", "sure": False}
    return Series(key, "Pellwick, Roads", 51.25, longitude, about, TIMES, columns(shift))


ONE = SeriesSet("heights_stn_1", "Heights", [series()])
TWO = SeriesSet("heights_of_2", "Heights", [series(), series("stn_2", None, 1.0)])


def test_csv_is_as_rfc_4180_has_it():
    export = series_csv(ONE)
    assert export.media_type == "text/csv"
    assert export.file_name == "heights_stn_1.csv"
    assert export.content.decode("utf-8") == (
        "station_id,version,datum,sure,time,height_m,direction,flow_reliable\r\n"
        "stn_1,3,LAT,false,2026-06-01T00:00:00Z,1.234,ebb,true\r\n"
        "stn_1,3,LAT,false,2026-06-01T00:10:00Z,,,\r\n"
        "stn_1,3,LAT,false,2026-06-01T00:20:00Z,0.000,flood,false\r\n"
    )


def test_many_series_stand_below_each_other_in_csv():
    rows = list(csv.DictReader(io.StringIO(series_csv(TWO).content.decode(), newline="")))
    assert [row["station_id"] for row in rows] == ["stn_1"] * 3 + ["stn_2"] * 3
    assert rows[3]["height_m"] == "2.234"


def test_instants_of_csv_carry_the_offsets_of_a_zone():
    text = series_csv(ONE, zoneinfo.ZoneInfo("Asia/Kolkata")).content.decode()
    assert "2026-06-01T05:30:00+05:30" in text


def test_cells_with_commas_quotes_and_line_ends_come_back_as_they_were():
    texts = ['a "quoted" text', "one, two", "two\r\nlines", "plain", "ünicode ½"]
    table = Table("t", [Column("note", "text", np.array(texts), ""), Column("n", "integer", np.arange(5), "")])
    raw = table_csv(table).content
    assert b'"a ""quoted"" text",0\r\n' in raw
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))
    assert rows == [["note", "n"], *([text, str(n)] for n, text in enumerate(texts))]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_looks_like_a_formula_is_guarded(start):
    text = start + "cmd|' /C calc'!A0"
    table = Table("t", [Column("note", "text", np.array([text]), ""), Column("x", "number", np.array([-1.5]), "")])
    rows = list(csv.reader(io.StringIO(table_csv(table).content.decode(), newline="")))
    assert rows[1] == ["'" + text, "-1.500"]
    described = Series("k", "t", 1.0, 2.0, {"datum": text}, TIMES[:1], [Column("x", "number", np.array([-1.5]), "")])
    rows = list(csv.reader(io.StringIO(series_csv(SeriesSet("s", "S", [described])).content.decode(), newline="")))
    assert rows[1] == ["'" + text, "2026-06-01T00:00:00Z", "-1.500"]


def test_an_infinity_is_never_published():
    with pytest.raises(ValueError, match="infinity"):
        rounded([1.0, np.inf], 3)


def test_coverages_have_the_structure_of_the_standard():
    export = series_coverages(TWO)
    assert export.media_type == "application/prs.coverage+json"
    assert export.file_name == "heights_of_2.covjson"
    document = json.loads(export.content)
    first, second = check_collection(document)
    assert "domainType" not in document, "one of the series has no place"
    assert first["domain"]["domainType"] == "PointSeries"
    assert first["domain"]["axes"] == {
        "t": {"values": ["2026-06-01T00:00:00Z", "2026-06-01T00:10:00Z", "2026-06-01T00:20:00Z"]},
        "x": {"values": [-20.5]},
        "y": {"values": [51.25]},
    }
    assert first["ranges"]["height_m"] == {
        "type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [3], "values": [1.234, None, 0.0],
    }  # fmt: skip
    assert first["parameters"]["height_m"]["unit"]["symbol"]["value"] == "m"
    assert first["parameters"]["height_m"]["observedProperty"]["id"].endswith(
        "/tidal_sea_surface_height_above_lowest_astronomical_tide/"
    )
    assert decoded(first, "direction") == ["ebb", None, "flood"]
    assert decoded(first, "flow_reliable") == [True, None, False]
    assert first["about"] == {"station_id": "stn_1", "version": 3, "datum": "LAT", "sure": False}
    assert "x" not in second["domain"]["axes"]
    assert json.loads(series_coverages(ONE).content)["domainType"] == "PointSeries"


def test_a_series_without_an_instant_has_no_coverage():
    bare = [Column("height", "number", np.array([]), "height", "m")]
    empty = Series("stn_3", "Nowhere", 1.0, 2.0, {"version": 1}, TIMES[:0], bare)
    document = json.loads(series_coverages(SeriesSet("s", "S", [empty])).content)
    assert check_collection(document) == []
    assert series_csv(SeriesSet("s", "S", [empty])).content == b"version,time,height_m\r\n"


def test_netcdf_is_classic_and_says_what_cf_asks_for():
    export = series_netcdf(TWO)
    assert export.media_type == "application/netcdf"
    assert export.content[:4] == b"CDF\x02"
    with netcdf_file(io.BytesIO(export.content), "r", mmap=False) as file:
        assert file.Conventions == b"CF-1.11"
        assert file.featureType == b"timeSeries"
        assert file.dimensions["series"] == 2
        assert file.dimensions["time"] == 3
        assert file.variables["series_id"].cf_role == b"timeseries_id"
        assert file.variables["latitude"].units == b"degrees_north"
        assert file.variables["longitude"].units == b"degrees_east"
        height = file.variables["height_m"]
        assert (height.units, height.dimensions) == (b"m", ("series", "time"))
        assert height.standard_name == b"tidal_sea_surface_height_above_lowest_astronomical_tide"
        assert set(height.coordinates.split()) == {b"latitude", b"longitude", b"series_id", b"series_name"}
        assert file.variables["direction"].flag_meanings == b"flood ebb"
        assert file.variables["direction"].flag_values.tolist() == [0, 1]


def test_netcdf_comes_back_with_xarray():
    with xarray.open_dataset(io.BytesIO(series_netcdf(TWO).content), engine="scipy") as dataset:
        assert dataset["time"].values.astype("datetime64[us]").tolist() == TIMES.tolist()
        found = dataset["height_m"].values
        assert np.isnan(found[:, 1]).all()
        assert found[:, 0].tolist() == [1.234, 2.234]
        assert dataset["series_id"].values.tolist() == ["stn_1", "stn_2"]
        assert dataset["series_name"].values.tolist() == ["Pellwick, Roads"] * 2
        assert dataset["version"].values.tolist() == [3, 3]
        assert np.isnan(dataset["longitude"].values).tolist() == [False, True]
        # Flags come back as numbers, NaN where the file has its fill value.
        assert dataset["direction"].values[0].tolist()[::2] == [1.0, 0.0]
        assert np.isnan(dataset["direction"].values[:, 1]).all()
        assert np.isnan(dataset["flow_reliable"].values[:, 1]).all()


def test_netcdf_without_an_instant_is_one_that_can_be_read():
    bare = [Column("height", "number", np.array([]), "height", "m")]
    empty = [Series(key, "Nowhere", 1.0, 2.0, {"version": 1}, TIMES[:0], bare) for key in ("stn_3", "stn_4")]
    with xarray.open_dataset(io.BytesIO(series_netcdf(SeriesSet("s", "S", empty)).content), engine="scipy") as dataset:
        assert dict(dataset["height_m"].sizes) == {"time": 0, "series": 2}


def test_netcdf_is_the_same_each_time():
    assert series_netcdf(TWO).content == series_netcdf(TWO).content


def test_netcdf_refuses_what_it_cannot_hold():
    with pytest.raises(ValueError, match="time axes"):
        series_netcdf(SeriesSet("s", "S", [series()], even=False))
    text = Series("k", "t", 1.0, 2.0, {}, TIMES, [Column("note", "text", np.array(["a", "b", "c"]), "")])
    with pytest.raises(ValueError, match="'text'"):
        series_netcdf(SeriesSet("s", "S", [text]))


def test_a_standard_name_stands_only_where_all_series_have_it():
    bare = series("stn_2")
    other = Series("stn_2", "O", 1.0, 2.0, bare.about, TIMES, [Column("height", "number", np.zeros(3), "h", "m")])
    one = Series("stn_1", "O", 1.0, 2.0, bare.about, TIMES, columns()[:1])
    with netcdf_file(io.BytesIO(series_netcdf(SeriesSet("s", "S", [one, other])).content), mmap=False) as file:
        assert not hasattr(file.variables["height_m"], "standard_name")


def test_every_unit_of_a_factor_has_an_ending_and_a_symbol():
    units = {factor.unit for factor in factors().values() if factor.kind == "number"}
    assert units <= set(UNIT_ENDINGS)
    assert units <= set(coveragejson.UNITS)
    names = [Column(one.name, one.kind, np.array([]), "", one.unit).field for one in factors().values()]
    assert len(set(names)) == len(names)
    assert {"height_m", "rate_m_per_h", "hours_from_hw", "sun_altitude_deg", "day_of_year"} <= set(names)


@pytest.mark.parametrize(
    ("keys", "stem"),
    [(["stn_1"], "heights_stn_1_20260601T000000Z"), (["a", "b"], "heights_of_2_20260601T000000Z")],
)
def test_a_file_is_named_after_what_it_holds(keys, stem):
    assert file_stem("heights", keys, int(TIMES[0].astype(np.int64))) == stem
