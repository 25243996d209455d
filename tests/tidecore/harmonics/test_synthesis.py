from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.errors import InvalidConstituents, InvalidPosition, InvalidSpan, UnknownName
from tidecore.harmonics import Harmonics, heights_at_stations
from tidecore.harmonics.arguments import table_names
from tidecore.timebase import US_PER_DAY, TimeGrid, from_microseconds

#: What every path is held to against utide [m].
MICROMETRE = 1e-6
#: The paths among themselves, for amplitudes of some metres [m].
PATHS = 5e-8

NAMES = ("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1", "M4", "MS4", "M6", "M8", "SSA", "L2", "NO1", "2SM6", "M3")


def shallow(latitude: float = 50.0, level: float = 3.2) -> Harmonics:
    rng = np.random.default_rng(7)
    amplitude = np.array([2.1, 0.8, 0.4, 0.2, 0.1, 0.1, 0.03, 0.02, 0.3, 0.2, 0.1, 0.03, 0.05, 0.1, 0.02, 0.05, 0.01])
    return Harmonics(NAMES, amplitude, rng.uniform(0, 360, len(NAMES)), latitude, level)


def by_utide(model: Harmonics, times: np.ndarray) -> np.ndarray:
    """Heights by utide's own basis functions at exact times."""
    from utide._ut_constants import constit_index_dict
    from utide.harmonics import ut_E

    days = times.astype("datetime64[us]").astype(np.int64) / US_PER_DAY + 719163.0
    index = [constit_index_dict[name] for name in model.names]
    basis = ut_E(days, 0.0, np.zeros(len(index)), index, model.latitude, [False] * 4, [])
    return model.mean_level + (basis @ (model.amplitude * np.exp(-1j * np.radians(model.phase)))).real


@pytest.mark.parametrize("latitude", [50.0, -33.0, 2.0, 69.0])
@pytest.mark.parametrize("start", ["1850-03-01T00:00:07", "1999-12-31", "2026-02-11T05:20", "2150-06-01"])
def test_grids_agree_with_utide(latitude: float, start: str) -> None:
    model = shallow(latitude)
    grid = TimeGrid.spanning(start, np.datetime64(start) + np.timedelta64(9, "D"), "1min")
    assert np.abs(model.heights(grid) - by_utide(model, grid.times())).max() < MICROMETRE


@pytest.mark.parametrize("step", ["7min", "13s", "5h", "30h", "1d", "6h"])
def test_any_step_agrees_with_utide(step: str) -> None:
    model = shallow()
    grid = TimeGrid.spanning("2026-01-01T00:13:01", "2026-01-12", step)
    assert np.abs(model.heights(grid) - by_utide(model, grid.times())).max() < MICROMETRE


def test_scattered_times_agree_with_utide_in_any_order_and_shape() -> None:
    model = shallow()
    ticks = np.random.default_rng(3).integers(0, 400 * US_PER_DAY, (20, 50)) + 19_000 * US_PER_DAY
    times = from_microseconds(ticks)
    assert model.heights(times).shape == (20, 50)
    assert np.abs(model.heights(times).ravel() - by_utide(model, times.ravel())).max() < MICROMETRE


def test_few_times_over_many_years_agree_with_utide() -> None:
    model = shallow()
    times = from_microseconds(np.random.default_rng(5).integers(-90 * 365, 80 * 365, 200) * US_PER_DAY + 123_456_789)
    assert np.abs(model.heights(times) - by_utide(model, times)).max() < MICROMETRE


def test_every_constituent_agrees_with_utide() -> None:
    names = table_names()
    model = Harmonics(names, np.full(len(names), 0.1), np.linspace(0, 350, len(names)), 45.0)
    grid = TimeGrid.spanning("2026-05-01", "2026-05-20", "10min")
    assert np.abs(model.heights(grid) - by_utide(model, grid.times())).max() < MICROMETRE


def test_rates_are_the_slope_of_heights() -> None:
    model = shallow()
    grid = TimeGrid.spanning("2026-01-01", "2026-01-05", "10min")
    half = 10_000_000
    before, after = (model.heights(from_microseconds(grid.times_us() + shift)) for shift in (-half, half))
    slope = (after - before) / (2 * half / 3.6e9)
    # Central differences over 20 s leave their own error of a few 1e-6 m/h.
    assert np.abs(model.rates(grid) - slope).max() < 2e-5
    assert np.abs(model.rates(grid.times()) - model.rates(grid)).max() < 1e-6
    few = grid.times()[::200]
    assert np.abs(model.rates(few) - model.rates(grid)[::200]).max() < 1e-6


@settings(max_examples=40, deadline=None)
@given(
    start=st.integers(-80 * 365 * 86400, 80 * 365 * 86400),
    step=st.sampled_from([1, 60, 360, 600, 3600, 21600, 420, 86400]),
    count=st.integers(1, 300),
    skip=st.integers(0, 299),
)
def test_an_instant_does_not_depend_on_the_query(start: int, step: int, count: int, skip: int) -> None:
    model = shallow()
    whole = TimeGrid(start * 1_000_000, step * 1_000_000, count)
    first = skip % count
    part = TimeGrid(whole.start_us + first * whole.step_us, whole.step_us, count - first)
    heights = model.heights(whole)
    assert np.abs(model.heights(part) - heights[first:]).max() < PATHS
    assert np.abs(model.heights(whole.times()) - heights).max() < PATHS


def test_many_stations_equal_each_alone() -> None:
    stations = [shallow(latitude, level) for latitude, level in ((50.0, 3.0), (-20.0, 1.0), (0.0, 0.0))]
    stations.append(Harmonics(("M2", "S2"), np.array([1.0, 0.3]), np.array([10.0, 40.0]), 51.0, 0.5))
    for step in ("10min", "7min"):
        grid = TimeGrid.spanning("2026-03-01", "2026-03-09", step)
        together = heights_at_stations(stations, grid)
        for row, station in zip(together, stations, strict=True):
            assert np.abs(row - station.heights(grid)).max() < 1e-10


def test_pieces_are_the_same_tide() -> None:
    model = shallow()
    start = TimeGrid.spanning("2026-01-01T03:20", "2026-01-09", "1min")
    pieces = model.pieces(start.start_us, start.end_us)
    assert pieces.start_us % 3_600_000_000 == 0
    assert np.abs(pieces(start.times_us()) - model.heights(start)).max() < PATHS


def test_held_and_absent_node_factors() -> None:
    from dataclasses import replace

    model = shallow()
    grid = TimeGrid.spanning("2026-01-01", "2026-01-03", "10min")
    held = replace(model, nodal="linear_time", nodal_at_us=int(grid.start_us))
    none = replace(model, nodal="none")
    assert held.heights(grid)[0] == pytest.approx(model.heights(grid)[0], abs=PATHS)
    assert 0.0 < np.abs(held.heights(grid) - model.heights(grid)).max() < 0.02
    few = grid.times()[[0, -1]]
    for one in (held, none):
        assert np.abs(one.heights(few) - one.heights(grid)[[0, -1]]).max() < PATHS
    bare = Harmonics(("S2",), np.array([1.0]), np.array([0.0]), 50.0, nodal="none")
    assert bare.heights(grid)[0] == pytest.approx(1.0, abs=2e-2)


def test_an_empty_grid_and_no_times_give_nothing() -> None:
    model = shallow()
    assert model.heights(TimeGrid(0, 60_000_000, 0)).shape == (0,)
    assert model.heights(np.array([], dtype="datetime64[s]")).shape == (0,)
    assert heights_at_stations([model], TimeGrid(0, 60_000_000, 0)).shape == (1, 0)


def test_bad_constituents_are_named_all_at_once() -> None:
    with pytest.raises(InvalidConstituents) as caught:
        Harmonics(("M2", "M2", "S2"), np.array([-1.0, np.nan, 0.1]), np.array([0.0, 0.0, np.inf]), 50.0)
    assert [fault.field for fault in caught.value.faults] == [
        "constituents.M2",
        "constituents.M2.amplitude",
        "constituents.M2.amplitude",
        "constituents.S2.phase",
    ]
    with pytest.raises(InvalidConstituents, match="at least one"):
        Harmonics((), np.array([]), np.array([]), 50.0)


@pytest.mark.parametrize(
    ("name", "says"), [("XX9", "unknown constituent"), ("Z0", "unknown constituent"), ("M7", "unknown constituent")]
)
def test_unknown_constituents_are_refused(name: str, says: str) -> None:
    with pytest.raises(UnknownName, match=says):
        Harmonics((name,), np.array([1.0]), np.array([0.0]), 50.0)


@pytest.mark.parametrize("convention", ["guess", "", "UTIDE"])
def test_other_conventions_are_refused_by_name(convention: str) -> None:
    with pytest.raises(UnknownName, match="convention of constituents") as caught:
        Harmonics(("M2",), np.array([1.0]), np.array([0.0]), 50.0, convention=convention)
    assert caught.value.known == ("utide", "noaa", "ticon")


@pytest.mark.parametrize("latitude", [95.0, -90.5, float("nan")])
def test_a_latitude_off_the_globe_is_refused(latitude: float) -> None:
    with pytest.raises(InvalidPosition, match="latitude"):
        shallow(latitude)


def test_times_outside_the_centuries_are_refused() -> None:
    model = shallow()
    for times in (
        np.array(["1500-01-01"], dtype="datetime64[s]"),
        np.array(["NaT"], dtype="datetime64[s]"),
        TimeGrid.spanning("2199-12-01", "2200-01-01", "1d"),
    ):
        if isinstance(times, TimeGrid):
            times = TimeGrid(times.start_us, times.step_us, 200)
        with pytest.raises(InvalidSpan, match=r"is (NaT|\d{4}-\S+); expected instants from 1700 to 2200"):
            model.heights(times)


def test_form_number_and_lookups() -> None:
    model = Harmonics(("M2", "S2", "K1", "O1"), np.array([1.0, 0.5, 0.2, 0.1]), np.arange(4.0), 50.0)
    assert model.form_number == pytest.approx(0.2)
    assert model.amplitude_of("N2") == 0.0
    assert model.phase_of("K1") == 2.0
    assert Harmonics(("K1",), np.ones(1), np.zeros(1), 50.0).form_number == float("inf")
    assert np.isnan(Harmonics(("SSA",), np.ones(1), np.zeros(1), 50.0).form_number)


def test_m2_cycles_are_whole_at_its_own_high_water() -> None:
    model = Harmonics(("M2",), np.array([1.0]), np.array([77.0]), 50.0, nodal="none")
    grid = TimeGrid.spanning("2026-01-01", "2026-01-03", "1min")
    heights = model.heights(grid)
    peaks = np.flatnonzero((heights[1:-1] > heights[:-2]) & (heights[1:-1] >= heights[2:])) + 1
    cycles = model.m2_cycles(grid.times_us()[peaks])
    assert np.abs(cycles - np.rint(cycles)).max() < 1.0 / 745
    assert np.all(np.diff(np.rint(cycles)) == 1)
    later = model.m2_cycles(np.array([0, 365 * US_PER_DAY]))
    assert later[1] - later[0] == pytest.approx(365 * 24 * 28.9841042 / 360, abs=1e-3)


def test_harmonics_survive_pickling() -> None:
    model = shallow()
    again = pickle.loads(pickle.dumps(model))
    grid = TimeGrid.spanning("2026-01-01", "2026-01-02", "10min")
    assert np.array_equal(again.heights(grid), model.heights(grid))
    with pytest.raises(ValueError, match="read-only"):
        model.amplitude[0] = 1.0
