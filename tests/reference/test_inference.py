"""Inference against the MATLAB original of UTide, Foreman's worked example, and records held back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray

import tidecore
from tests.reference.inference import CASES, outcomes, read
from tests.reference.records import foreman, honolulu_as_written, honolulu_reference, table, tuktoyaktuk
from tidecore.errors import UnfitNeighbour


def test_a_week_of_honolulu_equals_the_original(open_data: Path) -> None:
    # S2 and N2 from M2, O1 from K1, with the ratios of the month: so the header of the reference.
    month = honolulu_reference(open_data, "HNL2010_Jan_reference.csv")
    pairs = {"S2": "M2", "N2": "M2", "O1": "K1"}
    infer = {
        name: (of, month[name].amplitude / month[of].amplitude, month[of].phase - month[name].phase)
        for name, of in pairs.items()
    }
    record = honolulu_as_written(open_data).isel(time=slice(0, 168))
    model = tidecore.fit(record, latitude=21.0, trend=True, infer=infer, quality="off")
    published = honolulu_reference(open_data, "HNL2010_Jan_week1_infer_S2_reference.csv")
    assert set(model.constituents) == set(published)
    for name, line in published.items():
        amplitude, phase = model.constituents[name]
        # The month's table prints ten digits, and so do the ratios made of it.
        assert amplitude == pytest.approx(line.amplitude, abs=1e-8), name
        assert abs((phase - line.phase + 180) % 360 - 180) < 1e-5, name


def test_the_worked_example_of_1977(open_data: Path) -> None:
    """Foreman (1977), Appendix 7.1 and 7.3: P1 from K1 and K2 from S2.

    He corrects K1 and S2 after the fit, here they are in the least squares: K1 and S2 differ by millimetres (0.1385 and
    0.1406 m are known for K1), but both go the same way from the plain fit, which is 16 and 11 degrees off in phase.
    """
    times, levels = tuktoyaktuk(open_data)
    record = xarray.Dataset({"sea_level": ("time", levels)}, coords={"time": times.astype("datetime64[ns]")})
    published = foreman(open_data)
    rows = table(open_data / "tuktoyaktuk" / "inference_used.csv")
    infer = {
        row["inferred"]: (row["reference"], float(row["amp_ratio"]), float(row["phase_ref_minus_inf_deg"]))
        for row in rows
    }
    names = [{"UPSI": "UPS1", "MS": "M8"}.get(name, name) for name in published if name not in ("Z0", "P1", "K2")]
    plain = tidecore.fit(record, latitude=69.45, constituents=names, nodal="linear_time", quality="off")
    model = tidecore.fit(record, latitude=69.45, constituents=names, nodal="linear_time", infer=infer, quality="off")
    for name in ("K1", "S2", "P1", "K2"):
        amplitude, phase = model.constituents[name]
        assert amplitude == pytest.approx(published[name].amplitude, abs=0.003), name
        assert abs((phase - published[name].phase + 180) % 360 - 180) < 1.5, name
    for name in ("K1", "S2"):
        assert abs((plain.constituents[name][1] - published[name].phase + 180) % 360 - 180) > 10.0, name


@pytest.mark.parametrize("case", CASES[:2], ids=["Portland", "Hillarys"])
def test_a_month_predicts_the_next_three_better_with_inference(open_data: Path, case) -> None:
    # One start of six; `python -m tests.reference.inference` judges them all, and says where its neighbours come from.
    (found,) = outcomes(case, open_data, slice(3, 4), with_snr=False)
    assert found.ratio <= case.limit


def test_the_nearest_gauge_of_another_type_is_refused(open_data: Path) -> None:
    record, latitude = read(open_data, "noaa/providence_8454000_hourly_2014-2017_MLLW.csv")
    hillarys, south = read(open_data, "bom/hillarys_2012-2014_hourly.csv")
    diurnal = tidecore.fit(hillarys.isel(time=slice(0, 24 * 200)), latitude=south, station="Hillarys")
    with pytest.raises(UnfitNeighbour, match="Hillarys"):
        tidecore.fit(record.isel(time=slice(0, 24 * 30)), latitude=latitude, neighbour=diurnal)
    assert np.isfinite(diurnal.form_number)
