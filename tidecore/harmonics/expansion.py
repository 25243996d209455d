"""Fast synthesis: constituents -> heights at Chebyshev nodes of every quarter-day.

The argument V of every constituent is exact at the middle of each four-day block and turns with constant speed
inside it; node factors f exp(iu) are exact at Chebyshev nodes of 512-day segments and interpolated to the block
with their first and second derivative. One real matrix product then gives the heights at the Chebyshev nodes of
each of the block's sixteen quarter-days, and a second one anything that is linear in those: samples, rates, hourly
polynomials.

All blocks are anchored to 1970-01-01T00:00Z, so an instant's value does not depend on what was asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev, polynomial

from tidecore.harmonics.arguments import Arguments, ComplexArray, satellite_sums
from tidecore.timebase import US_PER_DAY, US_PER_HOUR
from tidecore.units import FloatArray, IntArray

QUARTER_US = US_PER_DAY // 4
BLOCK_US = 4 * US_PER_DAY
QUARTERS = BLOCK_US // QUARTER_US
#: Resolves twelfth-diurnal lines (M12) to 1e-6 of their amplitude, eighth-diurnal ones to 1e-11.
NODES = 22
_SEGMENT_US = 512 * US_PER_DAY
_SEGMENT_NODES = 24
#: Taylor coefficients of the node factors inside a block: value, slope, curvature.
_ORDERS = 3


def _chebyshev_nodes(count: int) -> FloatArray:
    """Return the Chebyshev nodes of the first kind on [-1, 1], ascending, shape ``(count,)``."""
    nodes: FloatArray = -np.cos(np.pi * (np.arange(count) + 0.5) / count)
    return nodes


def _interpolation(count: int, at: FloatArray, order: int = 0) -> FloatArray:
    """Return the matrix from values at ``count`` nodes to the ``order``-th derivative at points ``at`` in [-1, 1].

    Shape ``(count, len(at))``; the derivative is with respect to the coordinate on [-1, 1].
    """
    to_series = np.linalg.inv(chebyshev.chebvander(_chebyshev_nodes(count), count - 1))
    if order:
        to_series = chebyshev.chebder(to_series, m=order)
    return np.ascontiguousarray((chebyshev.chebvander(at, len(to_series) - 1) @ to_series).T)


@lru_cache(maxsize=64)
def sampling_matrix(offset_us: int, step_us: int, count: int, order: int) -> FloatArray:
    """Return the matrix from a quarter-day's nodes to ``count`` samples, shape ``(NODES, count)``.

    ``order`` 0 gives heights [m], 1 rates [m/h].
    """
    at = (offset_us + step_us * np.arange(count)) / (0.5 * QUARTER_US) - 1.0
    return _interpolation(NODES, at, order) * (0.5 * QUARTER_US / US_PER_HOUR) ** -order


@lru_cache(maxsize=4)
def _piece_matrix(pieces: int, degree: int) -> FloatArray:
    """Return the matrix from a quarter-day's nodes to the monomials of its ``pieces``, lowest order first.

    Shape ``(NODES, pieces * (degree + 1))``.
    """
    local = _chebyshev_nodes(degree + 1)
    to_monomials = np.linalg.inv(polynomial.polyvander(local, degree))
    centres = (2.0 * np.arange(pieces) + 1.0) / pieces - 1.0
    return np.hstack([_interpolation(NODES, centre + local / pieces) @ to_monomials.T for centre in centres])


@lru_cache(maxsize=1)
def _segment_series() -> FloatArray:
    """Return the matrices from node values of a segment to the Chebyshev series of its derivatives an hour.

    Shape ``(3, n, n)``: for the value, its slope, and half its second derivative.
    """
    out = np.zeros((3, _SEGMENT_NODES, _SEGMENT_NODES))
    out[0] = np.linalg.inv(chebyshev.chebvander(_chebyshev_nodes(_SEGMENT_NODES), _SEGMENT_NODES - 1))
    per_hour = US_PER_HOUR / (0.5 * _SEGMENT_US)
    out[1, :-1] = chebyshev.chebder(out[0]) * per_hour
    out[2, :-2] = chebyshev.chebder(out[0], m=2) * per_hour**2 / 2.0
    return out


@lru_cache(maxsize=64)
def _segment_satellites(segment: int) -> ComplexArray:
    """Return the satellites of the whole table at the nodes of one segment; shared by every station."""
    half = 0.5 * _SEGMENT_US
    return satellite_sums((segment + 0.5) * _SEGMENT_US + half * _chebyshev_nodes(_SEGMENT_NODES))


@lru_cache(maxsize=1)
def _block_powers() -> FloatArray:
    """Return what `_powers` is at the middle of each block of a segment: the same in every segment."""
    blocks = np.arange(_SEGMENT_US // BLOCK_US)
    return _powers(blocks * BLOCK_US + BLOCK_US // 2, _ORDERS)


def _powers(since_us: IntArray, orders: int) -> FloatArray:
    """Return the rows from node values of a segment to derivatives at instants [us] since it began.

    Shape ``(n, orders, nodes)``.
    """
    at = since_us / (0.5 * _SEGMENT_US) - 1.0
    of_order = chebyshev.chebvander(at, _SEGMENT_NODES - 1) @ _segment_series()[:orders]
    return np.ascontiguousarray(of_order.swapaxes(0, 1))


def _node_factors(arguments: Arguments, latitudes: FloatArray, segments: IntArray, powers: FloatArray) -> ComplexArray:
    """Return f exp(iu) and its Taylor coefficients an hour: value, slope, half the second derivative.

    Shape ``(stations, n, orders, k)`` for ascending ``segments`` (n,) and ``powers`` (n, orders, nodes).
    """
    count, orders, width = powers.shape
    out = np.empty((len(latitudes), count, orders, len(arguments.names)), dtype=np.complex128)
    # The powers are real: as pairs of numbers the factors take half the products.
    pairs = out.view(np.float64).reshape(len(latitudes), count * orders, -1)
    rows = powers.reshape(count * orders, width)
    for segment in np.unique(segments):
        first, last = (orders * int(place) for place in np.searchsorted(segments, (segment, segment + 1)))
        nodes = arguments.node_factors(_segment_satellites(int(segment)), latitudes)
        np.matmul(rows[first:last], np.ascontiguousarray(nodes).view(np.float64), out=pairs[:, first:last])
    return out


@lru_cache(maxsize=128)
def _turning(names: tuple[str, ...], speeds: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Return the matrices from a block's coefficients to its nodes after the middle, ``(3 k, QUARTERS / 2 * NODES)``.

    The first gives what is alike before and after the middle, the second what changes sign there. Rows belong to
    the Taylor coefficients of the amplitudes, order by order.
    """
    quarter_hours = QUARTER_US / US_PER_HOUR
    centres = (np.arange(QUARTERS // 2) + 0.5) * quarter_hours
    hours = (centres[:, None] + 0.5 * quarter_hours * _chebyshev_nodes(NODES)).ravel()
    turned = np.outer(np.array(speeds), hours)
    even, odd = np.cos(turned), -np.sin(turned)
    # Of the odd orders the real part changes sign and the imaginary part does not.
    alike = [(even, odd)[order % 2] * hours**order for order in range(_ORDERS)]
    opposed = [(odd, even)[order % 2] * hours**order for order in range(_ORDERS)]
    return np.vstack(alike), np.vstack(opposed)


def carriers(arguments: Arguments, times_us: IntArray) -> ComplexArray:
    """Return exp(iV), shape ``(n, k)``."""
    angles = arguments.phases(times_us)
    angles *= 2.0 * np.pi
    out = np.empty(angles.shape, dtype=np.complex128)
    # Two real functions of a real number are twice as quick as one complex exponential.
    np.cos(angles, out=out.real)
    np.sin(angles, out=out.imag)
    return out


def node_factors_at(arguments: Arguments, latitude: float, times_us: IntArray) -> ComplexArray:
    """Return f exp(iu) at ascending instants, shape ``(n, k)``."""
    segments, since = np.divmod(times_us, _SEGMENT_US)
    return _node_factors(arguments, np.array([latitude]), segments, _powers(since, 1))[0, :, 0]


def block_coefficients(
    arguments: Arguments,
    amplitudes: ComplexArray,
    latitudes: FloatArray,
    blocks: IntArray,
    fixed_factors: ComplexArray | None = None,
) -> ComplexArray:
    """Return the Taylor coefficients of the tide of every constituent in ``blocks``, ``(stations, blocks, 3, k)``.

    Parameters
    ----------
    amplitudes : complex array, shape (stations, k)
        Amplitude times exp(-i phase lag) [m].
    blocks : array, shape (n,)
        Numbers of blocks since 1970, ascending.
    fixed_factors : complex array, shape (stations, k), optional
        Node factors held for all times, instead of those of the instant.
    """
    middles = blocks * BLOCK_US + BLOCK_US // 2
    carrier = carriers(arguments, middles)
    turned = carrier * amplitudes[:, None, :]
    if fixed_factors is None:
        segments, places = np.divmod(blocks, _SEGMENT_US // BLOCK_US)
        parts = _node_factors(arguments, latitudes, segments, _block_powers()[places])
        parts *= turned[:, :, None, :]
    else:
        parts = np.zeros((len(latitudes), len(blocks), _ORDERS, len(arguments.names)), dtype=np.complex128)
        parts[:, :, 0] = turned * fixed_factors[:, None, :]
    return parts


def quarter_nodes(arguments: Arguments, coefficients: ComplexArray) -> FloatArray:
    """Return heights [m] at the nodes of every quarter-day, shape ``(stations, blocks * QUARTERS, NODES)``.

    The nodes lie alike before and after a block's middle: one half of them costs the products, the other a sign.
    """
    stations, blocks = coefficients.shape[:2]
    for_even, for_odd = _turning(arguments.names, tuple(arguments.speeds.tolist()))
    alike, opposed = coefficients.real.copy(), coefficients.imag.copy()
    alike[:, :, 1], opposed[:, :, 1] = coefficients[:, :, 1].imag, coefficients[:, :, 1].real
    even = alike.reshape(stations * blocks, -1) @ for_even
    odd = opposed.reshape(stations * blocks, -1) @ for_odd
    half = QUARTERS * NODES // 2
    out = np.empty((stations * blocks, 2 * half))
    np.add(even, odd, out=out[:, half:])
    np.subtract(even, odd, out=out[:, half - 1 :: -1])
    return out.reshape(stations, blocks * QUARTERS, NODES)


def fill_pieces(out: FloatArray, nodes: FloatArray) -> None:
    """Fill ``out`` (pieces, degree + 1) with polynomials over equal parts of the quarter-days ``nodes``."""
    matrix = _piece_matrix(len(out) // len(nodes), out.shape[1] - 1)
    np.matmul(nodes, matrix, out=out.reshape(len(nodes), -1))


def blocks_covering(start_us: int, end_us: int) -> IntArray:
    """Return the numbers of the four-day blocks that cover ``[start_us, end_us]``."""
    return np.arange(start_us // BLOCK_US, end_us // BLOCK_US + 1, dtype=np.int64)


def direct(
    arguments: Arguments, amplitudes: ComplexArray, latitude: float, times_us: IntArray, order: int
) -> FloatArray:
    """Return the tide [m] or its rate [m/h] at few instants far apart, constituent by constituent, shape ``(n,)``."""
    ascending = np.argsort(times_us, kind="stable")
    segments, since = np.divmod(times_us[ascending], _SEGMENT_US)
    terms = _node_factors(arguments, np.array([latitude]), segments, _powers(since, order + 1))[0]
    carrier = carriers(arguments, times_us[ascending])
    out = np.empty(len(times_us))
    turned = terms[:, 0] if order == 0 else terms[:, 1] + 1j * arguments.speeds * terms[:, 0]
    out[ascending] = ((turned * carrier) @ amplitudes).real
    return out


def same_sets(names: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], list[int]]:
    """Return, for each set of names, the places at which it stands."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, of in enumerate(names):
        groups.setdefault(of, []).append(place)
    return groups
