"""Astronomical argument V and node factors f, u of a set of constituents, utide's satellites throughout."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import UnknownName
from tidecore.harmonics.astronomy import longitude_rates, longitudes
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
    """Return every name of convention "utide" that makes a tide, in the order of its table."""
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
    _roots: tuple[int, ...]
    _powers: tuple[tuple[tuple[int, int], ...], ...]
    _sat_rows: IntArray
    _sat_starts: IntArray
    _sat_roots: IntArray

    def phases(self, times_us: AnyArray) -> FloatArray:
        """Return V [cycles], not reduced, shape ``(n, k)`` for instants of shape ``(n,)``."""
        return longitudes(times_us).T @ self.doodson.T + self.semi

    def node_factors(self, times_us: AnyArray, latitudes: FloatArray) -> ComplexArray:
        """Return f exp(i u), shape ``(stations, n, k)``.

        Parameters
        ----------
        times_us : array, shape (n,)
            Instants [microseconds since 1970].
        latitudes : array, shape (stations,)
            Latitudes [degrees north]; those within 5 degrees of the equator count as 5, the equator as 5 north.
        """
        table = constituent_table()
        slow = longitudes(times_us)[3:6]
        of_root = np.ones((len(latitudes), len(self._roots), slow.shape[1]), dtype=np.complex128)
        if self._sat_rows.size:
            rows = self._sat_rows
            turns = table.sat_doodson[rows] @ slow + table.sat_phase[rows, None]
            parts = table.sat_ratio[rows, None] * np.exp(2j * np.pi * turns)
            for kind in range(3):
                chosen = np.where(table.sat_latitude[rows, None] == kind, parts, 0.0)
                summed = np.add.reduceat(chosen, self._sat_starts, axis=0)
                of_root[:, self._sat_roots] += _latitude_factor(kind, latitudes)[:, None, None] * summed
        factors = np.ones((len(latitudes), len(self.names), slow.shape[1]), dtype=np.complex128)
        for row, powers in enumerate(self._powers):
            for root, power in powers:
                base = of_root[:, root] if power > 0 else of_root[:, root].conj()
                for _ in range(abs(power)):
                    factors[:, row] *= base
        return factors.swapaxes(1, 2)


def _latitude_factor(kind: int, latitudes: FloatArray) -> FloatArray:
    """Return the factor of satellites of one kind: 0 none, 1 diurnal, 2 semidiurnal of third degree."""
    away = np.where(np.abs(latitudes) < LEAST_LATITUDE, np.copysign(LEAST_LATITUDE, latitudes + 0.0), latitudes)
    sine = np.sin(np.radians(away))
    if kind == 1:
        factor: FloatArray = 0.36309 * (1.0 - 5.0 * sine**2) / sine
        return factor
    return 2.59808 * sine if kind == 2 else np.ones_like(sine)


@lru_cache(maxsize=256)
def arguments(names: tuple[str, ...]) -> Arguments:
    """Return the `Arguments` of ``names``; raises `UnknownName` for a name that utide's table lacks."""
    table = constituent_table()
    index = table.index()
    for name in names:
        if name not in index or name in _NOT_OFFERED:
            raise UnknownName("constituent of convention 'utide'", name, constituent_names())
    rows = [index[name] for name in names]
    powers = [table.parents[row] or ((row, 1.0),) for row in rows]
    roots = tuple(sorted({parent for powers_of in powers for parent, _ in powers_of}))
    place = {root: at for at, root in enumerate(roots)}
    doodson = np.array([sum(power * table.doodson[parent] for parent, power in of) for of in powers])
    semi = np.array([sum(power * table.semi[parent] for parent, power in of) for of in powers])
    sat_rows = np.flatnonzero(np.isin(table.sat_owner, roots))
    sat_rows = sat_rows[np.argsort(table.sat_owner[sat_rows], kind="stable")]
    owners, starts = np.unique(table.sat_owner[sat_rows], return_index=True)
    return Arguments(
        names=names,
        doodson=doodson.reshape(len(names), 6),
        semi=semi.reshape(len(names)),
        speeds=doodson.reshape(len(names), 6) @ longitude_rates(_SPEED_EPOCH_US) * (2.0 * np.pi / 24.0),
        _roots=roots,
        _powers=tuple(tuple((place[parent], round(power)) for parent, power in of) for of in powers),
        _sat_rows=sat_rows,
        _sat_starts=starts,
        _sat_roots=np.array([place[int(owner)] for owner in owners], dtype=np.int64),
    )
