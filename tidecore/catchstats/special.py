"""Incomplete gamma and beta functions and their inverses, of one number at a time, without scipy.

Series and continued fractions as in the NIST Digital Library of Mathematical Functions: 8.7.1, 8.9.2, 8.17.22.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import count
from statistics import NormalDist

_TINY = 1e-300
_CLOSE = 1e-16
_MOST_TERMS = 1_000_000
#: Steps and halvings together; where steps serve, two or three are enough.
_MOST_STEPS = 1100
#: After a step of this part of the quantile and of its spread, what is left of the error is its cube.
_LAST_STEP = 1e-6
_NORMAL = NormalDist()


def gamma_below(shape: float, x: float) -> float:
    """Return P(shape, x), the chance that a gamma variable of this shape and scale 1 is at most ``x``.

    ``shape`` above 0, ``x`` at least 0; relative error about 1e-12 for shapes up to 1e4.
    """
    if x <= 0.0:
        return 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1.0:
        term = total = 1.0 / shape
        for k in range(1, _MOST_TERMS):
            term *= x / (shape + k)
            total += term
            if term < total * _CLOSE:
                break
        return min(1.0, front * total)
    steps = ((-k * (k - shape), x + 2.0 * k + 1.0 - shape) for k in count(1))
    return max(0.0, 1.0 - front / _fraction(x + 1.0 - shape, steps))


def beta_below(a: float, b: float, x: float) -> float:
    """Return I_x(a, b), the chance that a beta variable is at most ``x``; ``a`` and ``b`` above 0."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_below(b, a, 1.0 - x)
    front = a * math.log(x) + b * math.log1p(-x) + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    return math.exp(front) / (a * _fraction(1.0, _beta_steps(a, b, x)))


def gamma_quantile(chance: float, shape: float) -> float:
    """Return the ``x`` at which `gamma_below` is ``chance``, 0 to below 1."""
    if chance <= 0.0:
        return 0.0
    # By Halley's steps, from where the cube root of a gamma variable is nearly normal (Wilson and Hilferty 1931); a
    # step that leaves what is known to hold the quantile is no better than the middle of that.
    spread = 1.0 / (9.0 * shape)
    x = shape * max(1.0 - spread + _NORMAL.inv_cdf(chance) * math.sqrt(spread), 0.01) ** 3
    low, high = 0.0, math.inf
    for _ in range(_MOST_STEPS):
        found = gamma_below(shape, x)
        low, high = (x, high) if found < chance else (low, x)
        steep = math.exp((shape - 1.0) * math.log(x) - x - math.lgamma(shape))
        tangent = (found - chance) / steep if steep > 0.0 else math.inf
        bend = 1.0 - 0.5 * tangent * ((shape - 1.0) / x - 1.0)
        new = x - tangent / bend if bend > 0.0 else -1.0
        if not low <= new <= high:
            new = 2.0 * x if math.isinf(high) else 0.5 * (low + high)
        step, x = abs(new - x), new
        if step <= _LAST_STEP * min(x, math.sqrt(shape)) or step <= 1e-15 * x:
            break
    return x


def beta_quantile(chance: float, a: float, b: float) -> float:
    """Return the ``x`` from 0 to 1 at which `beta_below` is ``chance``."""
    return _inverse(lambda x: beta_below(a, b, x), chance, 1.0)


def _beta_steps(a: float, b: float, x: float) -> Iterator[tuple[float, float]]:
    for m in count():
        yield -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
        k = m + 1
        yield k * (b - k) * x / ((a + 2 * k - 1) * (a + 2 * k)), 1.0


def _fraction(first: float, steps: Iterator[tuple[float, float]]) -> float:
    """Return the continued fraction ``first + s1/(t1 + s2/(t2 + ...))`` of ``(s, t)``, by Lentz's method."""
    value = first or _TINY
    above, below = value, 0.0
    for k, (s, t) in enumerate(steps):
        below = 1.0 / ((t + s * below) or _TINY)
        above = (t + s / above) or _TINY
        value *= above * below
        if abs(above * below - 1.0) < 4e-16 or k > _MOST_TERMS:
            break
    return value


def _inverse(rising: Callable[[float], float], wanted: float, upper: float) -> float:
    """Return where a rising function from 0 to ``upper`` is ``wanted``, by halving, to the last few digits."""
    low, high = 0.0, upper
    for _ in range(1100):
        middle = 0.5 * (low + high)
        if middle in (low, high) or high - low < 1e-15 * high:
            break
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
