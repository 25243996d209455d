"""Ordinary least squares in real arithmetic on utide's own basis, by normal equations that add up.

A record cut into parts needs its products only once: the normal equations of any union of parts, of any subset of
constituents, and of everything but one part are sums and cuttings of what is there. Coefficients equal those of
``utide.solve``, at a fraction of its time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tidecore.errors import Fault, InvalidInput, UnknownName
from tidecore.harmonics import expansion
from tidecore.harmonics.arguments import ComplexArray, arguments_of, satellite_sums
from tidecore.harmonics.engine import Solution
from tidecore.harmonics.synthesis import NODAL_OPTIONS, Harmonics
from tidecore.timebase import US_PER_DAY
from tidecore.units import FloatArray, IntArray

#: Rows of the basis held at once: bounds the working memory.
_ROWS = 4096


@dataclass(frozen=True, slots=True, eq=False)
class NormalEquations:
    """Products of a basis with itself and with levels, ``(m, m)``, ``(m,)``; sum of squared levels; rows.

    They add and subtract: parts of a record make the whole, the whole less a part makes the rest.
    """

    gram: FloatArray
    right: FloatArray
    energy: float
    count: float

    def __add__(self, other: NormalEquations) -> NormalEquations:
        """Return the equations of both sets of rows."""
        return NormalEquations(
            self.gram + other.gram, self.right + other.right, self.energy + other.energy, self.count + other.count
        )

    def __sub__(self, other: NormalEquations) -> NormalEquations:
        """Return the equations of the rows that are not in ``other``, which must be among these."""
        return NormalEquations(
            self.gram - other.gram, self.right - other.right, self.energy - other.energy, self.count - other.count
        )

    def taking(self, columns: IntArray) -> NormalEquations:
        """Return the equations of some columns of the basis."""
        return NormalEquations(self.gram[np.ix_(columns, columns)], self.right[columns], self.energy, self.count)

    def solve(self, right: FloatArray | None = None, ridge: FloatArray | None = None) -> FloatArray:
        """Return the coefficients, shape ``(m,)``; InvalidInput where the rows do not determine them.

        Parameters
        ----------
        right : array, shape (m,), optional
            Solve for this right side instead of the levels'.
        ridge : array, shape (m,), optional
            Added to the diagonal: the inverse variance of each coefficient about zero, in units of the noise's.
        """
        if ridge is None and self.count < len(self.gram):
            raise _undetermined()
        gram = self.gram if ridge is None else self.gram + np.diag(ridge)
        # Columns of one size keep the solution of a long record as exact as that of a short one.
        size = np.sqrt(np.maximum(np.diag(gram), np.finfo(float).tiny))
        try:
            found = np.linalg.solve(gram / np.outer(size, size), (self.right if right is None else right) / size)
        except np.linalg.LinAlgError as error:
            raise _undetermined() from error
        if not np.isfinite(found).all():
            raise _undetermined()
        coefficients: FloatArray = found / size
        return coefficients

    def residual_energy(self, coefficients: FloatArray) -> float:
        """Return the sum of squares that ``coefficients`` leave of these rows."""
        left = self.energy - 2.0 * (coefficients @ self.right) + coefficients @ self.gram @ coefficients
        return max(float(left), 0.0)


def _undetermined() -> InvalidInput:
    return InvalidInput(Fault("constituents", "cannot be told apart by this record", "fewer, or a longer record"))


def basis(
    names: tuple[str, ...],
    latitude: float,
    times_us: IntArray,
    nodal: str = "exact",
    nodal_at_us: int | None = None,
    node_powers: FloatArray | None = None,
) -> ComplexArray:
    """Return f exp(i(V + u)), shape ``(n, k)``: the height is the real part of its product with A exp(-ig).

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    nodal : {"exact", "linear_time", "none"}
    nodal_at_us : int, optional
        Where node factors are held by "linear_time".
    node_powers : array, shape (k,), optional
        See `Harmonics`.
    """
    lines = arguments_of(names)
    if node_powers is not None:
        lines = replace(lines, node_powers=node_powers)
    out = expansion.carriers(lines, times_us)
    if nodal == "exact":
        out *= expansion.node_factors_at(lines, latitude, times_us)
    elif nodal == "linear_time":
        out *= lines.node_factors(satellite_sums(np.array([nodal_at_us])), np.array([latitude]))[0]
    return out


def real_columns(of: ComplexArray) -> FloatArray:
    """Return a complex basis as real columns, cosine and sine of each constituent side by side, ``(n, 2 k)``."""
    return np.ascontiguousarray(of).view(np.float64)


def equations_of(columns: FloatArray, levels: FloatArray, weights: FloatArray | None = None) -> NormalEquations:
    """Return the normal equations of rows of a basis.

    Parameters
    ----------
    columns : array, shape (n, m)
    levels : array, shape (n,)
        [m]
    weights : array, shape (n,), optional
        Weight of each row, in units of its inverse variance; 0 leaves it out.
    """
    if weights is None:
        return NormalEquations(columns.T @ columns, columns.T @ levels, float(levels @ levels), float(len(levels)))
    weighted = columns * weights[:, None]
    return NormalEquations(
        weighted.T @ columns, weighted.T @ levels, float((levels * weights) @ levels), float(weights.sum())
    )


def least_squares(
    times_us: IntArray,
    levels: FloatArray,
    latitude: float,
    constituents: Sequence[str],
    nodal: str = "exact",
    trend: bool = False,
    weights: FloatArray | None = None,
    node_powers: FloatArray | None = None,
) -> Solution:
    """Fit constituents to levels as ``tidecore.harmonics.engine.solve`` does by ordinary least squares, only faster.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        Valid levels [m].
    latitude : float
        [degrees north]
    constituents : sequence of str
        Names of convention "utide".
    nodal : {"exact", "linear_time", "none"}
    trend : bool
        Fit a linear trend beside the constituents.
    weights : array, shape (n,), optional
        Weight of each value; a mask is weights of 0 and 1.
    node_powers : array, shape (k,), optional
        See `Harmonics`.

    Raises
    ------
    UnknownName
        For an option or a constituent that does not exist.
    InvalidInput
        Where the record does not tell the constituents apart.

    Notes
    -----
    Normal equations lose half the digits of a badly separated set; one refinement by the residual of the rows
    brings them back. Coefficients equal those of ``utide.solve`` within 1e-7 m; the latitude of node factors is
    held at 5 degrees from the equator, as utide holds it.
    """
    if nodal not in NODAL_OPTIONS:
        raise UnknownName("nodal option", nodal, NODAL_OPTIONS)
    names = tuple(constituents)
    middle = round((int(times_us[0]) + int(times_us[-1])) / 2)
    rows = _Rows(names, latitude, times_us, nodal, middle, trend, node_powers)
    whole: NormalEquations | None = None
    for part in rows.parts():
        of = equations_of(rows.columns(part), levels[part], None if weights is None else weights[part])
        whole = of if whole is None else whole + of
    if whole is None:
        raise _undetermined()
    found = whole.solve()
    found += whole.solve(rows.against_residual(found, levels, weights))
    pairs = found[: 2 * len(names)].view(np.complex128)
    harmonics = Harmonics(
        names=names,
        amplitude=np.abs(pairs),
        phase=np.degrees(np.angle(pairs)) % 360.0,
        latitude=latitude,
        mean_level=float(found[2 * len(names)]),
        nodal=nodal,
        nodal_at_us=middle if nodal == "linear_time" else None,
        node_powers=node_powers,
    )
    return Solution(harmonics, None, float(found[-1]) if trend else None, middle)


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """The rows of a fit's basis: constituents, a one for the mean level, days from the middle for a trend."""

    names: tuple[str, ...]
    latitude: float
    times_us: IntArray
    nodal: str
    middle_us: int
    trend: bool
    node_powers: FloatArray | None

    def parts(self) -> list[slice]:
        return [slice(at, at + _ROWS) for at in range(0, len(self.times_us), _ROWS)]

    def columns(self, part: slice) -> FloatArray:
        times = self.times_us[part]
        lines = real_columns(basis(self.names, self.latitude, times, self.nodal, self.middle_us, self.node_powers))
        extra = [np.ones(len(times))]
        if self.trend:
            extra.append((times - self.middle_us) / US_PER_DAY)
        return np.hstack((lines, np.stack(extra, axis=1)))

    def against_residual(self, found: FloatArray, levels: FloatArray, weights: FloatArray | None) -> FloatArray:
        """Return the products of the basis with what ``found`` leaves of the levels."""
        out = np.zeros(len(found))
        for part in self.parts():
            columns = self.columns(part)
            residual = levels[part] - columns @ found
            out += columns.T @ (residual if weights is None else residual * weights[part])
        return out
