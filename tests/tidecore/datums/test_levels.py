"""Tidal datums of tides whose datums can be told by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tidecore.datums import DATUMS, EPOCH, tidal_datums
from tidecore.errors import DatumsUnreliable, InvalidSpan
from tidecore.harmonics import Harmonics
from tidecore.model import FitDiagnostics, TideModel
from tidecore.timebase import TimeGrid, TimeSpan

SPAN_1983 = TimeSpan(np.datetime64("1983-01-01", "us"), np.datetime64("2002-01-01", "us"))


def tide(level: float = 3.0, nodal: str = "none", **amplitudes: float) -> Harmonics:
    rng = np.random.default_rng(11)
    values = np.array(list(amplitudes.values()))
    return Harmonics(tuple(amplitudes), values, rng.uniform(0, 360, values.size), 50.0, level, nodal=nodal)


@pytest.fixture(scope="module")
def springs() -> Harmonics:
    return tide(M2=2.0, S2=0.7)


@pytest.fixture(scope="module")
def model() -> TideModel:
    lines = {"M2": (2.0, 140.0), "S2": (0.7, 190.0), "SA": (0.1, 200.0)}
    return TideModel.from_constituents(lines, latitude=50.0, convention="utide", mean_level=3.0, datum="gauge zero")


def test_springs_and_neaps_of_two_lines_are_their_sum_and_difference(springs: Harmonics) -> None:
    found = tidal_datums(springs, "gauge zero")
    levels = found.levels
    # The larger of two successive pairs of waters is, on average over where the crest falls between the tides, within
    # a sixteenth of a fortnight of springs: by the mean of the envelope there 0.6% of S2 M2 / (M2 + S2) lower.
    for name, exact in (("MHWS", 5.7), ("MLWS", 0.3)):
        assert levels[name] == pytest.approx(exact, abs=0.012)
    for name, exact in (("MHWN", 4.3), ("MLWN", 1.7)):
        assert levels[name] == pytest.approx(exact, abs=0.03)
    assert found.approximations == pytest.approx({"MHWS": 5.7, "MHWN": 4.3, "MLWN": 1.7, "MLWS": 0.3})
    assert levels["HAT"] == pytest.approx(5.7, abs=1e-3)
    assert levels["LAT"] == pytest.approx(0.3, abs=1e-3)
    assert (levels["TcHHW"], levels["TcLLW"]) == (None, None)
    assert found.cycle == "springs-neaps"


def test_one_line_has_one_high_and_one_low_water() -> None:
    levels = tidal_datums(tide(M2=1.5), "gauge zero").levels
    for name, level in levels.items():
        expected = {"H": 4.5, "L": 1.5, "M": 3.0}[{"MSL": "M", "MTL": "M"}.get(name, "H" if "H" in name else "L")]
        if name in ("MHWS", "MHWN", "MLWN", "MLWS", "TcHHW", "TcLLW"):
            assert level is None, name  # its range doesn't vary
        else:
            assert level == pytest.approx(expected, abs=1e-6), name


def test_a_lone_high_water_counts_as_the_higher_one() -> None:
    levels = tidal_datums(tide(K1=0.5), "gauge zero").levels
    for name, exact in (("MHHW", 3.5), ("MHW", 3.5), ("MLW", 2.5), ("MLLW", 2.5)):
        assert levels[name] == pytest.approx(exact, abs=1e-6)


def test_a_diurnal_tide_has_tropic_levels_and_no_springs() -> None:
    found = tidal_datums(tide(K1=0.5, O1=0.4, M2=0.05), "gauge zero")
    levels = found.levels
    known = {name: level for name, level in levels.items() if level is not None}
    assert found.cycle == "tropic-equatorial"
    assert [levels[name] for name in ("MHWS", "MHWN", "MLWN", "MLWS")] == [None] * 4
    assert found.approximations == {}
    assert levels["TcHHW"] == pytest.approx(3.9, abs=0.06)
    assert levels["TcLLW"] == pytest.approx(2.1, abs=0.06)
    assert known["HAT"] >= known["TcHHW"] > known["MHHW"] > known["MLLW"] > known["TcLLW"] >= known["LAT"]


@pytest.mark.parametrize(
    "amplitudes", [{"M2": 2.0, "S2": 0.7, "K1": 0.3, "O1": 0.2}, {"M2": 0.5, "S2": 0.2, "K1": 0.6}]
)
def test_levels_come_in_order(amplitudes: dict[str, float]) -> None:
    levels = tidal_datums(tide(nodal="exact", **amplitudes), "gauge zero").levels
    known = np.array([levels[name] for name in ("HAT", "MHHW", "MHW", "MTL", "MLW", "MLLW", "LAT")], dtype=np.float64)
    assert (np.diff(known) < 0.0).all()
    assert list(levels) == list(DATUMS)


def test_highest_and_lowest_tide_are_those_of_every_minute() -> None:
    """Against levels every 6 minutes over 19 years, seasonal lines included."""
    one = tide(nodal="exact", M2=1.2, S2=0.4, K1=0.3, O1=0.2, SA=0.15, SSA=0.05)
    found = tidal_datums(one, "gauge zero", SPAN_1983)
    heights = one.heights(TimeGrid.spanning(SPAN_1983.start, SPAN_1983.end, "6min"))
    assert found.levels["HAT"] == pytest.approx(heights.max(), abs=2e-3)
    assert found.levels["HAT"] >= heights.max() - 1e-7
    assert found.levels["LAT"] <= heights.min() + 1e-7
    assert (found.span, found.extreme_span) == (SPAN_1983, SPAN_1983)


def test_levels_move_with_the_mean_level(springs: Harmonics) -> None:
    low, high = (tidal_datums(replace(springs, mean_level=level), "gauge zero").levels for level in (0.0, 2.5))
    for name, level in low.items():
        assert high[name] == (None if level is None else pytest.approx(level + 2.5, abs=1e-9))


def test_no_tide_stays_at_mean_sea_level() -> None:
    levels = tidal_datums(Harmonics(("M2",), np.zeros(1), np.zeros(1), 50.0, 1.0), "gauge zero").levels
    assert {name for name, level in levels.items() if level is not None} == {"MSL", "HAT", "LAT"}
    assert [levels[name] for name in ("HAT", "LAT", "MSL")] == pytest.approx([1.0] * 3)


def test_the_standard_span_is_a_nodal_cycle_and_extremes_take_19_years(model: TideModel) -> None:
    found = model.datums()
    assert found.span == EPOCH
    assert found.span.days == 6798.0
    assert found.extreme_span.days == 6940.0
    assert found.datum == "gauge zero"
    assert found.levels == pytest.approx(model.datums("2001-01-01", EPOCH.end).levels)


def test_a_span_under_a_nodal_cycle_is_refused(model: TideModel) -> None:
    with pytest.raises(InvalidSpan, match="at least 6793 days"):
        model.datums("2001-01-01", "2011-01-01")
    with pytest.raises(InvalidSpan, match="not after"):
        model.datums("2001-01-01", "1999-01-01")


def diagnostics(first: str, last: str) -> FitDiagnostics:
    return FitDiagnostics(first, last, 100, 0, 0.1, 0.9, None, {}, (), "auto", "exact", "ols", None, {})


def test_datums_from_under_a_year_are_refused_unless_asked_for(model: TideModel) -> None:
    short = replace(model, diagnostics=diagnostics("2020-01-01T00:00:00.000000Z", "2020-06-01T00:00:00.000000Z"))
    with pytest.raises(DatumsUnreliable, match="152 days of data; datums need 365"):
        short.datums()
    found = short.datums(short_record=True)
    assert (found.flags, found.record_days) == (("short_record",), 152.0)
    long = replace(model, diagnostics=diagnostics("2019-01-01T00:00:00.000000Z", "2020-06-01T00:00:00.000000Z"))
    assert (long.datums().flags, model.datums().record_days) == ((), None)
