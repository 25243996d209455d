"""Where a continuous function passes zero in brackets: the instants of halving, in fewer calls."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tidecore.roots.brackets import TimeFunction, paired_ends
from tidecore.units import FloatArray

#: A straight line is as far off as the square of its length: in a bracket of so many steps by one of them.
_SURE = 1024


def passages(
    function: TimeFunction,
    left_us: ArrayLike,
    right_us: ArrayLike,
    ends: tuple[FloatArray, FloatArray],
    tolerance_us: float = 500_000.0,
) -> FloatArray:
    """Return the instants that `edges` has of the condition ``function >= 0``, to a microsecond, in fewer calls.

    Parameters
    ----------
    function : callable
        Array of microseconds since 1970 -> values, continuous; called with several instants a bracket.
    left_us, right_us : array, shape ``(n,)``
        Ends of the brackets [microseconds since 1970].
    ends : pair of arrays, shape ``(n,)``
        What the function is at the left and right ends; negative or unknown (NaN) at one of the two alone.
    tolerance_us : float
        Largest error [microseconds], at least 1.

    Notes
    -----
    Halving ends between two neighbours on a lattice of instants. The bracket is closed in on that lattice, by looks
    around where a straight line meets zero and one at the middle, so that it is halved at the least.
    """
    left, right = paired_ends(left_us, right_us)
    if not left.size:
        return np.empty(0)
    at_left, at_right = (np.asarray(one, dtype=np.float64) for one in ends)
    new, widest = at_right >= 0.0, float((right - left).max())
    cells = 1 << max(0, int(np.ceil(np.log2(widest / max(tolerance_us, 1.0)))))
    low, high = np.zeros(left.shape, dtype=np.int64), np.full(left.shape, cells)
    row = np.arange(left.size)
    while (high - low > 1).any():
        with np.errstate(divide="ignore", invalid="ignore"):
            line = low + (high - low) * (at_left / (at_left - at_right))
        middle, aside = 0.5 * (low + high), 1.0 + np.floor(((high - low) / _SURE) ** 2)
        near = np.floor(np.where(np.isfinite(line), line, middle))
        looks = np.sort([near - aside, near, near + 1.0, near + 1.0 + aside, np.floor(middle)], axis=0)
        looks = np.clip(looks.astype(np.int64), low, high)
        values = function((left + looks / cells * (right - left)).ravel()).reshape(looks.shape)
        looks, values = np.vstack((low, looks, high)), np.vstack((at_left, values, at_right))
        # The first look from which the value is that of the right end.
        first = np.argmax((values[1:] >= 0.0) == new, axis=0) + 1
        low, high = looks[first - 1, row], looks[first, row]
        at_left, at_right = values[first - 1, row], values[first, row]
    return left + high / cells * (right - left)
