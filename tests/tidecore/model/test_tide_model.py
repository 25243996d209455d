from __future__ import annotations

import json
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tidecore
from tests.tidecore.model.test_fit import of_truth
from tidecore.errors import InvalidConstituents, ModelUnreadable, UnknownName
from tidecore.timebase import TimeGrid

GRID = TimeGrid.spanning("2026-05-01", "2026-05-03", "10min")
LINES = {"M2": (2.0, 140.0), "S2": (0.7, 190.0), "K1": (0.1, 20.0), "O1": (0.1, 350.0)}


def given_model(**options: Any) -> tidecore.TideModel:
    return tidecore.TideModel.from_constituents(LINES, latitude=50.0, convention="utide", mean_level=3.0, **options)


@pytest.fixture(scope="module")
def fitted() -> tidecore.TideModel:
    return tidecore.fit(of_truth(61), station="Invented Head")


def same(one: tidecore.TideModel, other: tidecore.TideModel) -> None:
    assert one.to_document() == other.to_document()
    assert np.array_equal(one.heights(GRID), other.heights(GRID))


def test_a_fitted_model_survives_netcdf(fitted: tidecore.TideModel, tmp_path: Path) -> None:
    fitted.save(tmp_path / "model.nc")
    same(tidecore.TideModel.open(tmp_path / "model.nc"), fitted)
    assert [path.name for path in tmp_path.iterdir()] == ["model.nc"]


def test_a_fitted_model_survives_json_and_pickle(fitted: tidecore.TideModel) -> None:
    text = json.dumps(fitted.to_document(), allow_nan=False)
    same(tidecore.TideModel.from_document(json.loads(text)), fitted)
    same(pickle.loads(pickle.dumps(fitted)), fitted)


@settings(max_examples=15, deadline=None)
@given(
    amplitude=st.floats(0.0, 50.0), phase=st.floats(-1e6, 1e6), latitude=st.floats(-90, 90), level=st.floats(-1e3, 1e3)
)
def test_any_model_survives_its_document(amplitude: float, phase: float, latitude: float, level: float) -> None:
    from dataclasses import replace

    from tidecore.harmonics import Harmonics

    lines = Harmonics(("M2", "N2"), np.array([amplitude, 0.1]), np.array([phase, 0.0]), latitude, level)
    model = replace(given_model(), harmonics=lines)
    again = tidecore.TideModel.from_document(json.loads(json.dumps(model.to_document())))
    assert again.to_document() == model.to_document()


def test_the_file_is_readable_by_others(fitted: tidecore.TideModel, tmp_path: Path) -> None:
    import xarray

    fitted.save(tmp_path / "model.nc")
    with xarray.open_dataset(tmp_path / "model.nc", engine="scipy") as dataset:
        assert dataset["amplitude"].attrs["units"] == "m"
        assert dataset.attrs["datum"] == "invented datum"
        names = [str(name, "ascii") for name in dataset["constituent"].values]
        assert dict(zip(names, dataset["amplitude"].values, strict=True))["M2"] == fitted.constituents["M2"][0]


def test_a_damaged_file_is_said_to_be_one(fitted: tidecore.TideModel, tmp_path: Path) -> None:
    path = tmp_path / "model.nc"
    fitted.save(path)
    whole = path.read_bytes()
    for content in (b"", b"not a file of this kind", whole[: len(whole) // 2], whole[:40]):
        path.write_bytes(content)
        with pytest.raises(ModelUnreadable, match="tide model"):
            tidecore.TideModel.open(path)
    with pytest.raises(FileNotFoundError):
        tidecore.TideModel.open(tmp_path / "absent.nc")


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("datum"),
        lambda d: d.update(format="ebbmark tide model 99"),
        lambda d: d["harmonics"].update(convention="guess"),
        lambda d: d["harmonics"]["amplitude_m"].append(1.0),
        lambda d: d["harmonics"].update(latitude=95.0),
        lambda d: d.update(harmonics=None),
        lambda d: d.update(diagnostics={"skill": 1}),
    ],
)
def test_a_damaged_document_is_said_to_be_one(spoil) -> None:
    document = given_model().to_document()
    spoil(document)
    with pytest.raises(ModelUnreadable):
        tidecore.TideModel.from_document(document)


def test_a_failed_save_leaves_nothing(tmp_path: Path) -> None:
    model = given_model()
    target = tmp_path / "folder"
    target.mkdir()
    (target / "in the way").write_text("")
    with pytest.raises(OSError, match="folder"):
        model.save(target)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder"]


def test_convention_is_required_and_named() -> None:
    with pytest.raises(TypeError, match="convention"):
        tidecore.TideModel.from_constituents(LINES, latitude=50.0)  # type: ignore[call-arg]
    with pytest.raises(UnknownName, match="'guess'"):
        tidecore.TideModel.from_constituents(LINES, latitude=50.0, convention="guess")


def test_no_constituents() -> None:
    with pytest.raises(InvalidConstituents, match="at least one"):
        tidecore.TideModel.from_constituents({}, latitude=50.0, convention="utide")


def test_what_follows_from_constituents_is_computed_once() -> None:
    model = given_model(datum="invented datum", station="Invented Head")
    assert model.form_number == pytest.approx(0.2 / 2.7)
    assert model.mean_level == 3.0
    assert model.constituents == LINES
    # Springs of M2 and S2 alone range over 2 (2.0 + 0.7) = 5.4 m; the diurnal lines add a little.
    assert model.mean_spring_range == pytest.approx(5.4, abs=0.35)
    # A sinusoid of that range has the peak rate pi * range / period; a spring tide's half takes 6.2 h.
    assert model.flow_normaliser == pytest.approx(np.pi * 5.3 / 12.42, rel=0.1)


def test_flow_is_signed_by_flood_and_ebb() -> None:
    model = given_model()
    flow = model.flow_index(GRID)
    assert np.all(np.sign(flow) == np.sign(model.rates(GRID)))
    assert np.abs(flow).max() < 1.6
    assert model.flow_index(np.array([], dtype="datetime64[us]")).shape == (0,)


def test_extremes_and_cycle_are_reachable() -> None:
    model = given_model()
    events = model.extremes("2026-05-01", "2026-05-08")
    assert 26 <= len(events) <= 28
    cycle = model.range_cycle("2026-05-01", "2026-06-01")
    assert len(cycle.springs_us) >= 2
