"""Tuktoyaktuk 1975, the worked example of two publications.

Foreman (1977), Manual for tidal heights analysis and prediction, Pacific Marine Science Report 77-10, Appendix 7.3;
Pawlowicz, Beardsley and Lentz (2002), Computers & Geosciences 28, 929-937, Table 1. Both hold node factors at
mid-record. Both infer P1 from K1 and K2 from S2 after the fit, which changes K1 and S2: those four are left out here.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.reference.records import Line, foreman, pawlowicz, tuktoyaktuk
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import solve

#: The tables print 0.0001 m and 0.01 degree.
AMPLITUDE = 1e-4
PHASE = 0.02
INFERRED = {"P1", "K2"}
CHANGED_BY_INFERENCE = {"K1", "S2"}
#: The table's name -> the name of convention "utide"; "MS" in its last rows stands for M8.
RENAMED = {"UPSI": "UPS1", "MS": "M8"}


def fitted(folder: Path, names: list[str]) -> Harmonics:
    times, levels = tuktoyaktuk(folder)
    assert len(levels) == 1510
    return solve(times.view(np.int64), levels, 69.45, names, nodal="linear_time").harmonics


@pytest.mark.parametrize("source", [foreman, pawlowicz])
def test_the_published_analyses_come_out(open_data: Path, source) -> None:
    published: dict[str, Line] = {RENAMED.get(name, name): line for name, line in source(open_data).items()}
    names = [name for name in published if name != "Z0" and name not in INFERRED]
    model = fitted(open_data, names)
    assert model.mean_level == pytest.approx(published["Z0"].amplitude, abs=AMPLITUDE)
    compared = 0
    for name in names:
        if name in CHANGED_BY_INFERENCE:
            continue
        compared += 1
        assert model.amplitude_of(name) == pytest.approx(published[name].amplitude, abs=AMPLITUDE), name
        assert abs((model.phase_of(name) - published[name].phase + 180) % 360 - 180) <= PHASE, name
    assert compared == 34


def test_exact_node_factors_move_it_by_what_is_known(open_data: Path) -> None:
    times, levels = tuktoyaktuk(open_data)
    names = [name for name in foreman(open_data) if name not in INFERRED | {"Z0"}]
    exact = solve(times.view(np.int64), levels, 69.45, names).harmonics
    held = fitted(open_data, names)
    assert 1e-5 < np.abs(exact.amplitude - [held.amplitude_of(name) for name in exact.names]).max() < 5e-4
