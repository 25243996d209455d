from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.errors import InvalidConstituents
from tidecore.harmonics import Harmonics, arguments_of, constituent_names, heights_at_stations
from tidecore.harmonics.arguments import satellite_sums, table_names
from tidecore.harmonics.compounds import compounds, parents_of
from tidecore.harmonics.tables import constituent_table
from tidecore.model.document import constituents_hash, harmonics_document, harmonics_of
from tidecore.timebase import US_PER_DAY, TimeGrid

#: Speeds [degrees an hour], added up by hand from M2 28.9841042, S2 30, N2 28.4397295, K2 30.0821373, K1 15.0410686,
#: O1 13.9430356, NU2 28.5125831 and T2 29.9589333 as in Schureman (1940), Table 2.
SPEEDS = {
    "3MN4": 58.5125831,
    "4M2S4": 55.9364168,
    "MT4": 58.9430375,
    "2MNU6": 86.4807915,
    "3MSN6": 88.5125831,
    "4MS6": 85.9364168,
    "3MO7": 100.8953482,
    "4MSN8": 117.4966873,
    "4MO9": 129.8794524,
    "5MSN10": 146.4807915,
    "5MK11": 159.9615896,
    "4MSN12": 174.3761463,
}


def test_speeds_are_those_of_the_parents_together() -> None:
    names = tuple(SPEEDS)
    model = Harmonics(names, np.ones(len(names)), np.zeros(len(names)), 50.0)
    for name, speed in zip(names, model.speeds_deg_per_hour, strict=True):
        # The seven digits of the parents' speeds add up.
        assert speed == pytest.approx(SPEEDS[name], abs=1e-6), name


def test_arguments_add_and_factors_multiply() -> None:
    times = np.random.default_rng(2).integers(-30 * 365, 60 * 365, 40) * US_PER_DAY + 5_000_000
    latitude = np.array([51.0])
    sums = satellite_sums(times)
    for name, parents in compounds().items():
        ours = arguments_of((name,))
        phases, factors = np.zeros(len(times)), np.ones(len(times), dtype=complex)
        speed = 0.0
        for parent, count in parents:
            of = arguments_of((parent,))
            phases += count * of.phases(times)[:, 0]
            one = of.node_factors(sums, latitude)[0, :, 0]
            # What is subtracted turns the other way; its f still multiplies.
            factors *= (one if count > 0 else one.conj()) ** abs(count)
            speed += count * float(of.speeds[0])
        turned = ours.phases(times)[:, 0] - phases
        assert np.abs(turned - np.rint(turned)).max() < 1e-11, name
        assert np.abs(ours.node_factors(sums, latitude)[0, :, 0] - factors).max() < 1e-12, name
        assert ours.speeds[0] == pytest.approx(speed, abs=1e-12), name


def test_no_name_and_no_speed_stands_twice() -> None:
    names = constituent_names()
    assert len(set(names)) == len(names)
    lines = arguments_of(names)
    assert len({tuple(np.round(row, 6)) for row in lines.doodson}) == len(names)
    assert set(names) - set(table_names()) == set(compounds())
    assert len(compounds()) == 147


def test_they_reach_twelve_cycles_a_day() -> None:
    cycles = {round(speed / (2 * np.pi) * 24) for speed in arguments_of(tuple(compounds())).speeds}
    assert cycles == {2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}


def test_utide_composes_its_own_in_the_same_way() -> None:
    table = constituent_table()
    for name, ours in (("3MS8", "3MS8"), ("2MN6", "2MN6"), ("MSN2", "MSN2"), ("2MO5", "2MO5"), ("3MP5", "3MP5")):
        theirs = [(table.names[row], power) for row, power in table.parents[table.index()[name]]]
        assert sorted(parents_of(ours)) == sorted((parent, int(power)) for parent, power in theirs)


@pytest.mark.parametrize("name", ["M2x", "XS4", "2MS5", "3MSN13", "", "4", "MO4"])
def test_what_is_no_compound_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=r"compound|cycles a day"):
        parents_of(name)


def direct(model: Harmonics, times_us: np.ndarray) -> np.ndarray:
    """Heights constituent by constituent at every instant, node factors exact."""
    lines = arguments_of(model.names)
    factors = lines.node_factors(satellite_sums(times_us), np.array([model.latitude]))[0]
    if model.node_powers is not None:
        m2 = arguments_of(("M2",)).node_factors(satellite_sums(times_us), np.array([model.latitude]))[0]
        factors = factors * np.abs(m2) ** model.node_powers
    turned = np.exp(2j * np.pi * lines.phases(times_us)) * factors
    return model.mean_level + (turned @ (model.amplitude * np.exp(-1j * np.radians(model.phase)))).real


NAMES = ("M2", "S2", "N2", "M4", "2MNU6", "4MSN8", "3MSK10", "5MK11", "3M3S12", "K1")


def composed(**options: object) -> Harmonics:
    amplitude = np.array([1.8, 0.5, 0.3, 0.2, 0.02, 0.01, 0.003, 5e-4, 2e-4, 0.1])
    return Harmonics(NAMES, amplitude, np.linspace(10, 340, len(NAMES)), 51.0, 0.4, **options)  # type: ignore[arg-type]


POWERS = np.array([-0.45, -0.1, -0.8, -0.6, -1.0, -1.5, 0.0, 0.0, -2.0, 0.0])


@settings(max_examples=12, deadline=None)
@given(day=st.integers(-60 * 365, 70 * 365))
def test_every_path_equals_the_constituents_themselves(day: int) -> None:
    grid = TimeGrid(day * US_PER_DAY, 600_000_000, 600)
    few = grid.times()[::599]
    errors = []
    for model in (composed(), composed(node_powers=POWERS)):
        expected = direct(model, grid.times_us())
        pieces = model.pieces(grid.start_us, grid.end_us)
        for found, exact in (
            (model.heights(grid), expected),
            (pieces(grid.times_us()), expected),
            (model.heights(few), expected[[0, -1]]),
        ):
            # Speeds are those of 2000 within a block: in the 1910s that is 7e-9 of M2.
            assert np.abs(found - exact).max() < (1e-9 if 8_000 < day < 14_000 else 2e-8)
            errors.append(found - exact)
    for plain, damped in zip(errors[:3], errors[3:], strict=True):
        assert np.abs(damped - plain).max() < 1e-9


def test_the_fastest_lines_hold_too() -> None:
    names = ("4MSN12", "3M2SK12", "3M3S12", "4M2S12")
    model = Harmonics(names, np.full(4, 0.05), np.linspace(0, 200, 4), 51.0)
    grid = TimeGrid.spanning("2031-03-01", "2031-03-09", "10min")
    expected = direct(model, grid.times_us())
    # A millionth of the amplitude is what 22 nodes a quarter-day leave of the fastest of them.
    assert np.abs(model.heights(grid) - expected).max() < 4e-7
    assert np.abs(model.pieces(grid.start_us, grid.end_us)(grid.times_us()) - expected).max() < 4e-7


def test_damping_bends_the_18_year_swing_and_nothing_else() -> None:
    plain = Harmonics(("M2",), np.array([1.0]), np.array([0.0]), 51.0)
    damped = replace(plain, node_powers=np.array([-1.0]))
    # In November 1997 M2's f is at its greatest, 1.038: with its own power taken away nothing is left of it.
    month = TimeGrid.spanning("1997-11-01", "1997-12-01", "10min")
    assert plain.heights(month).max() == pytest.approx(1.037, abs=2e-3)
    assert damped.heights(month).max() == pytest.approx(1.0, abs=2e-4)
    assert replace(plain, node_powers=np.zeros(1)).heights(month) == pytest.approx(plain.heights(month), abs=1e-12)


def test_stations_together_keep_their_own_powers() -> None:
    stations = [composed(), composed(node_powers=POWERS), composed(node_powers=POWERS / 2)]
    grid = TimeGrid.spanning("2031-03-01", "2031-03-04", "10min")
    for row, station in zip(heights_at_stations(stations, grid), stations, strict=True):
        assert np.abs(row - station.heights(grid)).max() < 1e-10


def test_held_factors_are_damped_too() -> None:
    held = composed(node_powers=POWERS, nodal="linear_time", nodal_at_us=20_000 * US_PER_DAY)
    near = TimeGrid(20_000 * US_PER_DAY, 3_600_000_000, 2)
    assert held.heights(near)[0] == pytest.approx(composed(node_powers=POWERS).heights(near)[0], abs=1e-9)


def test_powers_that_make_no_sense_are_refused() -> None:
    for powers in (np.zeros(3), np.full(len(NAMES), np.nan), np.full(len(NAMES), 9.0)):
        with pytest.raises(InvalidConstituents, match="node_powers"):
            composed(node_powers=powers)


def test_documents_keep_compounds_and_powers() -> None:
    model = composed(node_powers=POWERS)
    again = harmonics_of(harmonics_document(model))
    assert again.names == model.names
    assert again.node_powers is not None
    assert np.array_equal(again.node_powers, POWERS)
    assert "node_powers" not in harmonics_document(composed())
    assert constituents_hash(model, "x") != constituents_hash(composed(), "x")
