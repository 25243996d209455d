"""Which seasons of a rule a window touches, by the calendar of the mark."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tidecore.place import Mark
from tidecore.rules import Season
from tidecore.timeline import local_days
from tidecore.units import IntArray


def touched(seasons: Sequence[Season], mark: Mark, spans_us: IntArray) -> list[tuple[Season, ...]]:
    """Return which of the seasons each span ``[start, end)`` touches; ``spans_us`` has shape ``(n, 2)``."""
    if not seasons:
        return [()] * spans_us.shape[0]
    first, last = (local_days(mark.zone, times) for times in (spans_us[:, 0], spans_us[:, 1] - 1))
    return [
        tuple(season for season in seasons if season.holds(_days(one, other)).any())
        for one, other in zip(first.tolist(), last.tolist(), strict=True)
    ]


def _days(first: int, last: int) -> IntArray:
    """Return the days of the calendar from one to another, past the new year if it must."""
    return (np.arange(first, last + 1 if last >= first else last + 367) - 1) % 366 + 1
