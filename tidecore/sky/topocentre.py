"""From a body's place in the Earth-fixed frame to its altitude over the horizon of a mark."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tidecore.errors import Fault, InvalidPosition
from tidecore.units import FloatArray, IntArray

#: Ellipsoid of WGS 84: equatorial radius [km] and flattening.
EARTH_RADIUS_KM = 6378.137
FLATTENING = 1.0 / 298.257223563

#: Most values worked on at once, so that they stay in the processor's cache.
_BLOCK = 65_536
#: Single observers kept by the process: a mark is asked for again and again.
_KEPT = 256


class Observers(NamedTuple):
    """Observers in the Earth-fixed frame; made by `observers`.

    ``verticals`` are unit vectors to the zenith and ``places`` positions from the centre of the Earth [km], shape
    ``(n, 3)``; ``heights`` are the products of the two [km] and ``squares`` those of places with themselves [km^2].
    """

    verticals: FloatArray
    places: FloatArray
    heights: FloatArray
    squares: FloatArray


def observers(latitudes: ArrayLike, longitudes: ArrayLike) -> Observers:
    """Return observers at sea level on the ellipsoid of WGS 84.

    Parameters
    ----------
    latitudes, longitudes : array, shape ``(n,)``
        Geodetic latitude north and longitude east [degrees]; longitudes from -180 to 360.

    Returns
    -------
    Observers

    Raises
    ------
    InvalidPosition
        If a latitude or longitude is out of range or NaN, all of them named; or there is not one for each.
    """
    latitude = np.atleast_1d(np.asarray(latitudes, dtype=np.float64))
    longitude = np.atleast_1d(np.asarray(longitudes, dtype=np.float64))
    if latitude.shape != longitude.shape or latitude.ndim != 1:
        problem = f"shape {longitude.shape} does not fit latitudes of shape {latitude.shape}"
        raise InvalidPosition(Fault("longitude", problem, "one longitude for every latitude, one-dimensional"))
    faults = [
        Fault(name, f"{float(value)!r} is out of range", f"degrees from {low} to {high}")
        for name, values, low, high in (("latitude", latitude, -90, 90), ("longitude", longitude, -180, 360))
        for value in values[~((values >= low) & (values <= high))]
    ]
    if faults:
        raise InvalidPosition(faults)
    phi, lam = np.radians(latitude), np.radians(longitude)
    verticals = np.column_stack((np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)))
    shrink = (1.0 - FLATTENING) ** 2
    normal = EARTH_RADIUS_KM / np.sqrt(np.cos(phi) ** 2 + shrink * np.sin(phi) ** 2)
    places = normal[:, None] * verticals * np.array([1.0, 1.0, shrink])
    heights, squares = np.einsum("ij,ij->i", verticals, places), np.einsum("ij,ij->i", places, places)
    return Observers(verticals, places, heights, squares)


@lru_cache(maxsize=_KEPT)
def observer(latitude: float, longitude: float) -> Observers:
    """Return one observer, kept by the process: its arrays are read-only. Everything else as `observers`."""
    found = observers([latitude], [longitude])
    for array in found:
        array.flags.writeable = False
    return found


def altitudes(vectors: FloatArray, watchers: Observers) -> FloatArray:
    """Return the altitude of a body's centre over the horizon of every observer.

    Parameters
    ----------
    vectors : float64 array, shape ``(3, times)``
        Apparent place of the body from the centre of the Earth, in the Earth-fixed frame [km].
    watchers : Observers
        The ``n`` observers.

    Returns
    -------
    float64 array, shape ``(n, times)``
        Geometric altitude [degrees]: parallax included, refraction not.

    Notes
    -----
    Left out: diurnal aberration (at most 0.0001 degree), polar motion (0.0002), height over the sea, the deflection
    of the vertical.
    """
    result = np.empty((watchers.places.shape[0], vectors.shape[1]))
    square = np.einsum("ij,ij->j", vectors, vectors)
    rows = max(1, _BLOCK // max(1, vectors.shape[1]))
    for first in range(0, result.shape[0], rows):
        part = slice(first, first + rows)
        distance, out = watchers.places[part] @ vectors, result[part]
        np.matmul(watchers.verticals[part], vectors, out=out)
        _to_altitudes(out, distance, square, watchers.heights[part, None], watchers.squares[part, None])
    return result


def altitudes_apart(vectors: FloatArray, watchers: Observers, counts: Sequence[int]) -> FloatArray:
    """Return altitudes as `altitudes_each` does, those of more than one instant as `altitudes` to the last digit."""
    found, distance = np.empty((2, 1, vectors.shape[1]))
    first = 0
    for k, count in enumerate(counts):
        part = slice(first, first + count)
        # On its own, as it would be asked for alone: the order of a sum tells in its last digit.
        each = np.ascontiguousarray(vectors[:, part])
        np.matmul(watchers.places[k : k + 1], each, out=distance[:, part])
        np.matmul(watchers.verticals[k : k + 1], each, out=found[:, part])
        first += count
    square = np.einsum("ij,ij->j", vectors, vectors)
    _to_altitudes(found, distance, square, np.repeat(watchers.heights, counts), np.repeat(watchers.squares, counts))
    return np.asarray(found[0])


def _to_altitudes(
    out: FloatArray, distance: FloatArray, square: FloatArray, heights: FloatArray, squares: FloatArray
) -> None:
    """Turn products with verticals in ``out``, of which ``distance`` are those with places, into altitudes."""
    distance *= -2.0
    distance += square
    distance += squares
    np.sqrt(distance, out=distance)
    out -= heights
    out /= distance
    np.clip(out, -1.0, 1.0, out=out)
    np.arcsin(out, out=out)
    np.degrees(out, out=out)


def altitudes_each(vectors: FloatArray, watchers: Observers, counts: IntArray) -> FloatArray:
    """Return altitudes of a body at instants of which every observer has some of its own.

    Parameters
    ----------
    vectors : float64 array, shape ``(3, times)``
        As `altitudes` takes them: the instants of the first observer, then those of the next, and so on.
    watchers : Observers
        The ``n`` observers.
    counts : int array, shape ``(n,)``
        How many instants each has.

    Returns
    -------
    float64 array, shape ``(times,)``
        What `altitudes` has for each observer, to rounding. Each instant is worked out for itself, so that it is the
        same to the last digit whatever it is asked for with.
    """
    x, y, z = vectors
    (px, py, pz), (vx, vy, vz) = (np.repeat(one, counts, axis=0).T for one in (watchers.places, watchers.verticals))
    distance = px * x + py * y + pz * z
    distance *= -2.0
    distance += x * x + y * y + z * z
    distance += np.repeat(watchers.squares, counts)
    found = vx * x + vy * y + vz * z
    found -= np.repeat(watchers.heights, counts)
    found /= np.sqrt(distance)
    return np.asarray(np.degrees(np.arcsin(np.clip(found, -1.0, 1.0))))
