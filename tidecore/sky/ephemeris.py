"""Apparent geocentric sun and moon as pieces of polynomials, read from the DE421 ephemeris through skyfield.

Everything that varies slowly is computed once on absolutely anchored nodes and interpolated: the positions of sun
and moon in the true equator and equinox of date, the obliquity, and the small difference between the turn of the
Earth and a uniform one. The turn itself is added exactly, so nothing fast is ever interpolated.

The files come with the packages skyfield and skyfield-data; nothing is fetched. skyfield is imported when the first
block is computed, not before.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from tidecore.errors import OutsideEphemeris
from tidecore.timebase import US_PER_DAY, US_PER_SECOND
from tidecore.units import FloatArray, IntArray

#: Width of a piece, and the degree of its polynomial. Error against skyfield itself: see `block`.
PIECE_US = 2 * US_PER_DAY
DEGREE = 6
#: Pieces computed and kept together: 32 days.
PIECES_PER_BLOCK = 16

#: Rows of a block: what is interpolated.
SUN, MOON = slice(0, 3), slice(3, 6)
TURN, OBLIQUITY, DELTA_T = 6, 7, 8
ROWS = 9

#: Whole pieces that the file covers, light-time allowed for: 1899-07-30 to 2053-10-08 TT.
FIRST_PIECE, END_PIECE = -12861, 15298
#: Spans that can be asked for, so that two days of padding remain.
FIRST_DAY = np.datetime64("1899-08-02T00:00:00", "us")
LAST_DAY = np.datetime64("2053-10-05T00:00:00", "us")

#: Since 1972 UTC keeps whole seconds from atomic time; before, an instant is taken as universal time (UT1).
UTC_BEGINS_US = 63_072_000_000_000

_JD_OF_1970 = 2_440_587.5
_J2000_DAYS = 10_957.5
_TURN_AT_J2000 = 0.7790572732640
_EXTRA_TURNS_A_DAY = 0.00273781191135448
_DEGREES_A_SECOND = 360.0 * (1.0 + _EXTRA_TURNS_A_DAY) / 86_400.0


def require_covered(start: np.datetime64, end: np.datetime64) -> None:
    """Raise `OutsideEphemeris` unless ``[start, end]`` lies between `FIRST_DAY` and `LAST_DAY` [UTC]."""
    for asked in (start, end):
        if not FIRST_DAY <= asked <= LAST_DAY:
            raise OutsideEphemeris(str(FIRST_DAY)[:10], str(LAST_DAY)[:10], str(asked))


def uniform_turn(tt_us: FloatArray) -> FloatArray:
    """Return the Earth rotation angle if universal time were terrestrial time [degrees], not wrapped by 360.

    Parameters
    ----------
    tt_us : float64 array
        Terrestrial time [microseconds since 1970-01-01T00:00 TT].

    References
    ----------
    Capitaine, Guinot and McCarthy (2000), Astronomy and Astrophysics 355, 398-405 (the constants of IAU 2000).
    """
    days = tt_us / US_PER_DAY
    turns = np.mod(tt_us, US_PER_DAY) / US_PER_DAY + 0.5 + _EXTRA_TURNS_A_DAY * (days - _J2000_DAYS)
    return np.asarray(360.0 * (turns + _TURN_AT_J2000))


@lru_cache(maxsize=96)
def block(index: int) -> FloatArray:
    """Return the polynomials of the pieces ``[16 index, 16 index + 16)`` that the file covers.

    Parameters
    ----------
    index : int
        Number of the block of 32 days since 1970-01-01T00:00 TT.

    Returns
    -------
    float64 array, shape ``(9, 7, pieces)``, read-only
        For each row the coefficients in u, from -1 to 1 across the piece, lowest order first. Rows: sun x, y, z
        and moon x, y, z [km], in the true equator and equinox of date: the direction is apparent (light-time,
        aberration and deflection included), the length is the true distance of the instant; true sidereal angle of
        Greenwich less `uniform_turn` [degrees]; true obliquity [degrees]; TT - UT1 [s].

    Notes
    -----
    The interpolant meets skyfield at seven Chebyshev-Lobatto points a piece, ends included, so that it is
    continuous. Largest error between them in tests: moon 2e-7 degree and 1 m, sun 1e-10 degree; TT - UT1, which is
    tabulated, not smooth, 2e-5 s. A block is always computed whole, so its numbers do not depend on who asks; up to
    96 blocks (8 years, under 1 MB) are kept by the process, and are never changed.
    """
    first = max(index * PIECES_PER_BLOCK, FIRST_PIECE)
    count = min((index + 1) * PIECES_PER_BLOCK, END_PIECE) - first
    nodes = -np.cos(np.pi * np.arange(DEGREE + 1) / DEGREE)
    # Neighbouring pieces share the node between them: ask for it once.
    offsets = 0.5 * (nodes[:-1] + 1.0)
    tt_us = np.append(((first + np.arange(count))[:, None] + offsets).ravel(), first + count) * PIECE_US
    values = _apparent(tt_us)
    shared = np.arange(count)[:, None] * DEGREE + np.arange(DEGREE + 1)
    to_powers = np.linalg.inv(np.vander(nodes, increasing=True))
    coefficients = np.ascontiguousarray(np.einsum("kn,rpn->rkp", to_powers, values[:, shared]))
    coefficients.flags.writeable = False
    return coefficients


@lru_cache(maxsize=1)
def leap_seconds() -> tuple[IntArray, IntArray]:
    """Return from which UTC instant [microseconds since 1970] TT - UTC has which value [microseconds].

    Both are ascending, read-only and begin with 1972-01-01.
    """
    scale = _time_scale()
    dates = np.rint((np.asarray(scale.leap_dates) - _JD_OF_1970) * US_PER_DAY).astype(np.int64)
    offsets = np.rint((np.asarray(scale.leap_offsets) + 32.184) * US_PER_SECOND).astype(np.int64)
    dates, offsets = np.append(UTC_BEGINS_US, dates), np.append(42_184_000, offsets)
    for array in (dates, offsets):
        array.flags.writeable = False
    return dates, offsets


@lru_cache(maxsize=1)
def _time_scale() -> Any:
    """Return skyfield's time scale with the tables that come inside its package."""
    from skyfield.api import load

    return load.timescale(builtin=True)


def _file() -> Path:
    """Return the path of the ephemeris; the package is found, not imported: its own call warns of other files."""
    spec = find_spec("skyfield_data")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("the package skyfield-data, which holds the sun and moon ephemeris, is not installed")
    return Path(spec.submodule_search_locations[0]) / "data" / "de421.bsp"


def _apparent(tt_us: FloatArray) -> FloatArray:
    """Return the rows of `block` at instants of terrestrial time, shape ``(9, n)``."""
    from skyfield.framelib import ecliptic_frame, true_equator_and_equinox_of_date
    from skyfield.jpllib import SpiceKernel

    days = np.floor(tt_us / US_PER_DAY)
    time = _time_scale().tt_jd(_JD_OF_1970 + days, np.mod(tt_us, US_PER_DAY) / US_PER_DAY)
    kernel = SpiceKernel(str(_file()))
    try:
        centre = kernel["earth"].at(time)
        bodies = [centre.observe(kernel[name]).apparent().xyz.km for name in ("sun", "moon")]
        lengths = [(kernel[name].at(time) - centre).distance().km for name in ("sun", "moon")]
    finally:
        kernel.close()
    to_equator = true_equator_and_equinox_of_date.rotation_at(time)
    to_ecliptic = np.einsum("ijn,kjn->ikn", ecliptic_frame.rotation_at(time), to_equator)
    rows = np.empty((ROWS, tt_us.size))
    for part, body, length in zip((SUN, MOON), bodies, lengths, strict=True):
        rows[part] = np.einsum("ijn,jn->in", to_equator, body * (length / np.linalg.norm(body, axis=0)))
    # UT1 runs behind TT by delta T, so the uniform turn is ahead by as much.
    turn = 15.0 * time.gast - uniform_turn(tt_us)
    ahead = _DEGREES_A_SECOND * time.delta_t
    rows[TURN] = np.mod(turn + ahead + 180.0, 360.0) - 180.0 - ahead
    rows[OBLIQUITY] = np.degrees(np.arctan2(to_ecliptic[1, 2], to_ecliptic[1, 1]))
    rows[DELTA_T] = time.delta_t
    return rows
