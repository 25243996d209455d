"""CF NetCDF, written by xarray and by the netCDF4 library."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

from tidecore.errors import CoreError, HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import packing, read_gauge

NAME = "water_surface_height_above_reference_datum"
UNITS = {"units": "hours since 2026-01-01 00:00:00"}
LEVELS = np.array([1.5, 1.25, np.nan, -0.5])
ENGINES = ("scipy", "netcdf4")


def dataset(
    levels: Any = LEVELS, *, dims: Any = "time", attributes: Any = None, time: Any = None, **others: Any
) -> xr.Dataset:
    level = {"standard_name": NAME, "units": "m", "datum": "LAT"} if attributes is None else attributes
    hours = np.arange(float(np.shape(levels)[-1 if dims == "time" else list(dims).index("time")]))
    return xr.Dataset(
        {"zeta": (dims, levels, level), **others},
        {"time": ("time", hours, UNITS) if time is None else time},
    )


@pytest.fixture
def save(tmp_path: Path) -> Callable[..., Path]:
    def saved(content: xr.Dataset, engine: Any = "scipy", **options: Any) -> Path:
        path = tmp_path / "record.nc"
        content.to_netcdf(path, engine=engine, **options)
        return path

    return saved


def levels(record: xr.Dataset) -> list[float]:
    return record["sea_level"].values.tolist()


def times(record: xr.Dataset) -> list[str]:
    return [str(time)[:16] for time in record["time"].values]


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("named", [None, "cf-netcdf"])
def test_finds_the_variable_by_its_standard_name(save, engine, named):
    record = read_gauge(save(dataset(pressure=("time", [1.0, 2, 3, 4], {"units": "dbar"})), engine), named)
    assert levels(record) == pytest.approx([1.5, 1.25, np.nan, -0.5], nan_ok=True)
    assert times(record) == ["2026-01-01T00:00", "2026-01-01T01:00", "2026-01-01T02:00", "2026-01-01T03:00"]
    assert record["quality"].values.tolist() == [2, 2, 9, 2]
    said = ("format", "variable", "datum", "unit_given", "zone_given", "utc_offset_h", "sentinels")
    assert [record.attrs[name] for name in said] == [
        "cf-netcdf",
        "zeta",
        "LAT",
        "m",
        "UTC, by the CF convention",
        0.0,
        1,
    ]


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        ("m", 1.0),
        ("cm", 0.01),
        ("mm", 0.001),
        ("ft", 0.3048),
        ("feet", 0.3048),
        ("millimeters", 0.001),
        ("Meters", 1.0),
    ],
)
def test_units(save, unit, metres):
    record = read_gauge(save(dataset(attributes={"standard_name": NAME, "units": unit})), datum="unknown")
    assert levels(record) == pytest.approx(LEVELS * metres, abs=1e-15, nan_ok=True)


@pytest.mark.parametrize("engine", ENGINES)
def test_axes_of_length_one_are_squeezed(save, engine):
    # As COARDS files have it: level(time, latitude, longitude), one place.
    content = dataset(LEVELS[:, None, None], dims=("time", "latitude", "longitude")).assign_coords(
        latitude=("latitude", np.array([25.708], dtype=np.float32)),
        longitude=("longitude", np.array([278.752], dtype=np.float32)),
    )
    record = read_gauge(save(content, engine))
    assert levels(record) == pytest.approx([1.5, 1.25, np.nan, -0.5], nan_ok=True)
    assert (record.attrs["latitude"], record.attrs["longitude"]) == (25.708, -81.248)


def test_a_record_of_packed_integers(save):
    # As UHSLC files have it: sea_level(record_id, time) of short integers, no standard name, an unnamed position.
    packed = np.array([[1500, 1250, -32767, -500]], dtype=np.int16)
    fill = {"_FillValue": np.int16(-32767), "units": "millimeters", "long_name": "relative sea level"}
    content = xr.Dataset(
        {
            "sea_level": (("record_id", "time"), packed, fill),
            "lat": ("record_id", np.array([-43.947], dtype=np.float32)),
        },
        {"time": ("time", np.arange(4) / 24 + 82_545, {"units": "days since 1800-01-01 00:00:00"})},
        {"title": "Invented harbour"},
    )
    path = save(content)
    with pytest.raises(HintMissing, match=r"variable is not given; give .* one of .*sea_level"):
        read_gauge(path, datum="zero")
    record = read_gauge(path, variable="sea_level", datum="zero")
    assert levels(record) == pytest.approx([1.5, 1.25, np.nan, -0.5], nan_ok=True)
    # 226 years of 365 days with 55 leap days (1804 to 2024, 1900 none) lead from 1800 to 2026.
    assert times(record)[0] == "2026-01-01T00:00"
    assert (226 * 365 + 55, record.attrs["title"], record.attrs["latitude"]) == (82_545, "Invented harbour", -43.947)
    assert record.attrs["time_rounding_s"] < 1e-3


def test_scale_offset_markers_and_valid_range(save):
    packed = np.array([100, 200, 999, -1, 30_000, 150], dtype=np.int16)
    attributes = {
        "standard_name": NAME, "units": "cm", "scale_factor": 0.5, "add_offset": -10.0,
        "missing_value": np.int16(999), "valid_range": np.array([0, 1000], dtype=np.int16),
    }  # fmt: skip
    record = read_gauge(save(dataset(packed, attributes=attributes)), datum="unknown")
    assert levels(record) == pytest.approx([0.40, 0.90, np.nan, np.nan, np.nan, 0.65], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 2, 9, 4, 4, 2]
    assert (record.attrs["sentinels"], record.attrs["rejected"]) == (1, 2)


def test_markers_that_the_caller_declares(save):
    content = dataset(np.array([1.5, -99.9, 9.96921e36, 2.5], dtype=np.float32))
    record = read_gauge(save(content), missing=-99.9, valid_range=[0, 2])
    assert levels(record) == pytest.approx([1.5, np.nan, np.nan, np.nan], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 9, 9, 4]


@pytest.mark.parametrize(
    ("units", "first", "offset"),
    [
        ("hours since 2026-01-01 00:00 UTC", "2026-01-01T00:00", 0.0),
        ("hours since 2026-01-01 00:00:00 +02:00", "2025-12-31T22:00", 2.0),
        ("hours since 2026-01-01T06:00:00Z", "2026-01-01T06:00", 0.0),
    ],
)
def test_units_of_time_may_state_a_zone(save, units, first, offset):
    record = read_gauge(save(dataset(time=("time", np.arange(4.0), {"units": units}))))
    assert times(record)[0] == first
    assert (record.attrs["utc_offset_h"], record.attrs["zone_given"]) == (offset, "stated by the units of time")


def test_time_may_be_called_otherwise(save):
    clock = xr.Dataset({
        "zeta": ("obs", LEVELS, {"standard_name": NAME, "units": "m"}),
        "when": ("obs", np.arange(4.0), {"standard_name": "time", **UNITS}),
        "issued": ("obs", np.arange(4.0) + 9, UNITS),
    })  # fmt: skip
    assert times(read_gauge(save(clock), datum="unknown"))[0] == "2026-01-01T00:00"
    del clock["when"].attrs["standard_name"]
    with pytest.raises(RecordAmbiguous, match="the time of 'zeta' could be when or issued"):
        read_gauge(save(clock), datum="unknown")


def test_one_value_is_a_record(save):
    assert levels(read_gauge(save(dataset(np.array([1.5]))))) == [1.5]


@pytest.mark.parametrize(
    ("standard_name", "datum"),
    [
        ("sea_surface_height_above_mean_sea_level", "MSL"),
        ("sea_surface_height_above_geoid", "geoid"),
        ("sea_surface_height_above_reference_ellipsoid", "ellipsoid"),
        ("sea_surface_height", None),
        ("sea_surface_height_above_geopotential_datum", None),
        (NAME, None),
    ],
)
def test_a_standard_name_may_state_the_datum(save, standard_name, datum):
    path = save(dataset(attributes={"standard_name": standard_name, "units": "m"}))
    if datum is None:
        with pytest.raises(HintMissing, match="datum is not given"):
            read_gauge(path)
    else:
        assert read_gauge(path).attrs["datum"] == datum
    record = read_gauge(path, datum="unknown")
    assert (record.attrs["datum"], record.attrs.get("datum_in_file")) == ("unknown", datum)


@pytest.mark.parametrize(
    "standard_name",
    [
        "tidal_sea_surface_height_above_mean_sea_level", "non_tidal_elevation_of_sea_surface_height", "water_level",
        "sea_surface_height_above_mean_sea_level status_flag", "sea_surface_wave_significant_height", "depth",
    ],
)  # fmt: skip
def test_predictions_residuals_and_flags_are_not_taken_for_levels(save, standard_name):
    path = save(dataset(attributes={"standard_name": standard_name, "units": "m", "datum": "LAT"}))
    with pytest.raises(HintMissing, match="variable is not given"):
        read_gauge(path)
    assert read_gauge(path, variable="zeta").attrs["variable"] == "zeta"


def test_more_than_one_sea_level_is_refused(save):
    other = ("time", LEVELS + 1, {"standard_name": "sea_surface_height_above_geoid", "units": "m"})
    path = save(dataset(eta=other))
    with pytest.raises(RecordAmbiguous, match="the sea level could be zeta or eta; say which with variable="):
        read_gauge(path)
    assert read_gauge(path, variable="eta").attrs["level_max_m"] == 2.5


def test_flags_that_are_not_read_are_named(save):
    attributes = {"standard_name": NAME, "units": "m", "ancillary_variables": "zeta_qc"}
    record = read_gauge(save(dataset(attributes=attributes)), datum="unknown")
    assert record.attrs["ancillary_not_read"] == "zeta_qc"


@pytest.mark.parametrize("hints", [{"unit": "cm"}, {"unit": "feet"}])
def test_unit_of_file_and_hint_must_agree(save, hints):
    with pytest.raises(RecordAmbiguous, match="the unit of level could be 'm' \\(the file\\) or"):
        read_gauge(save(dataset()), **hints)
    assert read_gauge(save(dataset()), unit="metre").attrs["unit_given"] == "m"


@pytest.mark.parametrize(("units", "said"), [("degC", "unit cannot be 'degC'"), (None, "unit is not given")])
def test_unit_must_be_known(save, units, said):
    attributes = {"standard_name": NAME, **({} if units is None else {"units": units})}
    with pytest.raises(HintMissing, match=said):
        read_gauge(save(dataset(attributes=attributes)), datum="unknown")


def test_unit_that_is_more_than_a_unit_may_be_said(save):
    attributes = {"standard_name": NAME, "units": "meters above MLLW"}
    record = read_gauge(save(dataset(attributes=attributes)), datum="MLLW", unit="m")
    assert (record.attrs["unit_given"], record.attrs["unit_in_file"]) == ("m", "meters above MLLW")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (dataset(np.ones((2, 4)), dims=("station", "time")), "the variable 'zeta' has 2 axes \\(station 2, time 4\\)"),
        (dataset(attributes={"standard_name": NAME, "units": "m", "positive": "down"}), "counts downwards"),
        (dataset(time=("time", np.arange(4.0), {"units": "1"})), "no variable says the times of 'zeta'"),
        (dataset(time=("time", np.arange(4.0), {"units": "months since 2000-01-01"})), "no variable says the times"),
        (dataset(time=("time", np.arange(4.0), {**UNITS, "calendar": "360_day"})), "the calendar of time is '360_day'"),
        (dataset(time=("time", [0.0, 1, np.nan, 3], UNITS)), "a time is missing"),
        (dataset(LEVELS * np.nan), "all 4 levels are missing"),
        (dataset(LEVELS * 1000), "the level is 1500 m, where"),
        (dataset(time=("time", np.arange(4.0) * 1e9, UNITS)), "lies outside what can be computed"),
    ],
)
def test_refuses_what_is_no_record(save, content, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(save(content), datum="unknown")


def test_refuses_text_for_levels(save):
    content = dataset().assign(zeta=("time", ["a", "b", "c", "d"], {"units": "m"}))
    with pytest.raises(RecordUnreadable):
        read_gauge(save(content), variable="zeta", datum="unknown")


def test_refuses_a_variable_that_is_not_there(save):
    with pytest.raises(UnknownName, match="unknown variable 'eta'; known: zeta, time"):
        read_gauge(save(dataset()), variable="eta")


def test_refuses_text_as_marker(save):
    with pytest.raises(HintMissing, match="missing cannot be"):
        read_gauge(save(dataset()), missing="NA")


def test_netcdf_4_without_the_extra_says_what_to_install(save, monkeypatch):
    path = save(dataset(), "netcdf4")
    monkeypatch.setitem(sys.modules, "netCDF4", None)
    with pytest.raises(RecordUnreadable, match="expected the extra 'netcdf' \\(pip install 'ebbmark\\[netcdf\\]'\\)"):
        read_gauge(path)


@pytest.mark.parametrize("layout", ["NETCDF3_CLASSIC", "NETCDF3_64BIT"])
def test_netcdf_3_needs_no_extra(save, monkeypatch, layout):
    path = save(dataset(), format=layout)
    monkeypatch.setitem(sys.modules, "netCDF4", None)
    assert read_gauge(path).attrs["values"] == 3


def test_netcdf_3_with_wide_integers_is_read_with_the_extra(save):
    assert read_gauge(save(dataset(), "netcdf4", format="NETCDF3_64BIT_DATA")).attrs["values"] == 3


def test_refuses_an_axis_beyond_all_measure(save, monkeypatch):
    path = save(dataset(np.zeros(1001)), "netcdf4")
    monkeypatch.setattr("tidecore.gauges.cf_netcdf.MAX_VALUES", 1000)
    with pytest.raises(RecordUnreadable, match="the axis 'time' has 1001 values; expected at most 1000"):
        read_gauge(path)
    monkeypatch.setattr(packing, "MAX_VALUES", 1000)
    with pytest.raises(RecordUnreadable, match="the variable has 1001 values"):
        read_gauge(save(dataset(np.zeros(1001))))


@pytest.mark.parametrize("engine", ENGINES)
def test_cut_off_and_damaged_files_are_refused_or_read_but_never_crash(save, engine):
    path = save(dataset(np.linspace(0, 1, 50)), engine)
    whole = path.read_bytes()
    random = np.random.default_rng(7)
    refused = 0
    for length in random.integers(1, len(whole), 25):
        path.write_bytes(whole[:length])
        with pytest.raises(CoreError):
            read_gauge(path, "cf-netcdf")
    for _ in range(40):
        damaged = bytearray(whole)
        damaged[random.integers(4, len(whole))] = random.integers(256)
        path.write_bytes(bytes(damaged))
        try:
            read_gauge(path, "cf-netcdf")
        except CoreError:
            refused += 1
    assert refused > 0
