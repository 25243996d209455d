"""Where a function of time crosses a level, peaks, or a condition changes: scan, bracket, close in.

A function here takes a one-dimensional ``float64`` array of microseconds since 1970 and returns ``float64`` of the
same shape; a condition returns ``bool``. Every search is vectorised over its brackets, and samples fall on whole
multiples of the step since 1970, so that the same crossing is met whatever span is asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tidecore.errors import Fault, InvalidInput, InvalidSpan
from tidecore.units import BoolArray, FloatArray

TimeFunction = Callable[[FloatArray], FloatArray]
TimeCondition = Callable[[FloatArray], BoolArray]

#: Steps of interpolation before a bracket is only halved: it then ends whatever the function does.
_INTERPOLATIONS = 30
_HALVINGS = 64
#: Points of one zoom of `maxima`; each zoom makes the bracket (_FAN - 1) / 2 times narrower.
_FAN = 9


@dataclass(frozen=True, slots=True)
class Crossings:
    """Instants at which a function passes a level, in time order.

    ``times_us`` [microseconds since 1970], shape ``(n,)``; ``rising`` is true where the function comes from below.
    """

    times_us: FloatArray
    rising: BoolArray

    def __len__(self) -> int:
        """Return the number of crossings."""
        return int(self.times_us.size)


@dataclass(frozen=True, slots=True)
class Maxima:
    """Local maxima of a function, in time order: ``times_us`` [microseconds since 1970] and ``values``."""

    times_us: FloatArray
    values: FloatArray

    def __len__(self) -> int:
        """Return the number of maxima."""
        return int(self.times_us.size)


def sample_times(start_us: int, end_us: int, step_us: int) -> FloatArray:
    """Return both ends of a span and the whole multiples of ``step_us`` since 1970 between them, ascending.

    Parameters
    ----------
    start_us, end_us : int
        Ends of the span, both included [microseconds since 1970].
    step_us : int
        Distance of the samples [microseconds].

    Returns
    -------
    float64 array, shape ``(n,)``, ``n >= 2``

    Raises
    ------
    InvalidSpan
        If the end is not after the start, or the step is not positive.
    """
    if end_us <= start_us:
        raise InvalidSpan(Fault("end_us", f"{end_us} is not after start_us {start_us}", "an end after the start"))
    if step_us <= 0:
        raise InvalidSpan(Fault("step_us", f"{step_us} is no step", "a positive number of microseconds"))
    first, last = start_us // step_us + 1, -(-end_us // step_us)
    inner = np.arange(first, last, dtype=np.int64) * step_us
    return np.concatenate(([start_us], inner, [end_us])).astype(np.float64)


def crossings(
    function: TimeFunction,
    start_us: int,
    end_us: int,
    step_us: int,
    level: float = 0.0,
    tolerance_us: float = 1000.0,
) -> Crossings:
    """Return every instant in ``[start_us, end_us)`` at which ``function`` passes ``level``.

    The state of an instant is "at or above the level"; a crossing is a change of state between two neighbouring
    samples. So a touch from above that only reaches the level is no crossing, and a touch from below that meets a
    sample exactly is a rise and a fall at one instant. Two crossings nearer than ``step_us`` to each other may both
    be missed: take a step shorter than the shortest excursion that matters.

    Parameters
    ----------
    function : callable
        Array of microseconds since 1970 -> values; defined from ``start_us - tolerance_us`` to ``end_us``. The
        instant before the start is asked for only if the value at the start is exactly the level.
    start_us, end_us : int
        Half-open span [microseconds since 1970].
    step_us : int
        Distance of the samples [microseconds].
    level : float
        Level to pass [unit of the function].
    tolerance_us : float
        Largest error of an instant [microseconds], at least 1.

    Returns
    -------
    Crossings
        Neighbouring spans share none and lose none. Between samples of which one is NaN nothing is found, nor
        where a NaN turns up while closing in: what is unknown crosses nothing.

    Raises
    ------
    InvalidSpan
        If the span or the step is not positive.
    """
    times = sample_times(start_us, end_us, step_us)
    values = np.asarray(function(times), dtype=np.float64) - level
    if values[0] == 0.0:
        before = function(np.array([start_us - tolerance_us], dtype=np.float64)) - level
        times = np.concatenate(([float(start_us)], times))
        values = np.concatenate((np.where(before < 0.0, before, 0.0), values))
    known = ~np.isnan(values)
    above = values >= 0.0
    found = np.flatnonzero((above[1:] != above[:-1]) & known[1:] & known[:-1])
    if not found.size:
        return Crossings(np.empty(0), np.empty(0, dtype=np.bool_))
    ends = (values[found], values[found + 1])
    instants = _close_in(lambda at: function(at) - level, times[found], times[found + 1], ends, tolerance_us)
    # A change of state before the end belongs to this span, unless the level is met exactly at the end.
    inside = (ends[1] != 0.0) | (times[found + 1] < end_us)
    instants = np.where(inside, np.minimum(instants, end_us - 1.0), instants)
    keep = np.isfinite(instants) & (instants < end_us)
    return Crossings(instants[keep], above[found + 1][keep])


def refine(
    function: TimeFunction,
    left_us: ArrayLike,
    right_us: ArrayLike,
    tolerance_us: float = 1000.0,
    *,
    ends: tuple[FloatArray, FloatArray] | None = None,
) -> FloatArray:
    """Return the zero of ``function`` in every bracket.

    Chandrupatla's method: inverse quadratic interpolation where it is safe, else halving; after 30 steps halving
    alone, so that it always ends.

    Parameters
    ----------
    function : callable
        Array of microseconds since 1970 -> values. It is always called with one instant a bracket, in the order
        of the brackets, so that it may hold a level or a place for each.
    left_us, right_us : array, shape ``(n,)``
        Ends of the brackets [microseconds since 1970]; the function has a different sign at the two, or is zero.
    tolerance_us : float
        Largest error of an instant [microseconds], at least 1.
    ends : pair of arrays, shape ``(n,)``, optional
        What the function is at the left and right ends, where that is known already.

    Returns
    -------
    float64 array, shape ``(n,)``
        Instants [microseconds since 1970]. An end at which the function is exactly zero is returned as it is, the
        left one first. NaN where the function is NaN at an end or on the way.

    Raises
    ------
    InvalidInput
        If a bracket holds no change of sign.

    References
    ----------
    T. R. Chandrupatla (1997), A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
    function without using derivatives. Advances in Engineering Software 28, 145-149,
    doi:10.1016/S0965-9978(96)00051-8.
    """
    left, right = paired_ends(left_us, right_us)
    if not left.size:
        return np.empty(0)
    at_left, at_right = (function(left), function(right)) if ends is None else ends
    same = np.flatnonzero(np.sign(at_left) * np.sign(at_right) > 0)
    if same.size:
        k = int(same[0])
        problem = f"values {at_left[k]:g} and {at_right[k]:g} at {left[k]:.0f} and {right[k]:.0f} have one sign"
        raise InvalidInput(Fault(f"left_us.{k}", problem, "brackets across which the function changes sign"))
    return _close_in(function, left, right, (at_left, at_right), tolerance_us)


def edges(
    condition: TimeCondition, left_us: ArrayLike, right_us: ArrayLike, tolerance_us: float = 500_000.0
) -> FloatArray:
    """Return the instant in every bracket from which ``condition`` has the value of the right end.

    Halving, so that any condition will do: one that changes several times in a bracket gives one of its changes.

    Parameters
    ----------
    condition : callable
        Array of microseconds since 1970 -> bool, always called with one instant a bracket, in their order.
    left_us, right_us : array, shape ``(n,)``
        Ends of the brackets [microseconds since 1970], at which the condition differs.
    tolerance_us : float
        Largest error [microseconds], at least 1.

    Returns
    -------
    float64 array, shape ``(n,)``
        An instant at which the condition already has its new value, at most ``tolerance_us`` after one at which it
        has the old: the first instant of a span that holds, and the first instant after it.

    Raises
    ------
    InvalidInput
        If the condition is the same at both ends of a bracket.
    """
    left, right = paired_ends(left_us, right_us)
    if not left.size:
        return np.empty(0)
    new = np.asarray(condition(right), dtype=np.bool_)
    same = np.flatnonzero(np.asarray(condition(left), dtype=np.bool_) == new)
    if same.size:
        k = int(same[0])
        problem = f"the condition is {bool(new[k])} at both {left[k]:.0f} and {right[k]:.0f}"
        raise InvalidInput(Fault(f"left_us.{k}", problem, "brackets across which the condition changes"))
    widest = float((right - left).max())
    for _ in range(max(0, int(np.ceil(np.log2(widest / max(tolerance_us, 1.0)))))):
        middle = left + 0.5 * (right - left)
        changed = np.asarray(condition(middle), dtype=np.bool_) == new
        left, right = np.where(changed, left, middle), np.where(changed, middle, right)
    return right


def maxima(
    function: TimeFunction, start_us: int, end_us: int, step_us: int, tolerance_us: float = 1_000_000.0
) -> Maxima:
    """Return the local maxima of a smooth function inside a span; minima are the maxima of its negative.

    Parameters
    ----------
    function : callable
        Array of microseconds since 1970 -> values, with at most one maximum in two steps.
    start_us, end_us : int
        Span [microseconds since 1970]. A maximum at one of its ends is not found: pad by a step.
    step_us : int
        Distance of the samples [microseconds].
    tolerance_us : float
        Largest error of an instant [microseconds]. A maximum is flat: below about 1e-8 of the time over which the
        function bends, the instant is noise, while the value is exact.

    Returns
    -------
    Maxima
        Of a plateau, one instant of it. None next to a sample that is NaN.
    """
    times = sample_times(start_us, end_us, step_us)
    values = function(times)
    top = 1 + np.flatnonzero((values[1:-1] > values[:-2]) & (values[1:-1] >= values[2:]))
    return summits(function, times[top - 1], times[top + 1], tolerance_us)


def summits(
    function: TimeFunction, left_us: ArrayLike, right_us: ArrayLike, tolerance_us: float = 1_000_000.0
) -> Maxima:
    """Return the highest point of a smooth function in every bracket.

    Parameters
    ----------
    function : callable
        Array of microseconds since 1970 -> values, with one maximum in each bracket.
    left_us, right_us : array, shape ``(n,)``
        Ends of the brackets [microseconds since 1970].
    tolerance_us : float
        Largest error of an instant [microseconds]; see `maxima`.

    Returns
    -------
    Maxima
        One a bracket, in their order. A maximum at an end of its bracket is met within the tolerance.
    """
    left, right = paired_ends(left_us, right_us)
    if not left.size:
        return Maxima(np.empty(0), np.empty(0))
    fan = np.linspace(0.0, 1.0, _FAN)
    rows = np.arange(left.size)
    while True:
        points = left[:, None] + (right - left)[:, None] * fan
        heights = function(points.ravel()).reshape(points.shape)
        best = np.argmax(heights, axis=1)
        left, right = points[rows, np.maximum(best - 1, 0)], points[rows, np.minimum(best + 1, _FAN - 1)]
        if float((right - left).max()) <= 2.0 * max(tolerance_us, 1.0):
            return Maxima(points[rows, best], heights[rows, best])


def paired_ends(left_us: ArrayLike, right_us: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return both ends of the brackets as arrays of one shape, left before right."""
    left = np.atleast_1d(np.asarray(left_us, dtype=np.float64))
    right = np.atleast_1d(np.asarray(right_us, dtype=np.float64))
    if left.shape != right.shape or left.ndim != 1:
        problem = f"shape {right.shape} does not fit left_us of shape {left.shape}"
        raise InvalidInput(Fault("right_us", problem, "one right end for every left end, one-dimensional"))
    backwards = np.flatnonzero(~(right >= left))
    if backwards.size:
        k = int(backwards[0])
        raise InvalidInput(Fault(f"right_us.{k}", f"{right[k]} is before left_us {left[k]}", "left before right"))
    return left, right


def _close_in(
    function: TimeFunction,
    left: FloatArray,
    right: FloatArray,
    ends: tuple[FloatArray, FloatArray],
    tolerance_us: float,
) -> FloatArray:
    """Return the zero in every bracket, whose values at both ends are known (see `refine`)."""
    zero_left = ends[0] == 0.0
    a, b = right.copy(), left.copy()  # the zero lies between a and b; a is the newest point
    fa, fb = ends[1].astype(np.float64), ends[0].astype(np.float64)
    c, fc = b.copy(), fb.copy()
    half = np.full(a.shape, 0.5)
    t = half
    tolerance = 0.5 * max(tolerance_us, 1.0)
    for step in range(_INTERPOLATIONS + _HALVINGS):
        near = np.abs(fa) < np.abs(fb)
        width = np.abs(b - a)
        open_ = (width > tolerance) & (np.where(near, fa, fb) != 0.0) & ~(np.isnan(fa) | np.isnan(fb))
        if not open_.any():
            break
        # Stay half a tolerance inside, so that the last step closes the bracket from the other side.
        edge = np.minimum(0.5, 0.5 * tolerance / np.where(open_, width, 1.0))
        x = np.where(open_, a + np.clip(t, edge, 1.0 - edge) * (b - a), a)
        fx = np.where(open_, function(x), fa)
        same = np.sign(fx) == np.sign(fa)
        moved = open_ & ~np.isnan(fx)
        c, fc = np.where(moved, np.where(same, a, b), c), np.where(moved, np.where(same, fa, fb), fc)
        b, fb = np.where(moved & ~same, a, b), np.where(moved & ~same, fa, fb)
        a, fa = np.where(open_, x, a), np.where(open_, fx, fa)
        t = _next_fraction(a, b, c, fa, fb, fc) if step + 1 < _INTERPOLATIONS else half
    near = np.abs(fa) < np.abs(fb)
    instants = np.where(zero_left, left, np.where(near, a, b))
    return np.where(np.isnan(fa) | np.isnan(fb), np.nan, instants)


def _next_fraction(
    a: FloatArray, b: FloatArray, c: FloatArray, fa: FloatArray, fb: FloatArray, fc: FloatArray
) -> FloatArray:
    """Return where between ``a`` (0) and ``b`` (1) to look next: inverse quadratic where safe, else the middle."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        xi = (a - b) / (c - b)
        phi = (fa - fb) / (fc - fb)
        alpha = (c - a) / (b - a)
        quadratic = fa / (fb - fa) * fc / (fb - fc) + alpha * fa / (fc - fa) * fb / (fc - fb)
        safe = (phi * phi < xi) & ((1.0 - phi) ** 2 < 1.0 - xi) & np.isfinite(quadratic)
    return np.where(safe, quadratic, 0.5)
