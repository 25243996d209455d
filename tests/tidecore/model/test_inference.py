from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import xarray
from hypothesis import given, settings
from hypothesis import strategies as st

import tidecore
from tidecore import TideModel
from tidecore.errors import InvalidInput, UnfitNeighbour, UnknownName
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import solve
from tidecore.harmonics.inference import InferredLine, lines_from, lines_of
from tidecore.timebase import TimeGrid

#: An invented coast: a mixed tide with P1 and K2 at the usual ratios to K1 and S2.
LINES = {
    "M2": (0.60, 40.0),
    "S2": (0.20, 80.0),
    "K2": (0.06, 74.0),
    "N2": (0.12, 20.0),
    "NU2": (0.025, 24.0),
    "K1": (0.20, 200.0),
    "P1": (0.065, 196.0),
    "O1": (0.15, 185.0),
    "M4": (0.03, 10.0),
}


def station(lines: dict[str, tuple[float, float]], name: str = "Invented Point") -> TideModel:
    return TideModel.from_constituents(lines, latitude=-38.0, convention="utide", station=name)


def month(lines: dict[str, tuple[float, float]], days: int = 30) -> xarray.Dataset:
    grid = TimeGrid.spanning("2022-02-01", np.datetime64("2022-02-01") + np.timedelta64(days, "D"), "1h")
    # A micrometre of noise: a record without any has no signal-to-noise ratio.
    levels = station(lines).heights(grid) + 1e-6 * np.random.default_rng(7).standard_normal(grid.count)
    times = grid.times().astype("datetime64[ns]")
    return xarray.Dataset({"sea_level": ("time", levels)}, coords={"time": times}, attrs={"latitude": -38.0})


def scaled(amplitude: float, phase: float) -> dict[str, tuple[float, float]]:
    """The tide of a neighbour: as much larger and later in every line of a species."""
    return {name: (size * amplitude, (lag + phase) % 360.0) for name, (size, lag) in LINES.items()}


@pytest.fixture(scope="module")
def far() -> TideModel:
    return station(scaled(1.2, 10.0), "Far Head")


@pytest.fixture(scope="module")
def beside(far: TideModel) -> TideModel:
    """What a month beside a neighbour gives."""
    return tidecore.fit(month(LINES), neighbour=far)


@pytest.fixture(scope="module")
def alone() -> TideModel:
    """What the same month gives without."""
    return tidecore.fit(month(LINES))


# Everything here is linear in both: three neighbours show what a hundred would.
@settings(max_examples=3, deadline=None)
@given(amplitude=st.floats(0.3, 3.0), phase=st.floats(0.0, 359.0))
def test_a_month_beside_a_neighbour_with_the_same_ratios_gives_the_whole_tide(amplitude, phase) -> None:
    # By Rayleigh's criterion a month leaves K2, NU2 and P1 with S2, N2 and K1.
    model = tidecore.fit(month(LINES), neighbour=station(scaled(amplitude, phase)))
    assert {"K2", "NU2", "P1"} <= set(model.constituents)
    for name, (size, lag) in LINES.items():
        found, later = model.constituents[name]
        assert found == pytest.approx(size, abs=2e-6)
        assert abs((later - lag + 180) % 360 - 180) < 0.01


def test_the_model_says_what_was_inferred_and_from_where(far, beside, alone) -> None:
    model, plain = beside, alone
    assert model.diagnostics is not None
    inferred = model.diagnostics.inferred
    assert inferred is not None
    assert inferred["source"]["kind"] == "neighbour"
    assert inferred["source"]["station"] == "Far Head"
    assert inferred["source"]["input_hash"] == far.input_hash
    by_name = {line["name"]: line for line in inferred["lines"]}
    assert {name: line["reference"] for name, line in by_name.items()} == {"K2": "S2", "NU2": "N2", "P1": "K1"}
    assert by_name["P1"]["amplitude_ratio"] == pytest.approx(0.065 / 0.20)
    assert by_name["P1"]["phase_offset_deg"] == pytest.approx(4.0)  # g of the reference less g of the line
    assert plain.diagnostics is not None
    assert plain.diagnostics.inferred is None
    assert plain.input_hash != model.input_hash
    again = TideModel.from_document(model.to_document())
    assert again.to_document() == model.to_document()


def test_a_model_kept_before_there_was_inference_is_read(alone) -> None:
    document = alone.to_document()
    del document["diagnostics"]["inferred"]
    found = TideModel.from_document(document)
    assert found.diagnostics is not None
    assert found.diagnostics.inferred is None


def test_a_saved_model_keeps_what_was_inferred(beside, tmp_path) -> None:
    beside.save(tmp_path / "model.nc")
    assert TideModel.open(tmp_path / "model.nc").to_document() == beside.to_document()


def test_given_ratios_do_what_those_of_a_neighbour_do() -> None:
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    neighbour = {name: LINES[name] for name in LINES if name != "NU2"}
    given_ = {"P1": ("K1", 0.325, 4.0), "K2": ("S2", 0.3, 6.0)}
    beside = tidecore.fit(month(LINES), constituents=names, neighbour=station(neighbour))
    alone = tidecore.fit(month(LINES), constituents=names, infer=given_)
    assert set(alone.constituents) == set(beside.constituents)
    for name, (size, lag) in beside.constituents.items():
        assert alone.constituents[name] == pytest.approx((size, lag), abs=1e-9)
    assert alone.diagnostics is not None
    assert alone.diagnostics.inferred is not None
    assert alone.diagnostics.inferred["source"] == {"kind": "given"}


def test_a_line_that_the_record_separates_is_left_to_it() -> None:
    model = tidecore.fit(month(LINES, 220), neighbour=station(scaled(1.2, 10.0)))
    assert model.diagnostics is not None
    assert model.diagnostics.inferred is not None
    assert not {"P1", "K2", "NU2"} & {line["name"] for line in model.diagnostics.inferred["lines"]}
    assert {"P1", "K2"} <= set(model.constituents)


def test_skill_is_told_with_what_the_shorter_part_needs() -> None:
    # Of 100 days the first 75 are fitted for the skill: they infer too, or P1 and K2 would cost it.
    beside = tidecore.fit(month(LINES, 100), neighbour=station(scaled(1.2, 10.0))).diagnostics
    alone = tidecore.fit(month(LINES, 100)).diagnostics
    assert beside is not None
    assert alone is not None
    assert beside.skill is not None
    assert alone.skill is not None
    assert beside.skill > 0.999_999 > alone.skill


def test_robust_fits_infer_too() -> None:
    record = month(LINES)
    record["sea_level"][::97] += 2.0
    neighbour = station(scaled(1.2, 10.0))
    plain, robust = (
        tidecore.fit(record, neighbour=neighbour, method=method, quality="off") for method in ("ols", "robust")
    )
    off = [abs(one.constituents["P1"][0] - LINES["P1"][0]) for one in (plain, robust)]
    assert off[1] < 1e-3 < off[0]


def test_compounds_and_lines_lost_in_noise_are_not_passed_on() -> None:
    lines = LINES | {"MK4": (0.01, 3.0), "MS4": (0.02, 3.0), "SSA": (0.03, 10.0)}
    found = lines_from(station(lines).harmonics, ("M2", "S2", "MS4", "K1"), ("MK4", "SSA", "K2", "P1"))
    assert [line.name for line in found] == ["K2", "P1"]


def test_of_another_convention_only_lines_with_the_same_argument_are_taken() -> None:
    # Published tables call LDA2 otherwise, and count S1, M1 and L2 from elsewhere.
    names = ("M2", "LAM2", "RHO", "S1", "M1", "L2", "SA", "MA2", "P1")
    there: Any = SimpleNamespace(names=names, amplitude=np.full(9, 0.1), phase=np.arange(9.0), convention="noaa")
    assert lines_of(there) == {"M2": (0.1, 0.0), "LDA2": (0.1, 1.0), "RHO1": (0.1, 2.0), "P1": (0.1, 8.0)}


def test_a_reference_is_the_nearest_line_that_is_twice_as_large() -> None:
    lines = LINES | {"T2": (0.11, 75.0), "PI1": (0.02, 190.0)}
    found = lines_from(station(lines).harmonics, ("M2", "S2", "K1", "O1"), ("T2", "PI1", "NU2", "P1"))
    assert {line.name: line.reference for line in found} == {"T2": "M2", "PI1": "K1", "NU2": "M2", "P1": "K1"}


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ({"M2": (0.02, 40.0), "S2": (0.01, 80.0), "K1": (0.3, 200.0), "O1": (0.3, 185.0)}, "diurnal tide"),
        ({"M2": (3.0, 40.0), "S2": (1.0, 80.0), "K1": (0.1, 200.0), "O1": (0.1, 185.0)}, "semidiurnal tide"),
        ({"M2": (0.6, 40.0), "S2": (0.2, 80.0), "K1": (0.2, 200.0)}, "has no O1"),
        ({"M2": (0.6, 40.0), "S2": (0.2, 80.0), "K1": (0.2, 200.0), "O1": (0.0, 1.0)}, "has no O1"),
    ],
)
def test_a_neighbour_of_another_type_is_refused(lines, said) -> None:
    with pytest.raises(UnfitNeighbour, match=said) as refused:
        tidecore.fit(month(LINES), neighbour=station(lines, "Other Sea"))
    assert refused.value.station == "Other Sea"
    assert refused.value.expected


def test_a_border_between_two_types_separates_no_neighbours() -> None:
    # Form numbers 0.24 and 0.27: two types in name, one tide.
    here = {"M2": (1.0, 40.0), "S2": (0.3, 80.0), "K1": (0.18, 200.0), "P1": (0.06, 200.0), "O1": (0.132, 185.0)}
    there = here | {"K1": (0.215, 200.0), "O1": (0.136, 185.0)}
    model = tidecore.fit(month(here), neighbour=station(there))
    assert model.form_number < 0.25 < station(there).form_number
    assert model.diagnostics is not None
    assert model.diagnostics.inferred is not None


def test_a_neighbour_without_node_factors_is_refused() -> None:
    lines = tuple(LINES)
    amplitude, phase = (np.array([LINES[name][k] for name in lines]) for k in (0, 1))
    flat = TideModel.made_of(Harmonics(lines, amplitude, phase, -38.0, nodal="none"), "Flat", "unknown", None, "0" * 64)
    with pytest.raises(UnfitNeighbour, match="node factors"):
        tidecore.fit(month(LINES), neighbour=flat)
    assert tidecore.fit(month(LINES), neighbour=flat, nodal="none").diagnostics is not None


@pytest.mark.parametrize(
    ("infer", "field"),
    [
        ({"P1": ("P1", 0.3, 0.0)}, "infer.P1"),
        ({"P1": ("K1", 0.3, 0.0), "K1": ("O1", 1.0, 0.0)}, "infer.P1"),
        ({"P1": ("K1", -0.3, 0.0)}, "infer.P1.amplitude_ratio"),
        ({"P1": ("K1", float("nan"), 0.0)}, "infer.P1.amplitude_ratio"),
        ({"P1": ("K1", "0.3", 0.0)}, "infer.P1.amplitude_ratio"),
        ({"P1": ("K1", 0.3, float("inf"))}, "infer.P1.phase_offset_deg"),
        ({"P1": ("K1", 0.3)}, "infer.P1"),
        ({"T2": ("K2", 0.3, 0.0)}, "infer.T2"),
    ],
)
def test_ratios_that_make_no_sense_are_refused(infer, field) -> None:
    with pytest.raises(InvalidInput) as refused:
        tidecore.fit(month(LINES), infer=infer)
    assert refused.value.faults[0].field == field
    assert refused.value.faults[0].expected


def test_ratios_and_a_neighbour_exclude_each_other_and_names_are_known() -> None:
    with pytest.raises(InvalidInput, match="exclude"):
        tidecore.fit(month(LINES), infer={"P1": ("K1", 0.3, 0.0)}, neighbour=station(LINES))
    with pytest.raises(UnknownName):
        tidecore.fit(month(LINES), infer={"P9": ("K1", 0.3, 0.0)})


def test_it_is_what_the_library_does_with_the_same_ratios() -> None:
    import utide
    from utide.utilities import Bunch

    record = month(LINES)
    times, levels = record["time"].values, record["sea_level"].values + 0.01 * np.sin(np.arange(720.0) ** 1.1)
    names = ["M2", "S2", "N2", "K1", "O1"]
    lines = [
        InferredLine("P1", "K1", 0.31, 5.0),
        InferredLine("K2", "S2", 0.27, -4.0),
        InferredLine("T2", "S2", 0.06, 2.0),
    ]
    found = solve(times.astype("datetime64[us]").view(np.int64), levels, -38.0, names, inferred=lines).harmonics
    theirs = utide.solve(
        times, levels, lat=-38.0, constit=names, trend=False, conf_int="none", verbose=False,
        infer=Bunch(inferred_names=["P1", "K2", "T2"], reference_names=["K1", "S2", "S2"],
                    amp_ratios=[0.31, 0.27, 0.06], phase_offsets=[5.0, -4.0, 2.0], approximate=False),
    )  # fmt: skip
    for name, amplitude, phase in zip(theirs.name, theirs.A, theirs.g, strict=True):
        assert found.amplitude_of(str(name)) == pytest.approx(amplitude, abs=1e-9)
        assert abs((found.phase_of(str(name)) - phase + 180) % 360 - 180) < 1e-6
    assert found.amplitude_of("P1") / found.amplitude_of("K1") == pytest.approx(0.31)
    assert found.phase_of("K1") - found.phase_of("P1") == pytest.approx(5.0)
