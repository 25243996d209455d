"""Run-up observed in the field against the formulae: source and choice of rows in `tests.reference.run_up`."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from tests.reference import run_up as field
from tidecore.shore import Waves, plane_ground, run_up


@pytest.fixture(scope="module")
def rows():
    path = field.data_file()
    if path is None:
        pytest.skip(field.ABSENT)
    return field.read(path)


def figures(rows, errors):
    return field.Figures.of(rows, errors(rows))


def test_the_file_is_read_as_whoever_packaged_it_describes_it(rows):
    # The package's own documentation: count, and mean and greatest of each column.
    assert len(rows) == 1390
    for column, mean, greatest in (
        (rows.height, 1.893131, 7.1741),
        (rows.peak_period, 9.227035, 23.680333),
        (rows.slope, 0.120612, 0.286551),
        (rows.r2, 2.318814, 12.669592),
    ):
        assert (column.mean(), column.max()) == (pytest.approx(mean, abs=5e-7), pytest.approx(greatest, abs=5e-7))
    assert field.PACKAGE not in sys.modules


def test_the_rows_are_the_ones_that_were_settled(rows):
    sand, gravel = field.sand(rows), field.gravel(rows)
    assert sand.field.all()
    assert sand.d50.max() < 0.002
    assert (sand.slope.min() >= 0.01, sand.slope.max() <= 0.2) == (True, True)
    assert gravel.field.all()
    assert (gravel.d50.min() >= 0.002, gravel.d50.max() <= 0.064) == (True, True)
    # Of 1,242 field rows one alone is neither: a slope of 0.009.
    assert (int(rows.field.sum()), len(sand), len(gravel)) == (1242, 578, 663)
    left_out = rows.field & (rows.d50 < 0.002) & ~((rows.slope >= 0.01) & (rows.slope <= 0.2))
    assert rows.slope[left_out].round(3).tolist() == [0.009]


def test_the_formula_for_sand_misses_its_own_beaches_as_its_authors_say(rows):
    # Stockdon et al. 2006 over their ten experiments: bias -0.17 m, RMS error 0.38 m.
    sand = field.sand(rows)
    own = figures(sand.at(sand.dataset == "STOCKDON2006"), field.sand_errors)
    assert own.count == 490
    assert own.rmse == pytest.approx(0.38, abs=0.02)
    assert own.bias == pytest.approx(-0.17, abs=0.02)


def test_the_bias_on_sand_is_as_required(rows):
    assert abs(figures(field.sand(rows), field.sand_errors).bias) <= field.SAND_BIAS_M


@pytest.mark.xfail(
    reason="0.49 m: on the 71 rows of ATKINSON2017 the formula is 0.8 m low; without them it is 0.39 m. The rows were "
    "settled before they were looked at, and stay."
)
def test_the_scatter_on_sand_is_as_required(rows):
    assert figures(field.sand(rows), field.sand_errors).rmse <= field.SAND_RMSE_M


def test_what_the_formulae_miss_is_as_stated(rows):
    sand, gravel = field.sand(rows), field.gravel(rows)
    elsewhere = sand.at(sand.dataset != "STOCKDON2006")
    fitting = sand.at(sand.dataset != "ATKINSON2017")
    stated = {
        "sand but for one source": (fitting, field.sand_errors, 0.385, -0.128),
        "sand": (sand, field.sand_errors, 0.491, -0.211),
        "sand elsewhere": (elsewhere, field.sand_errors, 0.903, -0.534),
        "gravel": (gravel, field.gravel_errors, 1.687, 0.413),
    }
    for which, (part, errors, rmse, bias) in stated.items():
        found = figures(part, errors)
        assert (found.rmse, found.bias) == (pytest.approx(rmse, abs=6e-4), pytest.approx(bias, abs=6e-4)), which


def test_the_run_up_of_a_plane_beach_is_that_of_the_formula(rows):
    """What the shore answers with, row by row: the slope of a plane beach is the same over any reach."""
    for part, bed, errors in (
        (field.sand(rows), "clean_sand", field.sand_errors),
        (field.gravel(rows), "shingle", field.gravel_errors),
    ):
        expected = part.r2 + errors(part)
        # Every seventh: each row is a beach of its own.
        for k in range(0, len(part), 7):
            ground = plane_ground(float(part.slope[k]), bed)
            found = run_up(ground, [0.0], Waves.of([part.height[k]], [part.peak_period[k]]))
            assert found.r2[0] == pytest.approx(expected[k], abs=1e-4), (k, float(part.slope[k]))


def test_the_command_prints_every_group(rows, capsys):
    assert field.main() == 0
    printed = capsys.readouterr().out
    for group in ("sand, Stockdon: all", "STOCKDON2006 alone", "ATKINSON2017", "gravel, Poate: all", "LOEBAR"):
        assert group in printed
    assert np.isfinite(field.Figures.of(field.sand(rows), field.sand_errors(field.sand(rows))).passed)


def test_without_the_package_the_command_says_what_is_missing(monkeypatch, capsys):
    monkeypatch.setattr(field, "PACKAGE", "no_such_package_of_run_up")
    assert field.data_file() is None
    assert field.main() == 1
    assert field.REQUIREMENTS in capsys.readouterr().err
