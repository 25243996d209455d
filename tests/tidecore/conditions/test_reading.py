from __future__ import annotations

import io
import json
from typing import Any

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.conditions.issues import issue
from tidecore.conditions import ConditionIssue, read_conditions
from tidecore.errors import CoreError, InvalidInput, RecordTooLarge, RecordUnreadable, UnknownName

SAID = {
    "kind": "forecast",
    "source": "Invented Met",
    "issued_at": "2026-10-05T00:00:00Z",
    "waves_at": "offshore",
}

HEADER = (
    b"time,wave_height_ft,wave_peak_period_s,wave_from_degree,wind_speed (kn),air_temperature [degF],pressure_pa,"
    b"cloud_cover_okta,clarity\n"
)
TABLE = (
    HEADER
    + b"""2026-10-05T00:00Z,10,9,350,10,50,101300,4,tinge
2026-10-05T04:00+01:00,,9.5,10,20,59,,8,
"""
)


def problems(content: bytes, media: Any, **said: Any) -> list[str]:
    with pytest.raises(InvalidInput) as refused:
        read_conditions(content, media, **(SAID | said))
    return [f"{fault.field}: {fault.problem}" for fault in refused.value.faults]


def test_a_table_in_units_of_its_own():
    (read,) = read_conditions(TABLE, "csv", **SAID)
    assert read.to_document() == SAID | {
        "valid_until": None,
        "wave_period_kind": "peak",
        "times": ["2026-10-05T00:00:00Z", "2026-10-05T03:00:00Z"],
        "values": {
            # A foot is 0.3048 m, a knot 1852 m an hour.
            "wave_height_m": [pytest.approx(3.048), None],
            "wave_period_s": [9.0, 9.5],
            "wave_from_degree": [350.0, 10.0],
            "wind_speed_m_per_s": [pytest.approx(5.14444, abs=1e-5), pytest.approx(10.28889, abs=1e-5)],
            "air_temperature_c": [pytest.approx(10.0), pytest.approx(15.0)],
            "pressure_hpa": [pytest.approx(1013.0), None],
            "cloud_cover_percent": [50.0, 100.0],
            "clarity": ["tinge", None],
        },
    }


@pytest.mark.parametrize(
    ("header", "cell", "variable", "value"),
    [
        ("wave_height_m", "1.5", "wave_height_m", 1.5),
        ("wave_height (cm)", "150", "wave_height_m", 1.5),
        ("wind_speed_km_per_h", "36", "wind_speed_m_per_s", 10.0),
        ("wind_gust (m s-1)", "36", "wind_gust_m_per_s", 36.0),
        ("wind_gust (mph)", "10", "wind_gust_m_per_s", 4.4704),
        ("sea_temperature (K)", "285.15", "sea_temperature_c", 12.0),
        ("sea_temperature_c", "-1.5", "sea_temperature_c", -1.5),
        ("pressure (mbar)", "1013", "pressure_hpa", 1013.0),
        ("pressure_inhg", "30", "pressure_hpa", 1015.9167),
        ("rain (mm/h)", "2", "rain_mm_per_h", 2.0),
        ("thunder_probability_fraction", "0.25", "thunder_probability_percent", 25.0),
        ("visibility (km)", "8", "visibility_m", 8000.0),
        ("visibility_nmi", "1", "visibility_m", 1852.0),
        ("wind_from (°)", "270", "wind_from_degree", 270.0),
    ],
)
def test_units_are_converted(header, cell, variable, value):
    (read,) = read_conditions(f"time;{header}\n2026-10-05T00:00Z;{cell}\n".encode(), "csv", **SAID)
    assert getattr(read.values, variable) == (pytest.approx(value, rel=1e-9),)


@pytest.mark.parametrize(
    "header",
    ["wind_speed", "wind_speed_beaufort", "wind_speed ()", "wave_height_fathom", "pressure (bar)", "visibility (nm)",
     "wave_period", "swell_height_m", "temperature_c", "wind speed_kn", ""],
)  # fmt: skip
def test_a_unit_or_name_that_is_not_known_is_never_guessed(header):
    (said,) = problems(f"time,{header}\n2026-10-05T00:00Z,1\n".encode(), "csv")
    assert said == f"header.1: is {header!r}, which is not known"


def test_the_units_that_are_known_are_named():
    with pytest.raises(InvalidInput, match="wind_speed with one of the units m_per_s, km_per_h, kn, mph, as wind_spe"):
        read_conditions(b"time,wind_speed\n2026-10-05T00:00Z,1\n", "csv", **SAID)


def test_all_faults_of_a_header_are_told_at_once():
    said = problems(b"when,wave_height_m,wave_height_ft,sea\n2026-10-05T00:00Z,1,2,3\n", "csv")
    assert said == [
        "header.time: is there 0 times",
        "header.0: is 'when', which is not known",
        "header.2: is 'wave_height_ft', a second column of wave_height_m",
        "header.3: is 'sea', which is not known",
    ]


def test_all_faults_of_cells_are_told_at_once():
    said = problems(b"time,rain_mm_per_h,wind_speed_kn\n2026-10-05T00:00Z,wet,1\n\n2026-10-05T01:00Z,0,1.5.2\n", "csv")
    assert said == ["line.2.rain_mm_per_h: is 'wet'", "line.4.wind_speed_kn: is '1.5.2'"]
    assert problems(b"time,rain_mm_per_h\n2026-10-05T00:00Z,nan\n", "csv") == ["values.rain_mm_per_h.0: is nan"]


def test_a_period_without_a_kind_is_refused():
    said = problems(b"time,wave_period_s\n2026-10-05T00:00Z,9\n", "csv")
    assert said == ["wave_period_kind: is missing"]
    (read,) = read_conditions(
        b"time,wave_period_s\n2026-10-05T00:00Z,9\n", "csv", **SAID, wave_period_kind="zero_crossing"
    )
    assert read.wave_period_kind == "zero_crossing"
    other = problems(b"time,wave_peak_period_s\n2026-10-05T00:00Z,9\n", "csv", wave_period_kind="energy")
    assert other == ["wave_period_kind: is 'peak' in the file and 'energy' beside it"]


def test_what_nobody_says_is_missing():
    with pytest.raises(InvalidInput) as refused:
        read_conditions(b"time,wave_height_m\n2026-10-05T00:00Z,1\n", "csv")
    assert [fault.field for fault in refused.value.faults] == ["kind", "source", "issued_at"]
    assert problems(b"time,rain_mm_per_h\n2026-10-05T00:00,1\n", "csv") == ["times.0: is '2026-10-05T00:00'"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"\n\n", "the table is empty"),
        (b"time,rain_mm_per_h\n2026-10-05T00:00Z,1,2\n", "line 2: 3 cells; expected 2"),
        (b"time,rain_mm_per_h\n2026-10-05T00:00Z,\xff\n", "line 2: no UTF-8 text"),
        (b'time,rain_mm_per_h\n"2026-10-05T00:00Z,1\n', "no table"),
        (b"time,rain_mm_per_h\n" + b"2026-10-05T00:00Z,1\n" * 10_001, "has 10001 lines"),
    ],
)
def test_what_is_no_table_is_refused(content, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_conditions(content, "csv", **SAID)


def test_json_is_one_issue_or_several():
    one, other = issue([0, 1], rain_mm_per_h=[0, 1]), issue([3], rain_mm_per_h=[2])
    documents = [one.to_document(), other.to_document()]
    assert read_conditions(json.dumps(documents).encode(), "json") == (one, other)
    assert read_conditions(json.dumps(documents[0]).encode(), "json", source="Other Met")[0].source == "Other Met"
    documents[1]["values"]["rain_mm_per_h"] = [-1]
    with pytest.raises(InvalidInput, match=r"1\.values\.rain_mm_per_h\.0: is -1"):
        read_conditions(json.dumps(documents).encode(), "json")


@pytest.mark.parametrize("content", [b"{", b"\xff", b"[" * 100_000, b"12", b"[1]", b'"x"'])
def test_what_is_no_issue_is_refused(content):
    with pytest.raises((RecordUnreadable, InvalidInput), match=r"no JSON|too deep|a JSON object"):
        read_conditions(content, "json")


def test_what_may_not_be_said_is_refused():
    with pytest.raises(UnknownName, match="mark"):
        read_conditions(TABLE, "csv", mark="x")
    with pytest.raises(UnknownName, match="grib"):
        read_conditions(TABLE, "grib", **SAID)  # type: ignore[arg-type]
    with pytest.raises(RecordTooLarge):
        read_conditions(bytes(64_000_001), "csv", **SAID)


def test_a_file_may_be_named_by_its_path(tmp_path):
    path = tmp_path / "table.csv"
    path.write_bytes(TABLE)
    assert read_conditions(path, "csv", **SAID) == read_conditions(TABLE, "csv", **SAID)
    with pytest.raises(RecordUnreadable, match="cannot be opened"):
        read_conditions(tmp_path / "none.csv", "csv", **SAID)


def variable(name: str, values: Any, units: str | None, **more: Any) -> Any:
    attributes = {"standard_name": name} | ({} if units is None else {"units": units})
    return ("time", np.asarray(values), attributes | more)


def netcdf(variables: dict[str, Any], engine: str = "scipy", **attributes: Any) -> bytes:
    time = ("time", np.array([0.0, 3.0]), {"standard_name": "time", "units": "hours since 2026-10-05 00:00:00"})
    dataset = xr.Dataset(variables, coords={"time": time}, attrs=attributes)
    if engine == "scipy":
        buffer = io.BytesIO()
        dataset.to_netcdf(buffer, engine="scipy")
        return buffer.getvalue()
    return bytes(dataset.to_netcdf(engine="netcdf4"))


SPECTRAL = "sea_surface_wave_mean_period_from_variance_spectral_density"
FLOATS = np.array([1.2, -9.0], dtype=np.float32)
CF = {
    "hs": variable("sea_surface_wave_significant_height", FLOATS, "m", _FillValue=FLOATS[1]),
    "tp": variable("sea_surface_wave_period_at_variance_spectral_density_maximum", [9.0, 9.5], "s"),
    "te": variable(f"{SPECTRAL}_inverse_frequency_moment", [8.0, 8.5], "s"),
    "dir": variable("sea_surface_wave_to_direction", [30.0, 200.0], "degree"),
    "wind": variable("wind_speed", [5.0, 6.0], "m s-1"),
    "t2m": variable("air_temperature", [285.15, 286.15], "K"),
    "sst": variable("sea_surface_temperature", [12.0, 12.5], "degree_Celsius"),
    "msl": variable("air_pressure_at_mean_sea_level", [101300.0, 101200.0], "Pa"),
    "tcc": variable("cloud_area_fraction", [0.5, 1.0], "1"),
    "rain": variable("rainfall_flux", [0.0, 0.001], "kg m-2 s-1"),
    "other": variable("eastward_sea_water_velocity", [0.1, 0.2], "m s-1"),
    "issued": ((), np.float64(-1.0), {"standard_name": "forecast_reference_time", "units": "hours since 2026-10-05"}),
}  # fmt: skip


@pytest.mark.parametrize("engine", ["scipy", "netcdf4"])
def test_cf_variables_are_found_by_their_standard_names(engine):
    (read,) = read_conditions(
        netcdf(CF, engine, institution="Invented Met"), "netcdf", kind="forecast", waves_at="offshore"
    )
    assert read.to_document() == {
        "kind": "forecast",
        "source": "Invented Met",
        "issued_at": "2026-10-04T23:00:00Z",
        "valid_until": None,
        "waves_at": "offshore",
        "wave_period_kind": "peak",
        "times": ["2026-10-05T00:00:00Z", "2026-10-05T03:00:00Z"],
        "values": {
            "wave_height_m": [1.2, None],
            "wave_period_s": [9.0, 9.5],
            "wave_from_degree": [210.0, 20.0],
            "wind_speed_m_per_s": [5.0, 6.0],
            "air_temperature_c": [12.0, 13.0],
            "sea_temperature_c": [12.0, 12.5],
            "pressure_hpa": [1013.0, 1012.0],
            "cloud_cover_percent": [50.0, 100.0],
            "rain_mm_per_h": [0.0, 3.6],
        },
    }


def test_packed_values_and_single_places_are_read():
    packed = np.array([[[12]], [[15]]], dtype="i2")
    held = (("time", "lat", "lon"), packed, {"standard_name": "wind_speed", "units": "m/s", "scale_factor": 0.5})
    (read,) = read_conditions(netcdf({"w": held}), "netcdf", **SAID)
    assert read.values.wind_speed_m_per_s == (6.0, 7.5)


@pytest.mark.parametrize(
    ("variables", "said"),
    [
        ({"w": variable("wind_speed", [1.0, 2.0], "beaufort")}, "w.units: has the unit 'beaufort'"),
        ({"w": variable("wind_speed", [1.0, 2.0], None)}, "w.units: has no unit"),
        ({"a": variable("wind_speed", [1.0, 2.0], "m/s"), "b": variable("wind_speed", [1.0, 2.0], "m/s")},
         "wind_speed: is the standard name of a, b"),
        ({"w": variable("wind_speed", [-1.0, 2.0], "m/s")}, "values.wind_speed_m_per_s.0: is -1.0"),
    ],
)  # fmt: skip
def test_units_of_a_file_are_never_guessed(variables, said):
    assert problems(netcdf(variables), "netcdf") == [said]


WIDE = (("time", "lat"), np.ones((2, 3)), {"standard_name": "wind_speed", "units": "m/s"})


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no file", "does not begin as NetCDF does"),
        (netcdf(CF)[:200], "damaged or cut off"),
        (netcdf({"x": variable("eastward_wind", [1.0, 2.0], "m/s")}), "no variable has a standard name that is known"),
        (netcdf({"w": WIDE}), "has 2 axes"),
    ],
)
def test_what_is_no_file_of_one_place_is_refused(content, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_conditions(content, "netcdf", **SAID)


DOCUMENT = issue([0, 1], rain_mm_per_h=[0, 1]).to_document()
SAMPLES = {"csv": TABLE, "netcdf": netcdf(CF), "json": json.dumps(DOCUMENT).encode()}


@pytest.mark.parametrize("media", list(SAMPLES))
@given(data=st.data())
def test_damage_anywhere_is_read_or_refused(media, data):
    sample = SAMPLES[media]
    place = data.draw(st.integers(0, len(sample) - 1))
    other = data.draw(st.binary(max_size=2))
    try:
        found = read_conditions(sample[:place] + other + sample[place + len(other) :], media, **SAID)
    except CoreError:
        return
    assert all(isinstance(one, ConditionIssue) for one in found)
