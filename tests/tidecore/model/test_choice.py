from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import xarray

import tidecore
from tests.reference.best_model import bracket, score
from tests.reference.shallow_channel import ChannelGauge, shallow_gauge
from tests.tidecore.model.test_fit import of_truth, record
from tidecore.errors import InvalidInput
from tidecore.harmonics import Harmonics
from tidecore.harmonics.compounds import compounds
from tidecore.harmonics.engine import rayleigh_choice, solve
from tidecore.model.choice import choose
from tidecore.model.node_powers import choose_node_powers
from tidecore.model.study import effective_days, offered_lines, study_of
from tidecore.timebase import US_PER_DAY, TimeGrid, microseconds


@pytest.fixture(scope="module")
def gauge() -> ChannelGauge:
    return shallow_gauge(step="10min")


@pytest.fixture(scope="module")
def chosen(gauge: ChannelGauge) -> tidecore.TideModel:
    return tidecore.fit(gauge.record)


def test_a_shallow_gauge_is_a_third_better_than_automatic(gauge: ChannelGauge, chosen: tidecore.TideModel) -> None:
    # Unchecked, the record stays whole: the spectrum behind the confidence of lines is slow where a value is left out.
    plain = score(tidecore.fit(gauge.record, constituents="rayleigh", quality="off"), gauge)
    ours = score(chosen, gauge)
    assert ours.deviation < 2.0 / 3.0 * plain.deviation
    # As README.md has it: 2.6 cm, 1.6 and 2.8 minutes, against 6.4 cm, 4.3 and 7.5 minutes.
    assert ours.deviation < 0.028
    assert plain.deviation == pytest.approx(0.064, abs=0.003)
    assert ours.high < 1.8 < 0.5 * plain.high
    assert ours.low < 3.0 < 0.5 * plain.low
    # What such gauges need: lines that utide lacks.
    assert set(chosen.constituents) & set(compounds())


def test_the_choice_is_explained(chosen: tidecore.TideModel) -> None:
    assert chosen.diagnostics is not None
    choice = json.loads(json.dumps(chosen.diagnostics.choice, allow_nan=False))
    assert choice["kind"] == "out_of_sample"
    tried = choice["tidal"]["tried"]
    taken = tried[choice["tidal"]["taken"]]
    assert taken["error_m"] == min(one["error_m"] for one in tried)
    assert {one["list"] for one in tried} == {"rayleigh", "utide", "composed"}
    assert choice["lines"] == len(chosen.constituents) == taken["lines"] + len(choice["slow"]["taken"])
    assert "SA" in choice["slow"]["taken"]
    for line in choice["slow"]["tried"]:
        assert line["taken"] == (line["name"] in choice["slow"]["taken"])
    powers = choice["node_powers"]
    assert powers["taken"] == (powers["error_with_m"] < powers["error_without_m"])
    assert set(chosen.diagnostics.snr) == set(chosen.constituents)
    assert chosen.diagnostics.snr["M2"] > 1e4


def test_a_chosen_model_survives_its_file(chosen: tidecore.TideModel, tmp_path: Path) -> None:
    chosen.save(tmp_path / "model.nc")
    again = tidecore.TideModel.open(tmp_path / "model.nc")
    assert again.to_document() == chosen.to_document()
    grid = TimeGrid.spanning("2031-01-01", "2031-01-03", "10min")
    assert np.array_equal(again.heights(grid), chosen.heights(grid))


def year(days: int = 200, seed: int = 3) -> xarray.Dataset:
    base = of_truth(days)
    noise = np.random.default_rng(seed).normal(0.0, 0.05, base.sizes["time"])
    return base.assign(sea_level=("time", base["sea_level"].values + noise))


def test_the_same_record_gives_the_same_choice_and_utides_coefficients() -> None:
    base = year()
    one, other = tidecore.fit(base), tidecore.fit(base)
    assert one.to_document() == other.to_document()
    assert one.diagnostics is not None
    assert one.diagnostics.constituents == "auto"
    assert {"M2", "S2", "N2", "K1", "O1", "M4"} <= set(one.constituents)
    assert not {"SA", "SSA"} & set(one.constituents)
    names = [name for name in one.constituents if name not in compounds()]
    same = tidecore.fit(base, constituents=list(one.constituents))
    for name in one.constituents:
        assert same.constituents[name][0] == pytest.approx(one.constituents[name][0], abs=1e-7)
    if len(names) == len(one.constituents):
        theirs = solve(microseconds(base["time"].values), base["sea_level"].values, 50.0, names).harmonics
        for name in names:
            assert theirs.amplitude_of(name) == pytest.approx(one.constituents[name][0], abs=1e-7)


def test_short_and_coarse_records_fall_back_to_rayleigh() -> None:
    short = tidecore.fit(of_truth(90))
    assert short.diagnostics is not None
    assert short.diagnostics.choice is not None
    assert short.diagnostics.choice["kind"] == "rayleigh"
    assert "too short" in short.diagnostics.choice["why"]
    assert set(short.constituents) == set(rayleigh_choice(effective_days(microseconds(of_truth(90)["time"].values)))[0])
    coarse = of_truth(400).isel(time=slice(None, None, 3))
    choice = choose(microseconds(coarse["time"].values), coarse["sea_level"].values, 50.0)
    assert "every 3 hours" in choice.explanation["why"]


def test_compounds_may_be_asked_for_but_not_of_robust_fits() -> None:
    model = tidecore.fit(year(60), constituents=["M2", "S2", "N2", "M4", "4MSN8"])
    assert model.constituents["4MSN8"][0] < 0.01
    with pytest.raises(InvalidInput, match="4MSN8 is unknown to robust"):
        tidecore.fit(year(60), constituents=["M2", "4MSN8"], method="robust")
    with pytest.raises(InvalidInput, match="'auto', 'rayleigh' or a list"):
        tidecore.fit(year(60), constituents="best")


def test_robust_fits_choose_among_what_utide_knows() -> None:
    model = tidecore.fit(year(190), method="robust")
    assert not set(model.constituents) & set(compounds())


@pytest.mark.parametrize("power", [0.0, -0.6])
def test_node_powers_are_found_where_they_are(power: float) -> None:
    names = ("M2", "S2", "N2", "M4", "K1", "O1")
    amplitude = np.array([2.0, 0.6, 0.35, 0.2, 0.1, 0.1])
    powers = np.array([power, 0.0, 0.0, 0.0, 0.0, 0.0])
    truth = Harmonics(names, amplitude, np.linspace(0, 300, 6), 52.0, 0.0, node_powers=powers)
    grid = TimeGrid.spanning("2009-01-01", "2014-01-01", "1h")
    levels = truth.heights(grid) + np.random.default_rng(5).normal(0.0, 0.1, grid.count)
    study = study_of(grid.times_us(), levels, 52.0, names, "exact", True)
    found = choose_node_powers(study, np.arange(6))
    assert found.explanation["powers"]["M2"] == pytest.approx(power, abs=0.12)
    assert found.explanation["taken"] == (power != 0.0) or abs(found.by_name.get("M2", 0.0)) < 0.12


def test_a_long_gap_counts_neither_as_span_nor_as_nothing() -> None:
    two = np.concatenate((np.arange(0, 730 * 24), np.arange(66 * 8766, 66 * 8766 + 366 * 24))) * 3_600_000_000
    assert effective_days(two) == pytest.approx(730 + 366, abs=1)
    one = np.delete(np.arange(0, 365 * 24), slice(3000, 3200)) * 3_600_000_000
    assert effective_days(one) == pytest.approx(365, abs=0.1)


def test_lines_that_come_too_close_are_not_offered_together() -> None:
    from tidecore.harmonics import arguments_of

    for days in (200.0, 1461.0):
        names = offered_lines(days)
        cycles = np.sort(arguments_of(names).speeds) * 24 / (2 * np.pi) * days
        assert np.diff(cycles).min() > 0.6
    assert len(offered_lines(1461.0)) > len(offered_lines(200.0)) > 100
    assert not set(offered_lines(1461.0, composed=False)) & set(compounds())


def parts(gap_days: int = 4000, above: float = 0.0, **attrs: object) -> list[xarray.Dataset]:
    model = Harmonics(("M2", "S2", "K1"), np.array([1.5, 0.5, 0.1]), np.array([10.0, 60.0, 200.0]), 50.0, 2.0)
    out = []
    for start, level in ((0, above), (gap_days, 0.0)):
        grid = TimeGrid(12_000 * US_PER_DAY + start * US_PER_DAY, 3_600_000_000, 24 * 60)
        out.append(record(model.heights(grid) + level, grid.times(), latitude=50.0, **attrs))
    return out


def test_parts_years_apart_are_one_fit() -> None:
    model = tidecore.fit(parts(datum="ACD"), constituents=["M2", "S2", "K1"])
    assert model.constituents["M2"] == pytest.approx((1.5, 10.0), abs=1e-4)
    assert model.mean_level == pytest.approx(2.0, abs=1e-5)
    assert model.diagnostics is not None
    assert model.diagnostics.values == 2 * 24 * 60
    assert model.diagnostics.choice is not None
    first, second = model.diagnostics.choice["parts"]
    assert first["values"] == second["values"] == 24 * 60
    assert first["last"] < second["first"]
    backwards = tidecore.fit(parts(datum="ACD")[::-1], constituents=["M2", "S2", "K1"])
    assert backwards.input_hash == model.input_hash


def test_levels_of_unknown_datums_are_brought_to_the_latest() -> None:
    model = tidecore.fit(parts(above=0.7), constituents=["M2", "S2", "K1"])
    assert model.mean_level == pytest.approx(2.0, abs=1e-4)
    assert model.diagnostics is not None
    assert model.diagnostics.choice is not None
    assert [one["offset_m"] for one in model.diagnostics.choice["parts"]] == pytest.approx([0.7, 0.0], abs=1e-4)
    assert model.diagnostics.residual_rms_m < 1e-5
    # One known datum means one mean level: then the difference is the sea's own and stays in the residual.
    shared = tidecore.fit(parts(above=0.7, datum="ACD"), constituents=["M2", "S2", "K1"])
    assert shared.mean_level == pytest.approx(2.35, abs=1e-3)


def test_parts_that_overlap_must_agree() -> None:
    from tidecore.errors import PartsDisagree

    alike = parts(gap_days=40, datum="ACD")
    model = tidecore.fit(alike, constituents=["M2", "S2", "K1"])
    assert model.diagnostics is not None
    assert model.diagnostics.values == 24 * 100
    apart = parts(gap_days=40, above=0.5, datum="ACD")
    with pytest.raises(PartsDisagree, match=r"differs from an earlier part by 0\.500 m .* 480 common values"):
        tidecore.fit(apart, constituents=["M2"])
    shifted = alike[1].assign_coords(time=alike[1]["time"].values + np.timedelta64(10, "m"))
    with pytest.raises(PartsDisagree, match="without a common instant"):
        tidecore.fit([alike[0], shifted], constituents=["M2"])
    moved = [alike[0], alike[1].assign_attrs(latitude=51.0)]
    with pytest.raises(PartsDisagree, match="latitudes 50 and 51"):
        tidecore.fit(moved, constituents=["M2"])
    empty = alike[1].assign(sea_level=("time", np.full(alike[1].sizes["time"], np.nan)))
    alone = tidecore.fit([alike[0], empty], constituents=["M2", "S2", "K1"])
    assert alone.diagnostics is not None
    assert (alone.diagnostics.values, alone.diagnostics.missing) == (24 * 60, 24 * 60)
    with pytest.raises(InvalidInput, match="there is none"):
        tidecore.fit([])


def test_the_bracket_of_two_errors_holds_their_ratio_and_widens_with_weeks_that_disagree():
    times = np.arange("2026-01-01", "2026-04-01", dtype="datetime64[h]").astype("datetime64[us]")
    even = np.where(np.arange(len(times)) % 2 == 0, 0.1, -0.1)
    assert bracket(times, 2.0 * even, even) == pytest.approx((2.0, 2.0))
    low, high = bracket(times, even * np.where(np.arange(len(times)) // 168 % 2 == 0, 0.5, 1.4), even)
    assert low < 0.98
    assert high > 1.1
