from __future__ import annotations

import dataclasses
import pickle
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.errors import InvalidPosition, InvalidSpan, OutsideEphemeris
from tidecore.sky import SkyPositions, ephemeris, sky_positions
from tidecore.sky.topocentre import observers
from tidecore.timebase import US_PER_DAY, US_PER_HOUR

ROOT = Path(__file__).resolve().parents[3]
MAY = 1_777_593_600_000_000  # 2026-05-01


@pytest.fixture(scope="module")
def positions() -> SkyPositions:
    return sky_positions("2026-05-01", "2026-06-01")


def run(code: str) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "dev", "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_importing_the_room_imports_neither_skyfield_nor_scipy() -> None:
    run(
        "import sys, tidecore.sky; "
        "heavy = [name for name in ('skyfield', 'jplephem', 'scipy', 'xarray', 'pandas') if name in sys.modules]; "
        "assert not heavy, heavy"
    )


def test_no_warning_escapes_and_no_file_stays_open() -> None:
    run("import gc, tidecore.sky as sky; sky.sky_positions('2026-05-01', '2026-06-01'); gc.collect()")


def test_nothing_is_fetched_and_the_data_package_is_not_imported() -> None:
    run(
        "import socket, sys\n"
        "def refuse(*a, **k): raise AssertionError('network')\n"
        "socket.socket.connect = refuse\n"
        "import tidecore.sky as sky; sky.sky_positions('2026-05-01', '2026-06-01')\n"
        "assert 'skyfield_data' not in sys.modules"
    )


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 40 * US_PER_DAY),
    st.integers(0, 30 * US_PER_DAY),
    st.integers(1, 60 * US_PER_DAY),
    st.floats(-90, 90),
    st.floats(-180, 180),
)
def test_an_instant_gives_the_same_whatever_the_span(
    after: int, before: int, length: int, latitude: float, longitude: float
) -> None:
    instant = MAY + after
    start = instant - before
    spans = [(start, instant + length), (instant, instant + US_PER_HOUR)]
    seen = []
    for first, last in spans:
        made = sky_positions(np.int64(first).view("datetime64[us]"), np.int64(last).view("datetime64[us]"))
        at = np.array([instant], dtype=np.int64)
        seen.append(
            [
                made.sun_altitude(latitude, longitude, at)[0],
                made.moon_altitude(latitude, longitude, at)[0],
                made.illuminated_fraction(at)[0],
                made.moon_elongation_deg(at)[0],
                made.moon_distance_km(at)[0],
            ]
        )
    assert seen[0] == seen[1]


def test_the_pieces_join_without_a_step(positions: SkyPositions) -> None:
    joint = (positions.start_us // ephemeris.PIECE_US + 3) * ephemeris.PIECE_US
    joint -= round(float(positions.tt_minus_utc_s(np.array([joint]))[0] * 1e6))
    at = joint + np.array([-1, 1])
    for vectors in (positions.sun_vectors(at), positions.moon_vectors(at)):
        turned_km = np.linalg.norm(vectors[:, 0]) * 7.3e-5 * 2e-6  # two microseconds of the Earth's turn
        assert np.linalg.norm(np.diff(vectors, axis=1)) <= turned_km + 1e-4


def test_it_survives_pickling(positions: SkyPositions) -> None:
    again = pickle.loads(pickle.dumps(positions))
    at = positions.start_us + US_PER_HOUR * np.arange(100)
    assert np.array_equal(again.moon_altitude(50, -4, at), positions.moon_altitude(50, -4, at))
    assert (again.start, again.end) == (positions.start, positions.end)


def test_it_cannot_be_changed(positions: SkyPositions) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        positions.start = positions.end  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        positions.coefficients[0, 0, 0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        ephemeris.block(640)[0, 0, 0] = 0.0


def test_many_marks_are_the_single_marks(positions: SkyPositions) -> None:
    random = np.random.default_rng(7)
    latitudes, longitudes = random.uniform(-90, 90, 40), random.uniform(-180, 180, 40)
    at = positions.start_us + 600_000_000 * np.arange(4464)
    both = positions.altitudes_many(latitudes, longitudes, at)
    assert both.sun.shape == both.moon.shape == (40, 4464)
    for k in (0, 17, 39):
        single = positions.sun_altitude(latitudes[k], longitudes[k], at)
        np.testing.assert_allclose(both.sun[k], single, rtol=0, atol=1e-9)
        single = positions.moon_altitude(latitudes[k], longitudes[k], at)
        np.testing.assert_allclose(both.moon[k], single, rtol=0, atol=1e-9)


def test_answers_have_the_shape_of_the_instants(positions: SkyPositions) -> None:
    at = positions.start_us + US_PER_HOUR * np.arange(6).reshape(2, 3)
    for answer in (
        positions.sun_altitude(50, -4, at),
        positions.moon_altitude(50, -4, at),
        positions.illuminated_fraction(at),
        positions.moon_elongation_deg(at),
        positions.moon_distance_km(at),
        positions.moon_semidiameter_deg(at),
        positions.tt_minus_utc_s(at),
        *positions.sun_equatorial(at),
        *positions.moon_ecliptic(at),
    ):
        assert answer.shape == (2, 3)
    assert positions.sun_altitude(50, -4, np.empty(0, dtype=np.int64)).shape == (0,)


def test_longitudes_of_both_habits_mean_the_same_place(positions: SkyPositions) -> None:
    at = positions.start_us + US_PER_HOUR * np.arange(48)
    east, west = positions.sun_altitude(20, 200, at), positions.sun_altitude(20, -160, at)
    np.testing.assert_allclose(east, west, rtol=0, atol=1e-9)


def test_at_the_pole_the_altitude_of_the_sun_is_its_declination(positions: SkyPositions) -> None:
    at = positions.start_us + US_PER_HOUR * np.arange(200)
    off = positions.sun_equatorial(at).latitude - positions.sun_altitude(90, 0, at)
    assert np.all((off > 0) & (off < 0.0025))  # parallax of the sun: 8.8 seconds of arc


def test_parallax_lowers_the_moon_by_about_a_degree_at_the_horizon(positions: SkyPositions) -> None:
    at = positions.start_us + 600_000_000 * np.arange(4464)
    vectors = positions.moon_vectors(at)
    up = observers([0.0], [0.0]).verticals[0]
    geocentric = np.degrees(np.arcsin(up @ vectors / np.linalg.norm(vectors, axis=0)))
    seen = positions.moon_altitude(0, 0, at)
    near = np.abs(seen) < 1.0
    assert near.sum() > 50
    off = (geocentric - seen)[near]
    assert np.all((off > 0.88) & (off < 1.03))  # horizontal parallax of the moon: 54 to 61.5 minutes of arc


def test_the_moon_waxes_from_new_to_full(positions: SkyPositions) -> None:
    at = positions.start_us + US_PER_HOUR * np.arange(24 * 31)
    elongation, lit = positions.moon_elongation_deg(at), positions.illuminated_fraction(at)
    assert np.all((elongation >= 0) & (elongation < 360))
    assert np.all((lit >= 0) & (lit <= 1))
    waxing = (elongation[:-1] > 2) & (elongation[:-1] < 178)
    waning = (elongation[:-1] > 182) & (elongation[:-1] < 358)
    assert np.all(np.diff(lit)[waxing] > 0)
    assert np.all(np.diff(lit)[waning] < 0)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(90.1, 0), (-91, 0), (np.nan, 0), (0, 361), (0, -181), (0, np.nan)]
)
def test_a_place_off_the_globe_is_refused(positions: SkyPositions, latitude: float, longitude: float) -> None:
    with pytest.raises(InvalidPosition, match="out of range; expected degrees from"):
        positions.sun_altitude(latitude, longitude, np.array([positions.start_us]))


def test_all_wrong_places_are_named_at_once() -> None:
    with pytest.raises(InvalidPosition) as caught:
        observers([91.0, 0.0, -95.0], [0.0, 400.0, 0.0])
    assert [fault.field for fault in caught.value.faults] == ["latitude", "latitude", "longitude"]
    with pytest.raises(InvalidPosition, match="one longitude for every latitude"):
        observers([1.0, 2.0], [1.0])


# Two days more than the span are known, and up to two more where a piece reaches beyond them; never five.
@pytest.mark.parametrize("days", [-5.0, 36.0, 400.0])
def test_an_instant_far_outside_the_span_is_refused(positions: SkyPositions, days: float) -> None:
    far = np.array([positions.start_us, positions.start_us + round(days * US_PER_DAY)])
    with pytest.raises(
        InvalidSpan, match=r"times_us: from 202\d.*expected instants from 2026-04-29T00.* to 2026-06-03"
    ):
        positions.sun_altitude(50, -4, far)


def test_what_is_no_instant_is_refused(positions: SkyPositions) -> None:
    with pytest.raises(InvalidSpan, match="microseconds since 1970"):
        positions.sun_altitude(50, -4, np.array(["2026-05-02"], dtype="datetime64[us]"))
    with pytest.raises(InvalidSpan, match="NaN"):
        positions.sun_altitude(50, -4, np.array([np.nan]))


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("1899-07-29", "1900-01-01"),
        ("1890-01-01", "1890-02-01"),
        ("2053-10-01", "2053-10-06"),
        ("2060-01-01", "2060-02-01"),
    ],
)
def test_outside_the_ephemeris_is_said_so(start: str, end: str) -> None:
    with pytest.raises(OutsideEphemeris, match="known from 1899-08-02 to 2053-10-05"):
        sky_positions(start, end)


@pytest.mark.parametrize(("start", "end"), [("1899-08-02", "1899-08-20"), ("2053-09-20", "2053-10-05")])
def test_the_ends_of_the_ephemeris_are_usable_with_their_padding(start: str, end: str) -> None:
    made = sky_positions(start, end)
    at = np.array([made.start_us - 2 * US_PER_DAY, made.start_us, made.end_us - 1, made.end_us + 2 * US_PER_DAY])
    assert np.all(np.isfinite(made.moon_altitude(50, -4, at)))
    assert np.all(np.abs(made.moon_distance_km(at) - 384_400) < 30_000)


def test_a_span_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InvalidSpan, match="after the start"):
        sky_positions("2026-05-02", "2026-05-02")


def test_a_long_span_is_its_parts() -> None:
    year = sky_positions("2025-06-01", "2026-08-01")
    month = sky_positions("2026-05-01", "2026-06-01")
    at = month.start_us + US_PER_HOUR * np.arange(24 * 31)
    assert np.array_equal(year.moon_vectors(at), month.moon_vectors(at))


def test_civil_time_joins_at_1972_within_a_tenth_of_a_second() -> None:
    made = sky_positions("1971-12-01", "1972-02-01")
    at = ephemeris.UTC_BEGINS_US + np.array([-1, 0, 1])
    assert np.abs(np.diff(made.tt_minus_utc_s(at))).max() < 0.1
    assert made.tt_minus_utc_s(at)[1] == pytest.approx(42.184, abs=1e-9)


@pytest.mark.parametrize("count", [1, 50, 2500])
def test_the_moon_seen_at_once_is_altitude_and_light_and_marks_keep_theirs(positions: SkyPositions, count: int) -> None:
    times = np.linspace(positions.start_us, positions.end_us, count).astype(np.int64)
    for latitude, longitude in ((50.0, -4.0), (-33.0, 151.0)):
        altitude, lit = positions.moon_seen(latitude, longitude, times)
        np.testing.assert_array_equal(altitude, positions.moon_altitude(latitude, longitude, times))
        np.testing.assert_array_equal(lit, positions.illuminated_fraction(times))
        many = positions.altitudes_many([latitude, 10.0], [longitude, 20.0], times)
        np.testing.assert_allclose(positions.sun_altitude(latitude, longitude, times), many.sun[0], rtol=0, atol=1e-9)
