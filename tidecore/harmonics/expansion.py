"""Fast synthesis: constituents -> heights at Chebyshev nodes of every quarter-day.

The argument V of every constituent is exact at the middle of each two-day block and turns with constant speed
inside it; node factors f exp(iu) are exact at Chebyshev nodes of 512-day segments and interpolated to the block
with their first and second derivative. One real matrix product then gives the heights at the Chebyshev nodes of
each of the block's eight quarter-days, and a second one anything that is linear in those: samples, rates, hourly
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
BLOCK_US = 2 * US_PER_DAY
QUARTERS = BLOCK_US // QUARTER_US
#: Resolves twelfth-diurnal lines (M12) to 1e-6 of their amplitude, eighth-diurnal ones to 1e-11.
NODES = 22
#: Degree of the polynomial of one hour. Twelfth-diurnal lines (M12) leave 1e-9 of their amplitude.
HOURLY_DEGREE = 10
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


@lru_cache(maxsize=1)
def _hourly_matrix() -> FloatArray:
    """Return the matrix from a quarter-day's nodes to the monomials of its six hours, ``(NODES, 6 (degree + 1))``."""
    hours = QUARTER_US // US_PER_HOUR
    local = _chebyshev_nodes(HOURLY_DEGREE + 1)
    to_monomials = np.linalg.inv(polynomial.polyvander(local, HOURLY_DEGREE))
    centres = (2.0 * np.arange(hours) + 1.0) / hours - 1.0
    return np.hstack([_interpolation(NODES, centre + local / hours) @ to_monomials.T for centre in centres])


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


def interpolated_node_factors(
    arguments: Arguments, latitudes: FloatArray, times_us: IntArray, orders: int
) -> ComplexArray:
    """Return f exp(iu) and its Taylor coefficients an hour at ascending ``times_us``.

    Shape ``(orders, stations, n, k)``, for ``orders`` up to 3: value, slope, half the second derivative.
    """
    out = np.empty((orders, len(latitudes), len(times_us), len(arguments.names)), dtype=np.complex128)
    segments = times_us // _SEGMENT_US
    for segment in np.unique(segments):
        first, last = np.searchsorted(segments, (segment, segment + 1))
        middle = (segment + 0.5) * _SEGMENT_US
        nodes = arguments.node_factors(_segment_satellites(int(segment)), latitudes)
        at = (times_us[first:last] - middle) / (0.5 * _SEGMENT_US)
        powers = chebyshev.chebvander(at, _SEGMENT_NODES - 1) @ _segment_series()[:orders]
        out[:, :, first:last] = powers[:, None] @ nodes[None]
    return out


@lru_cache(maxsize=128)
def _turning(names: tuple[str, ...], speeds: tuple[float, ...]) -> FloatArray:
    """Return the matrix from a block's coefficients to its nodes, shape ``(6 k, QUARTERS * NODES)``.

    Rows belong to the real and imaginary parts of the amplitude's Taylor coefficients at the block's middle.
    """
    quarter_hours = QUARTER_US / US_PER_HOUR
    centres = (np.arange(QUARTERS) - 0.5 * (QUARTERS - 1)) * quarter_hours
    hours = (centres[:, None] + 0.5 * quarter_hours * _chebyshev_nodes(NODES)).ravel()
    turned = np.exp(1j * np.outer(np.array(speeds), hours))
    return np.vstack([part * hours**order for order in range(_ORDERS) for part in (turned.real, -turned.imag)])


def block_coefficients(
    arguments: Arguments,
    amplitudes: ComplexArray,
    latitudes: FloatArray,
    blocks: IntArray,
    fixed_factors: ComplexArray | None = None,
) -> FloatArray:
    """Return the coefficients of the two-day ``blocks``, shape ``(stations, blocks, 6 k)``.

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
    carrier = np.exp(2j * np.pi * arguments.phases(middles))
    k = len(arguments.names)
    if fixed_factors is not None:
        out = np.zeros((len(latitudes), len(blocks), _ORDERS, 2, k))
        parts = ((amplitudes * fixed_factors)[:, None, :] * carrier)[None]
    else:
        out = np.empty((len(latitudes), len(blocks), _ORDERS, 2, k))
        parts = interpolated_node_factors(arguments, latitudes, middles, _ORDERS)
        parts *= carrier * amplitudes[:, None, :]
    for order, part in enumerate(parts):
        out[:, :, order, 0], out[:, :, order, 1] = part.real, part.imag
    return out.reshape(len(latitudes), len(blocks), 2 * _ORDERS * k)


def quarter_nodes(arguments: Arguments, coefficients: FloatArray) -> FloatArray:
    """Return heights [m] at the nodes of every quarter-day, shape ``(stations, blocks * QUARTERS, NODES)``."""
    stations, blocks, width = coefficients.shape
    turning = _turning(arguments.names, tuple(arguments.speeds.tolist()))
    flat = coefficients.reshape(stations * blocks, width) @ turning
    return flat.reshape(stations, blocks * QUARTERS, NODES)


def hourly_monomials(nodes: FloatArray) -> FloatArray:
    """Return the monomials of each hour, shape ``(quarters * 6, degree + 1)``, for nodes ``(quarters, NODES)``."""
    return (nodes @ _hourly_matrix()).reshape(-1, HOURLY_DEGREE + 1)


def blocks_covering(start_us: int, end_us: int) -> IntArray:
    """Return the numbers of the two-day blocks that cover ``[start_us, end_us]``."""
    return np.arange(start_us // BLOCK_US, end_us // BLOCK_US + 1, dtype=np.int64)


def direct(
    arguments: Arguments, amplitudes: ComplexArray, latitude: float, times_us: IntArray, order: int
) -> FloatArray:
    """Return the tide [m] or its rate [m/h] at few instants far apart, constituent by constituent, shape ``(n,)``."""
    ascending = np.argsort(times_us, kind="stable")
    factors, slopes = interpolated_node_factors(arguments, np.array([latitude]), times_us[ascending], 2)[:, 0]
    carrier = np.exp(2j * np.pi * arguments.phases(times_us[ascending]))
    out = np.empty(len(times_us))
    turned = factors if order == 0 else slopes + 1j * arguments.speeds * factors
    out[ascending] = ((turned * carrier) @ amplitudes).real
    return out


def same_sets(names: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], list[int]]:
    """Return, for each set of names, the places at which it stands."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, of in enumerate(names):
        groups.setdefault(of, []).append(place)
    return groups
