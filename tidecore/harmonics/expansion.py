"""Fast synthesis: constituents -> heights at Chebyshev nodes of every quarter-day.

The argument V of every constituent is exact at the middle of each two-day block and turns with constant speed
inside it; node factors f exp(iu) are exact at Chebyshev nodes of 512-day segments and interpolated to the block
with their derivative. One real matrix product then gives the heights at 20 Chebyshev nodes of each of the block's
eight quarter-days, and a second one anything that is linear in those: samples, rates, hourly polynomials.

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
NODES = 20
#: Degree of the polynomial of one hour. Twelfth-diurnal lines (M12) leave 1e-9 of their amplitude.
HOURLY_DEGREE = 10
_SEGMENT_US = 512 * US_PER_DAY
_SEGMENT_NODES = 24


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
    """Return the matrix from node values of a segment to the Chebyshev series of value and slope an hour.

    Shape ``(2 n, n)``: the upper half gives the value, the lower one the slope.
    """
    value = np.linalg.inv(chebyshev.chebvander(_chebyshev_nodes(_SEGMENT_NODES), _SEGMENT_NODES - 1))
    slope = np.zeros_like(value)
    slope[:-1] = chebyshev.chebder(value) * (US_PER_HOUR / (0.5 * _SEGMENT_US))
    return np.vstack((value, slope))


@lru_cache(maxsize=64)
def _segment_satellites(segment: int) -> ComplexArray:
    """Return the satellites of the whole table at the nodes of one segment; shared by every station."""
    half = 0.5 * _SEGMENT_US
    return satellite_sums((segment + 0.5) * _SEGMENT_US + half * _chebyshev_nodes(_SEGMENT_NODES))


def interpolated_node_factors(
    arguments: Arguments, latitudes: FloatArray, times_us: IntArray
) -> tuple[ComplexArray, ComplexArray]:
    """Return f exp(iu) and its derivative an hour, each of shape ``(stations, n, k)``, at ascending ``times_us``."""
    values = np.empty((len(latitudes), len(times_us), len(arguments.names)), dtype=np.complex128)
    slopes = np.empty_like(values)
    segments = times_us // _SEGMENT_US
    for segment in np.unique(segments):
        first, last = np.searchsorted(segments, (segment, segment + 1))
        middle = (segment + 0.5) * _SEGMENT_US
        nodes = arguments.node_factors(_segment_satellites(int(segment)), latitudes)
        at = (times_us[first:last] - middle) / (0.5 * _SEGMENT_US)
        powers = chebyshev.chebvander(at, _SEGMENT_NODES - 1)
        series = _segment_series()
        values[:, first:last] = (powers @ series[:_SEGMENT_NODES]) @ nodes
        slopes[:, first:last] = (powers @ series[_SEGMENT_NODES:]) @ nodes
    return values, slopes


@lru_cache(maxsize=128)
def _turning(names: tuple[str, ...], speeds: tuple[float, ...]) -> FloatArray:
    """Return the matrix from a block's coefficients to its nodes, shape ``(4 k, QUARTERS * NODES)``.

    Rows belong to the real and imaginary part of the amplitude at the block's middle, then of its rate an hour.
    """
    quarter_hours = QUARTER_US / US_PER_HOUR
    centres = (np.arange(QUARTERS) - 0.5 * (QUARTERS - 1)) * quarter_hours
    hours = (centres[:, None] + 0.5 * quarter_hours * _chebyshev_nodes(NODES)).ravel()
    turned = np.exp(1j * np.outer(np.array(speeds), hours))
    return np.vstack((turned.real, -turned.imag, hours * turned.real, -hours * turned.imag))


def block_coefficients(
    arguments: Arguments,
    amplitudes: ComplexArray,
    latitudes: FloatArray,
    blocks: IntArray,
    fixed_factors: ComplexArray | None = None,
) -> FloatArray:
    """Return the coefficients of the two-day ``blocks``, shape ``(stations, blocks, 4 k)``.

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
    out = np.zeros((len(latitudes), len(blocks), 4 * k))
    if fixed_factors is not None:
        turned = (amplitudes * fixed_factors)[:, None, :] * carrier
    else:
        factors, slopes = interpolated_node_factors(arguments, latitudes, middles)
        turned = factors * carrier * amplitudes[:, None, :]
        slopes *= carrier * amplitudes[:, None, :]
        out[..., 2 * k : 3 * k], out[..., 3 * k :] = slopes.real, slopes.imag
    out[..., :k], out[..., k : 2 * k] = turned.real, turned.imag
    return out


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
    factors, slopes = interpolated_node_factors(arguments, np.array([latitude]), times_us[ascending])
    carrier = np.exp(2j * np.pi * arguments.phases(times_us[ascending]))
    out = np.empty(len(times_us))
    turned = factors[0] if order == 0 else slopes[0] + 1j * arguments.speeds * factors[0]
    out[ascending] = ((turned * carrier) @ amplitudes).real
    return out


def same_sets(names: Sequence[tuple[str, ...]]) -> dict[tuple[str, ...], list[int]]:
    """Return, for each set of names, the places at which it stands."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, of in enumerate(names):
        groups.setdefault(of, []).append(place)
    return groups
