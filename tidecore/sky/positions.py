"""Sun and moon over a span, computed once and shared over all marks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tidecore.errors import Fault, InvalidSpan
from tidecore.sky import ephemeris
from tidecore.sky.topocentre import Observers, altitudes, altitudes_apart, observer, observers
from tidecore.timebase import US_PER_SECOND, TimeSpan, from_microseconds, instant
from tidecore.units import AnyArray, FloatArray, IntArray

#: Positions reach this much beyond the span asked for, at both ends.
PADDING_DAYS = 2.0
MOON_RADIUS_KM = 1737.4

_SUN, _MOON = np.arange(ephemeris.ROWS)[ephemeris.SUN], np.arange(ephemeris.ROWS)[ephemeris.MOON]
_BOTH = np.concatenate((_SUN, _MOON))
_SUN_TURNING, _MOON_TURNING, _BOTH_TURNING = (np.append(rows, ephemeris.TURN) for rows in (_SUN, _MOON, _BOTH))
_DELTA_T = np.array([ephemeris.DELTA_T])


#: Of so many instants, what hangs on no mark is kept for the next mark: the steps of a search of weeks.
_SHARED_FROM, _SHARED_TO = 1000, 10_000


class BodyAltitudes(NamedTuple):
    """Altitudes of ``sun`` and ``moon`` [degrees], each of shape ``(marks, times)``."""

    sun: FloatArray
    moon: FloatArray


class Place(NamedTuple):
    """Apparent geocentric place of a body: two angles [degrees] and the distance [km], each of the shape of times.

    The distance is the true one of the instant, no light-time in it.
    ``longitude`` is a right ascension or an ecliptic longitude from 0 to 360, ``latitude`` a declination or an
    ecliptic latitude, of the true equator, ecliptic and equinox of date.
    """

    longitude: FloatArray
    latitude: FloatArray
    distance_km: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SkyPositions:
    """Apparent positions of sun and moon over a span; made by `sky_positions`.

    Instants are arrays of microseconds since 1970 UTC, integer or float, of any shape and order, from two days
    before ``start`` to two days after ``end``. What an instant gives never depends on the span. The object is
    frozen, holds about 250 bytes a day, pickles, and may be shared between threads.
    """

    start: np.datetime64
    end: np.datetime64
    first_piece: int = field(repr=False)
    #: As `tidecore.sky.ephemeris.block`, shape ``(9, 7, pieces)``.
    coefficients: FloatArray = field(repr=False)
    #: TT - UTC: from which instant [microseconds since 1970], how much [microseconds].
    leap_dates_us: IntArray = field(repr=False)
    leap_offsets_us: IntArray = field(repr=False)

    @property
    def start_us(self) -> int:
        """Start of the span asked for [microseconds since 1970]."""
        return int(self.start.astype(np.int64))

    @property
    def end_us(self) -> int:
        """End of the span asked for [microseconds since 1970]."""
        return int(self.end.astype(np.int64))

    def sun_altitude(self, latitude: float, longitude: float, times_us: AnyArray) -> FloatArray:
        """Return the altitude of the sun's centre [degrees], parallax included, refraction not.

        Parameters
        ----------
        latitude, longitude : float
            Geodetic latitude north and longitude east of the mark [degrees].
        times_us : array
            Instants [microseconds since 1970 UTC].

        Returns
        -------
        float64 array of the shape of ``times_us``

        Raises
        ------
        InvalidPosition
            If latitude or longitude is out of range.
        InvalidSpan
            If an instant lies more than two days outside the span.

        Notes
        -----
        Within 0.0001 degree of skyfield's own altitudes in tests; see `tidecore.sky.topocentre.altitudes`.
        """
        found = altitudes(self._shared(_sun_turned, times_us)[0], observer(latitude, longitude))
        return found.reshape(np.shape(times_us))

    def moon_altitude(self, latitude: float, longitude: float, times_us: AnyArray) -> FloatArray:
        """Return the altitude of the moon's centre [degrees]; everything else as `sun_altitude`."""
        found = altitudes(self.moon_vectors(times_us), observer(latitude, longitude))
        return found.reshape(np.shape(times_us))

    def moon_seen(self, latitude: float, longitude: float, times_us: AnyArray) -> tuple[FloatArray, FloatArray]:
        """Return `moon_altitude` and `illuminated_fraction`; asked for together they cost little more than one."""
        vectors, lit = self._shared(_moon_and_light, times_us)
        found = altitudes(vectors, observer(latitude, longitude))
        return found.reshape(np.shape(times_us)), lit.reshape(np.shape(times_us)).copy()

    def sun_altitude_each(self, watchers: Observers, counts: Sequence[int], times_us: IntArray) -> FloatArray:
        """Return `sun_altitude` at so many instants of every observer, one after another."""
        return altitudes_apart(self.sun_vectors(times_us), watchers, counts)

    def moon_seen_each(
        self, watchers: Observers, counts: Sequence[int], times_us: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return `moon_seen` at so many instants of every observer, one after another."""
        vectors, lit = _moon_and_light(self, _instants(times_us))
        return altitudes_apart(vectors, watchers, counts), lit

    def altitudes_many(self, latitudes: ArrayLike, longitudes: ArrayLike, times_us: AnyArray) -> BodyAltitudes:
        """Return the altitudes of sun and moon at many marks at the same instants.

        Parameters
        ----------
        latitudes, longitudes : array, shape ``(marks,)``
            Geodetic latitude north and longitude east [degrees].
        times_us : array, shape ``(times,)``
            Instants [microseconds since 1970 UTC].

        Returns
        -------
        BodyAltitudes
            ``sun`` and ``moon``, each of shape ``(marks, times)`` [degrees]; 8 bytes a value: take the marks in
            parts where that is too much.

        Raises
        ------
        InvalidPosition, InvalidSpan
            As `sun_altitude`.
        """
        watchers = observers(latitudes, longitudes)
        return BodyAltitudes(
            altitudes(self.sun_vectors(times_us), watchers), altitudes(self.moon_vectors(times_us), watchers)
        )

    def sun_vectors(self, times_us: AnyArray) -> FloatArray:
        """Return the sun in the Earth-fixed frame [km], shape ``(3, n)``; every mark's altitude follows from it."""
        return self._earth_fixed(_SUN_TURNING, times_us)

    def moon_vectors(self, times_us: AnyArray) -> FloatArray:
        """Return the moon in the Earth-fixed frame [km], shape ``(3, n)``; every mark's altitude follows from it."""
        return self._earth_fixed(_MOON_TURNING, times_us)

    def sun_equatorial(self, times_us: AnyArray) -> Place:
        """Return right ascension, declination and distance of the sun, apparent, true equinox of date."""
        return _angles(self._rows(_SUN, times_us), np.shape(times_us))

    def moon_equatorial(self, times_us: AnyArray) -> Place:
        """Return right ascension, declination and distance of the moon, apparent, true equinox of date."""
        return _angles(self._rows(_MOON, times_us), np.shape(times_us))

    def sun_ecliptic(self, times_us: AnyArray) -> Place:
        """Return ecliptic longitude, latitude and distance of the sun, apparent, true equinox of date."""
        return _angles(self._ecliptic(_SUN, times_us), np.shape(times_us))

    def moon_ecliptic(self, times_us: AnyArray) -> Place:
        """Return ecliptic longitude, latitude and distance of the moon, apparent, true equinox of date."""
        return _angles(self._ecliptic(_MOON, times_us), np.shape(times_us))

    def moon_distance_km(self, times_us: AnyArray) -> FloatArray:
        """Return the distance of the moon's centre from the Earth's [km]."""
        moon = self._rows(_MOON, times_us)
        return np.asarray(np.linalg.norm(moon, axis=0)).reshape(np.shape(times_us))

    def moon_semidiameter_deg(self, times_us: AnyArray) -> FloatArray:
        """Return the moon's apparent radius from the Earth's centre [degrees], for a mean radius of 1737.4 km."""
        return np.asarray(np.degrees(np.arcsin(MOON_RADIUS_KM / self.moon_distance_km(times_us))))

    def moon_elongation_deg(self, times_us: AnyArray) -> FloatArray:
        """Return how far the moon stands east of the sun in apparent ecliptic longitude [degrees, 0 to 360).

        0 is new moon, 90 first quarter, 180 full, 270 last quarter: below 180 the moon is waxing.
        """
        sun, moon = self.sun_ecliptic(times_us), self.moon_ecliptic(times_us)
        return _wrapped(moon.longitude - sun.longitude)

    def illuminated_fraction(self, times_us: AnyArray) -> FloatArray:
        """Return the lit part of the moon's disc, 0 to 1, as seen from the Earth's centre.

        References
        ----------
        Meeus (1998), Astronomical Algorithms, 2nd ed., chapter 48: (1 + cos i) / 2, i the angle at the moon between
        sun and Earth.
        """
        rows = self._rows(_BOTH, times_us)
        return _lit(rows[:3], rows[3:]).reshape(np.shape(times_us))

    def tt_minus_utc_s(self, times_us: AnyArray) -> FloatArray:
        """Return terrestrial time less UTC [s]; before 1972 less UT1, which civil time then followed."""
        times = _instants(times_us)
        return np.asarray((self._terrestrial(times) - times) / US_PER_SECOND).reshape(np.shape(times_us))

    def _shared(self, make: _Maker, times_us: AnyArray) -> tuple[FloatArray, ...]:
        """Return what hangs on no mark; kept for a while where so many instants are asked for as many marks share."""
        times = _instants(times_us)
        if not _SHARED_FROM <= times.size <= _SHARED_TO:
            return make(self, times)
        return _kept(make, self, times.tobytes())

    def _terrestrial(self, times: FloatArray) -> FloatArray:
        """Return instants in terrestrial time [microseconds since 1970 TT], refusing what is not covered."""
        if times.size:
            # Most often all lie between two leap seconds.
            first, last = np.searchsorted(self.leap_dates_us, (times.min(), times.max()), side="right")
            if first == last and first > 0:
                return np.asarray(times + float(self.leap_offsets_us[first - 1]))
        steps = np.maximum(np.searchsorted(self.leap_dates_us, times, side="right") - 1, 0)
        offsets = self.leap_offsets_us[steps].astype(np.float64)
        early = times < ephemeris.UTC_BEGINS_US
        if early.any():
            delta_t = self._interpolated(_DELTA_T, times[early])[0]
            offsets[early] = delta_t * US_PER_SECOND
        return np.asarray(times + offsets)

    def _rows(self, rows: IntArray, times_us: AnyArray) -> FloatArray:
        """Return interpolated rows at instants of UTC, shape ``(rows, n)``."""
        return self._interpolated(rows, self._terrestrial(_instants(times_us)))

    def _interpolated(self, rows: IntArray, tt_us: FloatArray) -> FloatArray:
        """Return interpolated rows at instants of terrestrial time, shape ``(rows, n)``."""
        count = self.coefficients.shape[2]
        if tt_us.size and not (
            tt_us.min() >= self.first_piece * ephemeris.PIECE_US
            and tt_us.max() < (self.first_piece + count) * ephemeris.PIECE_US
        ):
            raise self._not_covered(tt_us)
        since = tt_us / ephemeris.PIECE_US
        pieces = np.floor(since)
        u = 2.0 * (since - pieces) - 1.0
        index = pieces.astype(np.intp) - self.first_piece
        powers = self.coefficients[rows].take(index, axis=2)
        result = powers[:, -1].copy()
        for order in range(ephemeris.DEGREE - 1, -1, -1):
            result *= u
            result += powers[:, order]
        return result

    def _earth_fixed(self, turning: IntArray, times_us: AnyArray) -> FloatArray:
        """Return the vectors of a body turned with the Earth [km], shape ``(3, n)``."""
        tt_us = self._terrestrial(_instants(times_us))
        rows = self._interpolated(turning, tt_us)
        return _turned(rows[:3], rows[3], tt_us)

    def _ecliptic(self, body: IntArray, times_us: AnyArray) -> FloatArray:
        """Return the vectors of a body in the ecliptic of date [km], shape ``(3, n)``."""
        tt_us = self._terrestrial(_instants(times_us))
        x, y, z, obliquity = self._interpolated(np.append(body, ephemeris.OBLIQUITY), tt_us)
        cosine, sine = np.cos(np.radians(obliquity)), np.sin(np.radians(obliquity))
        return np.stack((x, y * cosine + z * sine, z * cosine - y * sine))

    def _not_covered(self, tt_us: FloatArray) -> InvalidSpan:
        """Return the error for instants outside the span that was computed."""
        if np.isnan(tt_us).any():
            problem = "NaN"
        else:
            first, last = from_microseconds(np.array([tt_us.min(), tt_us.max()]))
            problem = f"from {first} to {last}"
        reach = TimeSpan(self.start, self.end).padded(PADDING_DAYS)
        return InvalidSpan(Fault("times_us", problem, f"instants from {reach.start} to {reach.end}"))


def sky_positions(start: np.datetime64 | str, end: np.datetime64 | str) -> SkyPositions:
    """Return the positions of sun and moon over ``[start, end)``, and two days beyond both ends.

    Apparent geocentric positions of the JPL ephemeris DE421 (light-time, aberration, true equator and equinox of
    date by IAU 2000A/2006), interpolated by polynomials of degree 6 over pieces of two days that are anchored to
    1970. Universal time follows the tables inside skyfield: measured, and predicted for later years.

    Parameters
    ----------
    start, end : datetime64 or ISO text
        Span [UTC], between 1899-08-02 and 2053-10-05. Before 1972 universal time (UT1) is meant, which civil time
        then followed.

    Returns
    -------
    SkyPositions

    Raises
    ------
    InvalidSpan
        If the end is not after the start.
    OutsideEphemeris
        If the span is not covered.

    Notes
    -----
    Cost: about 12 ms for each 32 days met for the first time (blocks are kept by the process, see
    `tidecore.sky.ephemeris.block`), and once about 0.15 s to import skyfield. Interpolation error: 2e-7 degree.
    """
    span = TimeSpan(instant(start, "start"), instant(end, "end"))
    ephemeris.require_covered(span.start, span.end)
    reach = span.padded(PADDING_DAYS)
    # A minute and a half is more than TT - UTC of any year covered.
    first = reach.start_us // ephemeris.PIECE_US
    end_piece = (reach.end_us + 90 * US_PER_SECOND) // ephemeris.PIECE_US + 1
    each = ephemeris.PIECES_PER_BLOCK
    indices = range(first // each, (end_piece - 1) // each + 1)
    stored = np.concatenate([ephemeris.block(index) for index in indices], axis=2)
    skip = first - max(indices[0] * each, ephemeris.FIRST_PIECE)
    coefficients = np.ascontiguousarray(stored[:, :, skip : skip + end_piece - first])
    coefficients.flags.writeable = False
    return SkyPositions(span.start, span.end, first, coefficients, *ephemeris.leap_seconds())


_Maker = Callable[[SkyPositions, FloatArray], tuple[FloatArray, ...]]


def _sun_turned(positions: SkyPositions, times_us: FloatArray) -> tuple[FloatArray, ...]:
    return (positions.sun_vectors(times_us),)


def _moon_and_light(positions: SkyPositions, times_us: FloatArray) -> tuple[FloatArray, ...]:
    """Return the moon in the Earth-fixed frame, and the lit part of its disc."""
    tt_us = positions._terrestrial(times_us)
    rows = positions._interpolated(_BOTH_TURNING, tt_us)
    return _turned(rows[3:6], rows[6], tt_us), _lit(rows[:3], rows[3:6])


@lru_cache(maxsize=8)
def _kept(make: _Maker, positions: SkyPositions, times: bytes) -> tuple[FloatArray, ...]:
    found = make(positions, np.frombuffer(times, dtype=np.float64))
    for array in found:
        array.flags.writeable = False
    return found


def _instants(times_us: AnyArray) -> FloatArray:
    """Return instants as a flat float array; microseconds of any covered year are exact in it."""
    array = np.asarray(times_us)
    if array.dtype.kind not in "iuf":
        raise InvalidSpan(Fault("times_us", f"of type {array.dtype}", "numbers: microseconds since 1970 UTC"))
    return array.astype(np.float64).ravel()


def _turned(vectors: FloatArray, turn: FloatArray, tt_us: FloatArray) -> FloatArray:
    """Return vectors of the true equator turned with the Earth, shape ``(3, n)``."""
    x, y, z = vectors
    angle = np.radians(np.mod(ephemeris.uniform_turn(tt_us) + turn, 360.0))
    cosine, sine = np.cos(angle), np.sin(angle)
    found = np.empty_like(vectors)
    found[0] = x * cosine + y * sine
    found[1] = y * cosine - x * sine
    found[2] = z
    return found


def _lit(sun: FloatArray, moon: FloatArray) -> FloatArray:
    """Return the lit part of the moon's disc, of the vectors of both."""
    to_sun = sun - moon
    cosine = -np.einsum("ij,ij->j", to_sun, moon)
    cosine /= np.linalg.norm(to_sun, axis=0) * np.linalg.norm(moon, axis=0)
    return np.asarray(np.clip(0.5 + 0.5 * cosine, 0.0, 1.0))


def _angles(vectors: FloatArray, shape: tuple[int, ...]) -> Place:
    """Return the longitude, latitude and length of vectors of shape ``(3, n)``."""
    x, y, z = vectors
    length = np.linalg.norm(vectors, axis=0)
    longitude, latitude = np.degrees(np.arctan2(y, x)), np.degrees(np.arcsin(np.clip(z / length, -1.0, 1.0)))
    return Place(_wrapped(longitude).reshape(shape), latitude.reshape(shape), length.reshape(shape))


def _wrapped(degrees: FloatArray) -> FloatArray:
    """Return angles from 0 to just under 360."""
    turned = np.mod(degrees, 360.0)
    return np.asarray(np.where(turned < 360.0, turned, 0.0))
