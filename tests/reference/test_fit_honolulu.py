"""Honolulu 2010 against the MATLAB original of UTide (Codiga 2011), which is independent of utide's Python code."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import tidecore
from tests.reference.records import honolulu, honolulu_as_written, honolulu_reference
from tidecore.units import UtcTimes

#: The reference prints ten digits; both solve the same least squares [m, degrees].
AMPLITUDE = 1e-9
PHASE = 1e-6


@pytest.mark.parametrize(
    ("reference", "hours"),
    [("HNL2010_reference.csv", 8760), ("HNL2010_Jan_reference.csv", 744), ("HNL2010_Jan_week1_reference.csv", 168)],
)
def test_fit_equals_the_original_with_its_trend_on(open_data: Path, reference: str, hours: int) -> None:
    record = honolulu_as_written(open_data).isel(time=slice(0, hours))
    assert record.sizes["time"] == hours
    published = honolulu_reference(open_data, reference)
    model = tidecore.fit(record, latitude=21.0, trend=True, constituents="rayleigh", quality="off")
    assert set(model.constituents) == set(published)
    for name, line in published.items():
        amplitude, phase = model.constituents[name]
        assert amplitude == pytest.approx(line.amplitude, abs=AMPLITUDE), name
        assert abs((phase - line.phase + 180) % 360 - 180) < PHASE, name


def test_diagnostics_of_a_year(open_data: Path) -> None:
    record = honolulu(open_data)
    model = tidecore.fit(record, latitude=21.0, constituents="rayleigh", quality="off")
    found = model.diagnostics
    assert found is not None
    level = record["sea_level"].values
    assert found.values == 8760
    assert found.trend_m_per_year is None
    # What the diagnostics say of the fit must be what its own heights leave of the record.
    residual = level - model.heights(record["time"].values)
    assert found.residual_rms_m == pytest.approx(np.sqrt(np.mean(residual**2)), abs=1e-9)
    assert found.variance_explained == pytest.approx(1 - residual.var() / level.var(), abs=1e-9)
    assert found.skill is not None
    assert 0.8 < found.skill < 1.0
    # The original's intervals and ours differ by up to 1.5% on a year: only the order of magnitude is held.
    assert found.snr["M2"] > 1e4
    # H1 and H2 lie a cycle a year from M2, a year resolves them; 18.6-year lines it can't.
    assert "M2" not in found.rayleigh_dropped


def test_skill_is_out_of_sample(open_data: Path) -> None:
    record = honolulu(open_data)
    times = record["time"].values.astype("datetime64[us]")
    border = times[0] + (times[-1] - times[0]) * 3 // 4
    early, late = record.sel(time=slice(None, border - 1)), record.sel(time=slice(border, None))
    model = tidecore.fit(early, latitude=21.0, constituents="rayleigh", quality="off")
    left = late["sea_level"].values - model.heights(late["time"].values)
    expected = 1 - left.var() / late["sea_level"].values.var()
    diagnostics = tidecore.fit(record, latitude=21.0, constituents="rayleigh", quality="off").diagnostics
    assert diagnostics is not None
    assert diagnostics.skill == pytest.approx(expected, abs=1e-6)
    short = tidecore.fit(record.isel(time=slice(0, 24 * 59)), latitude=21.0, quality="off").diagnostics
    assert short is not None
    assert short.skill is None


def test_a_prediction_equals_reconstruction_by_utide(open_data: Path) -> None:
    import utide

    record = honolulu(open_data)
    times: UtcTimes = record["time"].values.astype("datetime64[ns]")
    level = record["sea_level"].values
    solved = utide.solve(times, level, lat=21.0, trend=False, conf_int="none", verbose=False)
    model = tidecore.fit(record, latitude=21.0, constituents="rayleigh", quality="off")
    later = times[:2000] + np.timedelta64(4000, "D")
    theirs = utide.reconstruct(later, solved, min_SNR=0, verbose=False).h
    assert np.abs(model.heights(later) - theirs).max() < 1e-6
