"""Altitudes against those that skyfield itself gives for each place, instant by instant, with the same ephemeris."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tidecore.sky import sky_events, sky_positions

#: Asked for is 0.01 degree; what is left out (diurnal aberration, interpolation) is under 0.0002.
DEGREES = 0.0002
PLACES = [(0.0, 0.0), (50.0, -4.0), (58.0, 5.5), (69.0, 19.0), (-35.0, 150.0), (78.0, 15.0), (90.0, 0.0), (-90.0, 0.0)]


@pytest.fixture(scope="module")
def kernel() -> Iterator[Any]:
    from skyfield.jpllib import SpiceKernel

    spec = find_spec("skyfield_data")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    opened = SpiceKernel(str(Path(spec.submodule_search_locations[0]) / "data" / "de421.bsp"))
    yield opened
    opened.close()


def oracle(kernel: Any, latitude: float, longitude: float, times_us: Any) -> tuple[Any, Any]:
    """Return skyfield's altitudes of sun and moon; its UTC counts leap seconds, as ours does from 1972."""
    from skyfield.api import load, wgs84

    seconds = times_us / 1e6
    time = load.timescale(builtin=True).utc(1970, 1, 1 + seconds // 86_400, 0, 0, seconds % 86_400)
    here = (kernel["earth"] + wgs84.latlon(latitude, longitude)).at(time)
    sun, moon = (here.observe(kernel[name]).apparent().altaz()[0].degrees for name in ("sun", "moon"))
    return sun, moon


@pytest.mark.parametrize("year", [1972, 1985, 2016, 2026, 2044])
def test_altitudes_agree_at_many_places_and_times(kernel: Any, year: int) -> None:
    random = np.random.default_rng(year)
    positions = sky_positions(f"{year}-02-01", f"{year + 1}-01-20")
    places = [*PLACES, *zip(random.uniform(-85, 85, 6), random.uniform(-180, 180, 6), strict=True)]
    times = random.integers(positions.start_us, positions.end_us, 60)
    both = positions.altitudes_many([p[0] for p in places], [p[1] for p in places], times)
    for k, (latitude, longitude) in enumerate(places):
        sun, moon = oracle(kernel, latitude, longitude, times)
        np.testing.assert_allclose(both.sun[k], sun, rtol=0, atol=DEGREES)
        np.testing.assert_allclose(both.moon[k], moon, rtol=0, atol=DEGREES)


def test_a_leap_second_is_taken_where_it_falls(kernel: Any) -> None:
    positions = sky_positions("2016-12-31", "2017-01-02")
    midnight = 1_483_228_800_000_000
    times = midnight + np.array([-3_600, -2, -1, 0, 1, 2, 3_600]) * 1_000_000
    sun, moon = oracle(kernel, 50.0, -4.0, times)
    np.testing.assert_allclose(positions.sun_altitude(50.0, -4.0, times), sun, rtol=0, atol=DEGREES)
    np.testing.assert_allclose(positions.moon_altitude(50.0, -4.0, times), moon, rtol=0, atol=DEGREES)
    steps = np.diff(positions.tt_minus_utc_s(times))
    np.testing.assert_allclose(steps, [0, 0, 1, 0, 0, 0], rtol=0, atol=1e-6)


def test_before_1972_an_instant_is_universal_time(kernel: Any) -> None:
    from skyfield.api import load, wgs84

    positions = sky_positions("1950-06-01", "1950-07-01")
    times = positions.start_us + 3_600_000_000 * np.arange(0, 700, 37)
    time = load.timescale(builtin=True).ut1(1950, 6, 1, times / 3.6e9 - positions.start_us / 3.6e9)
    here = (kernel["earth"] + wgs84.latlon(50.0, -4.0)).at(time)
    sun, moon = (here.observe(kernel[name]).apparent().altaz()[0].degrees for name in ("sun", "moon"))
    np.testing.assert_allclose(positions.sun_altitude(50.0, -4.0, times), sun, rtol=0, atol=DEGREES)
    np.testing.assert_allclose(positions.moon_altitude(50.0, -4.0, times), moon, rtol=0, atol=DEGREES)


@pytest.mark.parametrize(("latitude", "longitude"), PLACES[:6])
def test_events_happen_at_skyfields_altitudes(kernel: Any, latitude: float, longitude: float) -> None:
    positions = sky_positions("2026-01-01", "2027-01-01")
    events = sky_events(positions, latitude, longitude, "2026-03-01", "2026-05-01")
    wanted = {
        "sunrise": -0.8333, "sunset": -0.8333, "first_light": -6.0, "last_light": -6.0, "nautical_dawn": -12.0,
        "nautical_dusk": -12.0, "astronomical_dawn": -18.0, "astronomical_dusk": -18.0,
    }  # fmt: skip
    sun, moon = oracle(kernel, latitude, longitude, events.time.view(np.int64))
    rises = np.isin(events.kind, ["moonrise", "moonset"])
    level = np.array([wanted.get(kind, np.nan) for kind in events.kind])
    np.testing.assert_allclose(sun[~rises], level[~rises], rtol=0, atol=0.001)
    # The moon's radius of 1737.4 km seen from the mark, and 34' of refraction.
    radius = positions.moon_semidiameter_deg(events.time.view(np.int64))[rises]
    np.testing.assert_allclose(moon[rises] + radius, -34 / 60, rtol=0, atol=0.001)
