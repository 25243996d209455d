"""Astronomical argument V and node factors f, u of a set of constituents, utide's satellites throughout."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import UnknownName
from tidecore.harmonics.astronomy import longitude_rates, longitudes
from tidecore.harmonics.compounds import compounds
from tidecore.harmonics.tables import constituent_table
from tidecore.units import AnyArray, FloatArray, IntArray

ComplexArray = NDArray[np.complex128]

#: Speeds are taken at this epoch, 2000-01-01; they change by under 1e-7 degree a day in a century.
_SPEED_EPOCH_US = 946_684_800_000_000
#: Latitudes nearer the equator count as this, of the same sign: the factors of the diurnal satellites grow without
#: bound there.
LEAST_LATITUDE = 5.0


#: Z0 is the mean level, no constituent. M7 is 3.5 times M2 in utide's table: half a cycle of M2 has no defined
#: argument, and utide's own jumps at every transit of the moon.
_NOT_OFFERED = frozenset({"Z0", "M7"})


def constituent_names() -> tuple[str, ...]:
    """Return every name of convention "utide" that makes a tide: those of utide's table, then composed ones."""
    return (*table_names(), *compounds())


def table_names() -> tuple[str, ...]:
    """Return the names that utide itself knows and that make a tide, in the order of its table."""
    return tuple(name for name in constituent_table().names if name not in _NOT_OFFERED)


@dataclass(frozen=True, slots=True, eq=False)
class Arguments:
    """V, f and u of the constituents ``names``.

    A compound is the sum of its parents' arguments and the product of their node factors, so it needs no more
    than a row of its own in ``doodson`` (k, 6) and ``semi`` (k,), and powers of its parents' factors.
    ``speeds`` (k,) are in radians an hour.
    """

    names: tuple[str, ...]
    doodson: FloatArray
    semi: FloatArray
    speeds: FloatArray
    #: Row in the table of each constituent, or of the first parent of a compound.
    _rows: IntArray
    #: (place, table row, power) by which a compound is completed after its first parent has been taken once.
    _powers: tuple[tuple[int, int, int], ...]
    #: Powers of M2's node factor, shape (k,), by which each constituent's own factor is multiplied besides.
    node_powers: FloatArray | None = None

    def phases(self, times_us: AnyArray) -> FloatArray:
        """Return V [cycles], shape ``(n, k)`` for instants of shape ``(n,)``; whole cycles have no meaning in it."""
        return longitudes(times_us).T @ self.doodson.T + self.semi

    def node_factors(self, satellites: ComplexArray, latitudes: FloatArray) -> ComplexArray:
        """Return f exp(i u), shape ``(stations, n, k)``.

        Parameters
        ----------
        satellites : complex array, shape (3, constituents of the table, n)
            From `satellite_sums`.
        latitudes : array, shape (stations,)
            Latitudes [degrees north]; those within 5 degrees of the equator count as 5, the equator as 5 north.
        """
        # Factors of latitude are real: as pairs of numbers the sums take half the products.
        pairs = _latitude_factors(latitudes).T @ satellites.view(np.float64).reshape(3, -1)
        of_table = pairs.view(np.complex128).reshape(len(latitudes), *satellites.shape[1:])
        of_table += 1.0
        factors: ComplexArray = of_table[:, self._rows]
        for place, row, power in self._powers:
            if power == 0:
                factors[:, place] = factors[:, place].conj()
                continue
            base = of_table[:, row] if power > 0 else of_table[:, row].conj()
            for _ in range(abs(power)):
                factors[:, place] *= base
        if self.node_powers is not None:
            of_m2 = np.log(np.abs(of_table[:, constituent_table().index()["M2"]]))
            factors *= np.exp(of_m2[:, None, :] * self.node_powers[:, None])
        return factors.swapaxes(1, 2)


def satellite_sums(times_us: AnyArray) -> ComplexArray:
    """Return what the satellites of each constituent of the table add to 1, before factors of latitude.

    Shape ``(3, constituents, n)``: satellites without a factor of latitude, diurnal ones, those of third degree.
    """
    table = constituent_table()
    turns = table.sat_doodson @ longitudes(times_us)[3:6] + table.sat_phase[:, None]
    parts = table.sat_ratio[:, None] * np.exp(2j * np.pi * turns)
    out = np.zeros((3, len(table.names), parts.shape[1]), dtype=np.complex128)
    np.add.at(out, (table.sat_latitude, table.sat_owner), parts)
    return out


def _latitude_factors(latitudes: FloatArray) -> FloatArray:
    """Return the factor of each kind of satellite, shape ``(3, stations)``."""
    away = np.where(np.abs(latitudes) < LEAST_LATITUDE, np.copysign(LEAST_LATITUDE, latitudes + 0.0), latitudes)
    sine = np.sin(np.radians(away))
    return np.stack((np.ones_like(sine), 0.36309 * (1.0 - 5.0 * sine**2) / sine, 2.59808 * sine))


@lru_cache(maxsize=256)
def arguments_of(names: tuple[str, ...]) -> Arguments:
    """Return the `Arguments` of ``names``; raises `UnknownName` for a name that is not in `constituent_names`."""
    table = constituent_table()
    index = table.index()
    composed = compounds()
    parents: list[tuple[tuple[int, float], ...]] = []
    for name in names:
        if name in composed:
            parents.append(tuple((index[parent], float(power)) for parent, power in composed[name]))
        elif name in index and name not in _NOT_OFFERED:
            parents.append(table.parents[index[name]] or ((index[name], 1.0),))
        else:
            raise UnknownName("constituent of convention 'utide'", name, constituent_names())
    doodson = np.array([sum(power * table.doodson[row] for row, power in of) for of in parents])
    powers: list[tuple[int, int, int]] = []
    for place, ((first, power), *others) in enumerate(parents):
        if power < 0:
            powers.append((place, first, 0))
        rest = round(abs(power)) - 1
        if rest:
            powers.append((place, first, rest if power > 0 else -rest))
        powers.extend((place, row, round(power)) for row, power in others)
    return Arguments(
        names=names,
        doodson=doodson,
        semi=np.array([sum(power * table.semi[row] for row, power in of) for of in parents]),
        speeds=doodson @ longitude_rates(_SPEED_EPOCH_US) * (2.0 * np.pi / 24.0),
        _rows=np.array([of[0][0] for of in parents], dtype=np.int64),
        _powers=tuple(powers),
    )
