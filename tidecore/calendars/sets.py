"""Sets of time: half-open spans as rows of an array, ascending and apart.

A set is an int64 array of shape ``(n, 2)``: a row a span ``[start, end)``, each row after the one before with a gap
between. The unit is whatever the caller counts in, here microseconds.
"""

from __future__ import annotations

import numpy as np

from tidecore.units import BoolArray, IntArray

#: The set without a time.
NOTHING: IntArray = np.empty((0, 2), dtype=np.int64)
NOTHING.flags.writeable = False


def merged(spans: IntArray) -> IntArray:
    """Return any spans as a set: ordered, empty ones left out, those that touch or overlap joined.

    Parameters
    ----------
    spans : int64 array, shape ``(m, 2)``
        Spans in any order; one whose end is not after its start is empty.

    Returns
    -------
    int64 array, shape ``(n, 2)``
        The set.
    """
    kept = spans[spans[:, 1] > spans[:, 0]]
    if len(kept) < 2:
        return kept.copy()
    kept = kept[np.argsort(kept[:, 0], kind="stable")]
    reach = np.maximum.accumulate(kept[:, 1])
    first = np.concatenate(([True], kept[1:, 0] > reach[:-1]))
    last = np.concatenate((first[1:], [True]))
    return np.column_stack((kept[first, 0], reach[last]))


def clipped(spans: IntArray, start: int, end: int) -> IntArray:
    """Return the part of a set that lies in ``[start, end)``."""
    cut = np.clip(spans, start, max(start, end))
    return cut[cut[:, 1] > cut[:, 0]]


def intersection(one: IntArray, other: IntArray) -> IntArray:
    """Return the times that lie in both sets."""
    edges = np.concatenate((one.ravel(), other.ravel()))
    steps = np.tile(np.array([1, -1], dtype=np.int64), len(edges) // 2)
    # At one instant ends come before starts, so that spans that only touch do not meet.
    order = np.lexsort((steps, edges))
    at = np.flatnonzero(np.cumsum(steps[order]) == 2)
    return np.column_stack((edges[order][at], edges[order][at + 1])) if at.size else NOTHING.copy()


def difference(one: IntArray, other: IntArray) -> IntArray:
    """Return the times of ``one`` that do not lie in ``other``."""
    if not len(one) or not len(other):
        return one.copy()
    low, high = min(one[0, 0], other[0, 0]), max(one[-1, 1], other[-1, 1])
    return intersection(one, merged(np.concatenate(([low], other.ravel(), [high])).reshape(-1, 2)))


def holds_at(spans: IntArray, times: IntArray) -> BoolArray:
    """Return which of ``times``, of any shape and order, lie in a set."""
    # Edges ascend strictly, so an odd number of them behind a time means that it is inside.
    return np.asarray(np.searchsorted(spans.ravel(), times, side="right") % 2 == 1)
