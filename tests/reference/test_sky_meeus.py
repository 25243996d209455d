"""Worked examples of J. Meeus (1998), Astronomical Algorithms, 2nd ed.; TD is taken as TT, true equinox of date.

Tolerances: the examples come from Meeus' own shortened series, ours from a modern ephemeris. Moon 0.004 degree and
5 km, sun 0.004 degree (25.a is the method of low accuracy), phases 60 s.
"""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.sky import SkyPositions, moon_phases, sky_positions
from tidecore.units import IntArray

ANGLE = 0.004
DISTANCE_KM = 5.0
PHASE_S = 60.0
AU_KM = 149_597_870.7


def utc_of_td(positions: SkyPositions, jde: float) -> IntArray:
    """Return a Julian Ephemeris Day as microseconds of UTC since 1970."""
    terrestrial = np.array([round((jde - 2_440_587.5) * 86_400e6)], dtype=np.int64)
    return terrestrial - np.rint(positions.tt_minus_utc_s(terrestrial) * 1e6).astype(np.int64)


def test_example_47a_the_moon() -> None:
    positions = sky_positions("1992-04-10", "1992-04-14")
    at = utc_of_td(positions, 2_448_724.5)
    assert str(at.view("datetime64[us]")[0]) == "1992-04-11T23:59:01.816000"  # 26 leap seconds and 32.184 s
    ecliptic, equatorial = positions.moon_ecliptic(at), positions.moon_equatorial(at)
    assert ecliptic.longitude[0] == pytest.approx(133.167264, abs=ANGLE)
    assert ecliptic.latitude[0] == pytest.approx(-3.229126, abs=ANGLE)
    assert ecliptic.distance_km[0] == pytest.approx(368_409.7, abs=DISTANCE_KM)
    assert equatorial.longitude[0] == pytest.approx(134.688469, abs=ANGLE)
    assert equatorial.latitude[0] == pytest.approx(13.768367, abs=ANGLE)
    assert positions.moon_distance_km(at)[0] == pytest.approx(368_409.7, abs=DISTANCE_KM)


def test_example_25a_the_sun() -> None:
    positions = sky_positions("1992-10-11", "1992-10-15")
    at = utc_of_td(positions, 2_448_908.5)
    ecliptic, equatorial = positions.sun_ecliptic(at), positions.sun_equatorial(at)
    assert ecliptic.longitude[0] == pytest.approx(199.90895, abs=ANGLE)
    assert ecliptic.latitude[0] == pytest.approx(0.0, abs=ANGLE)
    assert ecliptic.distance_km[0] / AU_KM == pytest.approx(0.99766, abs=1e-4)
    assert equatorial.longitude[0] == pytest.approx(15 * (13 + 13 / 60 + 31.4 / 3600), abs=ANGLE)
    assert equatorial.latitude[0] == pytest.approx(-(7 + 47 / 60 + 6 / 3600), abs=ANGLE)


def test_example_48a_the_lit_part_of_the_moon() -> None:
    """Chapter 48 continues 47.a: k = 0.6786 (from memory), of a phase angle of 69.0756 degrees."""
    positions = sky_positions("1992-04-10", "1992-04-14")
    at = utc_of_td(positions, 2_448_724.5)
    assert positions.illuminated_fraction(at)[0] == pytest.approx(0.6786, abs=0.0002)


@pytest.mark.parametrize(
    ("start", "end", "name", "jde"),
    [
        ("1977-02-01", "1977-03-01", "new", 2_443_192.65118),  # 49.a: 18 February, 03:37:42 TD
        ("2044-01-01", "2044-02-01", "last_quarter", 2_467_636.49186),  # 49.b
    ],
)
def test_examples_49_phases(start: str, end: str, name: str, jde: float) -> None:
    positions = sky_positions(start, end)
    phases = moon_phases(positions, start, end)
    found = phases.time[phases.name == name]
    assert found.size == 1
    off = (found.view(np.int64) - utc_of_td(positions, jde)) / 1e6
    assert abs(off[0]) <= PHASE_S
