from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import xarray
from hypothesis import given, settings
from hypothesis import strategies as st

import tidecore
from tidecore.errors import InvalidInput, InvalidPosition, RecordConstant, RecordOfTurns, RecordTooShort, UnknownName
from tidecore.harmonics import Harmonics
from tidecore.timebase import TimeGrid


def record(levels: np.ndarray, times: np.ndarray, **attrs: object) -> xarray.Dataset:
    return xarray.Dataset({"sea_level": ("time", levels)}, coords={"time": times.astype("datetime64[ns]")}, attrs=attrs)


def truth() -> Harmonics:
    return Harmonics(
        ("M2", "S2", "N2", "K1", "O1", "M4"),
        np.array([2.0, 0.7, 0.4, 0.15, 0.12, 0.2]),
        np.array([140.0, 190.0, 120.0, 20.0, 350.0, 10.0]),
        50.0,
        3.1,
    )


def of_truth(days: int = 60, step: str = "1h") -> xarray.Dataset:
    grid = TimeGrid.spanning("2021-03-01", np.datetime64("2021-03-01") + np.timedelta64(days, "D"), step)
    return record(truth().heights(grid), grid.times(), datum="invented datum", latitude=50.0)


@settings(max_examples=15, deadline=None)
@given(
    amplitudes=st.lists(st.floats(0.05, 3.0), min_size=4, max_size=4),
    phases=st.lists(st.floats(0.0, 359.9), min_size=4, max_size=4),
    latitude=st.floats(-80.0, 80.0),
    level=st.floats(-5.0, 5.0),
)
def test_fitting_what_was_predicted_gives_it_back(amplitudes, phases, latitude, level) -> None:
    from tidecore.harmonics.engine import solve

    given_ = Harmonics(("M2", "S2", "K1", "O1"), np.array(amplitudes), np.array(phases), latitude, level)
    grid = TimeGrid.spanning("2024-01-01", "2024-03-01", "1h")
    found = solve(grid.times_us(), given_.heights(grid), latitude, given_.names).harmonics
    assert found.mean_level == pytest.approx(level, abs=1e-6)
    for name, amplitude, phase in zip(given_.names, amplitudes, phases, strict=True):
        assert found.amplitude_of(name) == pytest.approx(amplitude, abs=1e-6)
        assert abs((found.phase_of(name) - phase + 180) % 360 - 180) < 1e-3


def test_a_model_says_what_it_was_made_of() -> None:
    model = tidecore.fit(of_truth(), station="Invented Head", constituents=["M2", "S2", "N2", "K1", "O1", "M4"])
    assert model.datum == "invented datum"
    assert model.station == "Invented Head"
    assert model.latitude == 50.0
    assert model.diagnostics is not None
    assert model.diagnostics.constituents == "given"
    assert model.diagnostics.first == "2021-03-01T00:00:00.000000Z"
    assert model.diagnostics.residual_rms_m < 1e-6
    assert model.diagnostics.variance_explained == pytest.approx(1.0)
    assert model.numerics == tidecore.NUMERICS
    assert len(model.input_hash) == 64


def test_the_input_hash_follows_every_input() -> None:
    base = of_truth(30)
    names = ["M2", "S2", "O1"]
    first = tidecore.fit(base, constituents=names)
    moved = base.copy(deep=True)
    moved["sea_level"][5] += 0.001
    hashes = {
        first.input_hash,
        tidecore.fit(moved, constituents=names).input_hash,
        tidecore.fit(base, latitude=51.0, constituents=names).input_hash,
        tidecore.fit(base, constituents=[*names, "K1"]).input_hash,
        tidecore.fit(base, constituents=names, trend=True).input_hash,
        tidecore.fit(base, constituents=names, nodal="none").input_hash,
    }
    assert len(hashes) == 6
    assert tidecore.fit(base, constituents=names).input_hash == first.input_hash


def test_missing_and_failed_values_do_not_enter() -> None:
    whole = of_truth(40)
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    spoilt = whole.copy(deep=True)
    quality = np.full(whole.sizes["time"], 1, dtype=np.uint8)
    spoilt["sea_level"][100:120] = np.nan
    spoilt["sea_level"][300] = 40.0
    quality[300] = 4
    spoilt["quality"] = ("time", quality)
    model = tidecore.fit(spoilt, constituents=names)
    assert model.diagnostics is not None
    assert model.diagnostics.missing == 21
    assert model.constituents["M2"][0] == pytest.approx(2.0, abs=1e-6)


def test_a_trend_is_reported_and_never_predicted() -> None:
    base = of_truth(60)
    days = np.arange(base.sizes["time"]) / 24
    sloped = record(base["sea_level"].values + 0.001 * (days - days.mean()), base["time"].values, latitude=50.0)
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    model = tidecore.fit(sloped, constituents=names, trend=True)
    assert model.diagnostics is not None
    assert model.diagnostics.trend_m_per_year == pytest.approx(0.365, abs=1e-3)
    assert model.diagnostics.residual_rms_m < 1e-6
    later = TimeGrid.spanning("2031-01-01", "2031-01-05", "1h")
    assert np.abs(model.heights(later) - truth().heights(later)).max() < 1e-4


def test_robust_fits_shrug_off_spikes() -> None:
    base = of_truth(40)
    levels = base["sea_level"].values.copy()
    levels[::97] += 3.0
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    spiked = record(levels, base["time"].values, latitude=50.0)
    plain, robust = (
        tidecore.fit(spiked, constituents=names, method=method, quality="off") for method in ("ols", "robust")
    )
    assert abs(robust.constituents["M2"][0] - 2.0) < abs(plain.constituents["M2"][0] - 2.0)
    assert robust.constituents["M2"][0] == pytest.approx(2.0, abs=1e-3)


def test_rayleigh_drops_what_a_month_cannot_separate() -> None:
    model = tidecore.fit(of_truth(30))
    assert model.diagnostics is not None
    assert {"P1", "K2", "T2"} <= set(model.diagnostics.rayleigh_dropped)
    assert not set(model.constituents) & set(model.diagnostics.rayleigh_dropped)


def test_a_day_is_too_short() -> None:
    with pytest.raises(RecordTooShort, match=r"0\.96 days with 24 valid values") as caught:
        tidecore.fit(of_truth(1))
    assert caught.value.needed_days == 6.9


def test_too_few_values_are_too_few() -> None:
    few = of_truth(60).isel(time=slice(None, None, 200))
    with pytest.raises(RecordTooShort, match="values"):
        tidecore.fit(few)


def test_no_value_at_all() -> None:
    empty = of_truth(20)
    empty["sea_level"][:] = np.nan
    with pytest.raises(RecordTooShort, match="0 valid values"):
        tidecore.fit(empty)


def test_a_level_that_never_moves() -> None:
    still = of_truth(30)
    still["sea_level"][:] = 1.25
    with pytest.raises(RecordConstant, match=r"1\.25 m"):
        tidecore.fit(still)


def test_high_and_low_waters_alone() -> None:
    turns = of_truth(30)
    turns.attrs["high_low_only"] = 1
    with pytest.raises(RecordOfTurns, match="high and low waters alone"):
        tidecore.fit(turns)
    assert tidecore.fit(turns, constituents=["M2", "S2"]).constituents.keys() == {"M2", "S2"}


@pytest.mark.parametrize("latitude", [95.0, float("nan"), -91.0])
def test_a_latitude_off_the_globe(latitude: float) -> None:
    with pytest.raises(InvalidPosition, match="latitude"):
        tidecore.fit(of_truth(20), latitude=latitude)


def test_no_latitude_at_all() -> None:
    nowhere = of_truth(20)
    del nowhere.attrs["latitude"]
    with pytest.raises(InvalidPosition, match="neither given nor stated"):
        tidecore.fit(nowhere)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"constituents": ["M2", "XX"]}, "'XX'"),
        ({"nodal": "sometimes"}, "nodal option"),
        ({"method": "magic"}, "method of fitting"),
    ],
)
def test_unknown_options_are_named(options: dict[str, Any], says: str) -> None:
    with pytest.raises(UnknownName, match=says):
        tidecore.fit(of_truth(30), **options)


@pytest.mark.parametrize("names", [[], ["M2", "M2"], "M2"])
def test_lists_of_constituents_that_make_no_sense(names: str | list[str]) -> None:
    with pytest.raises(InvalidInput, match="constituents"):
        tidecore.fit(of_truth(30), constituents=names)


def test_a_record_that_is_none() -> None:
    with pytest.raises(InvalidInput, match=r"record\.sea_level"):
        tidecore.fit(xarray.Dataset(), latitude=50.0)
    backwards = of_truth(20).isel(time=slice(None, None, -1))
    with pytest.raises(InvalidInput, match="ascend"):
        tidecore.fit(backwards)


def test_the_equator_can_be_fitted() -> None:
    model = tidecore.fit(of_truth(20), latitude=0.0, constituents=["M2", "O1"])
    assert np.isfinite(model.harmonics.amplitude).all()
