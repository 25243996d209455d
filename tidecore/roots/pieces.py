"""A function of time as polynomials over equal, adjoining pieces: quick at scattered instants."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from tidecore.errors import Fault, InvalidInput, InvalidSpan
from tidecore.timebase import US_PER_HOUR
from tidecore.units import AnyArray, FloatArray, IntArray

#: Scattered instants are evaluated so many at a time: bounds the working memory, and costs few calls.
_BLOCK = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class PiecewisePolynomial:
    """Polynomials over ``n`` pieces of equal width that follow one another without gap.

    Piece ``i`` runs from ``start_us + i * width_us`` for ``width_us``; across it ``u`` goes from -1 to 1, and the
    value is the sum over ``k`` of ``coefficients[i, k] * u**k``.

    Parameters
    ----------
    start_us : int
        Start of the first piece [microseconds since 1970].
    width_us : int
        Width of every piece [microseconds].
    coefficients : float64 array, shape ``(n, degree + 1)``
        Lowest order first, in the unit of the value. Held piece by piece, so that an instant finds its orders side
        by side; a C-ordered array is taken over without a copy, and must not be written to afterwards.
    breaks_us : tuple of int
        Borders of pieces at which the value and its slope may step [microseconds since 1970], ascending.

    Raises
    ------
    InvalidInput
        If there is no piece, no coefficient, no width, or a coefficient that is not finite.

    Examples
    --------
    >>> line = PiecewisePolynomial(0, 3_600_000_000, np.array([[0.5, 0.5], [1.5, 0.5]]))
    >>> line(np.array([0, 5_400_000_000, 7_200_000_000])).tolist()
    [0.0, 1.5, 2.0]
    >>> line.derivative()(np.array([1_000_000])).tolist()
    [1.0]
    """

    start_us: int
    width_us: int
    coefficients: FloatArray
    breaks_us: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Check the shapes and lay the coefficients out by piece."""
        coefficients = np.ascontiguousarray(self.coefficients, dtype=np.float64)
        if coefficients.ndim != 2 or 0 in coefficients.shape:
            problem, expected = f"has shape {coefficients.shape}", "at least one piece and one coefficient, (n, d + 1)"
            raise InvalidInput(Fault("coefficients", problem, expected))
        if self.width_us <= 0:
            raise InvalidInput(Fault("width_us", f"is {self.width_us}", "a positive number of microseconds"))
        if not np.isfinite(coefficients).all():
            raise InvalidInput(Fault("coefficients", "hold NaN or infinity", "finite numbers"))
        object.__setattr__(self, "coefficients", coefficients)

    def __len__(self) -> int:
        """Return the number of pieces."""
        return int(self.coefficients.shape[0])

    @property
    def degree(self) -> int:
        """Degree of the polynomials."""
        return int(self.coefficients.shape[1]) - 1

    @property
    def end_us(self) -> int:
        """End of the last piece [microseconds since 1970]."""
        return self.start_us + len(self) * self.width_us

    def between_breaks(self) -> list[PiecewisePolynomial]:
        """Return the parts that lie between ``breaks_us``, or the whole where there is no break inside."""
        inside = [at for at in self.breaks_us if self.start_us < at < self.end_us]
        places = [0, *((at - self.start_us) // self.width_us for at in inside), len(self)]
        return [
            PiecewisePolynomial(self.start_us + a * self.width_us, self.width_us, self.coefficients[a:b])
            for a, b in itertools.pairwise(places)
        ]

    def __call__(self, times_us: IntArray | FloatArray) -> FloatArray:
        """Return the values at instants in any order.

        Parameters
        ----------
        times_us : int64 or float64 array, any shape
            Instants [microseconds since 1970] from ``start_us`` to ``end_us``, both included; a border between two
            pieces belongs to the later one.

        Returns
        -------
        float64 array of the same shape

        Raises
        ------
        InvalidSpan
            If an instant is NaN or lies outside.
        """
        times: AnyArray = np.asarray(times_us)
        if not times.size:
            return np.empty(times.shape)
        if not (times.min() >= self.start_us and times.max() <= self.end_us):
            problem = f"from {times.min()} to {times.max()}"
            raise InvalidSpan(Fault("times_us", problem, f"instants from {self.start_us} to {self.end_us}"))
        flat = times.reshape(-1)
        values = np.empty(flat.size)
        for first in range(0, flat.size, _BLOCK):
            self._evaluate(flat[first : first + _BLOCK], values[first : first + _BLOCK])
        return values.reshape(times.shape)

    def _evaluate(self, times: AnyArray, out: FloatArray) -> None:
        """Write the values at ``times``, known to lie inside, into ``out``."""
        # Whole microseconds below 2**53 lose nothing as floats; the place in the piece keeps 1e-16 of all pieces.
        u = np.subtract(times, self.start_us, dtype=np.float64)
        u *= 1.0 / self.width_us
        whole = np.minimum(np.floor(u), len(self) - 1.0)
        piece = whole.astype(np.intp)
        u -= whole
        u *= 2.0
        u -= 1.0
        flat, width = self.coefficients.reshape(-1), self.degree + 1
        piece *= width
        # "clip" lets numpy write straight into the array given; every index is in range already.
        np.take(flat[width - 1 :], piece, out=out, mode="clip")
        gathered = np.empty_like(out)
        for order in range(width - 2, -1, -1):
            out *= u
            out += np.take(flat[order:], piece, out=gathered, mode="clip")

    def at_places(self, places: FloatArray) -> FloatArray:
        """Return the values at the same places of every piece.

        Parameters
        ----------
        places : float64 array, shape ``(m,)``
            Places ``u`` from -1 to 1.

        Returns
        -------
        float64 array, shape ``(n, m)``
        """
        powers = np.vander(np.asarray(places, dtype=np.float64), self.degree + 1, increasing=True)
        return self.coefficients @ powers.T

    def derivative(self) -> PiecewisePolynomial:
        """Return the rate of change, per hour, over the same pieces."""
        if self.degree == 0:
            return replace(self, coefficients=np.zeros((len(self), 1)))
        factors = np.arange(1, self.degree + 1) * (2.0 * US_PER_HOUR / self.width_us)
        return replace(self, coefficients=self.coefficients[:, 1:] * factors)
