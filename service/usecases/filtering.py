"""What a filter leaves of the rows of a timeline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.errors import DocumentInvalid
from tidecore.errors import Fault
from tidecore.filters import Filter
from tidecore.timeline import Timeline, find_factor
from tidecore.units import AnyArray, UtcTimes


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The rows of a timeline under a filter.

    ``mask`` is 1 where it is true, 0 where false, -1 where unknown; ``unknown_factors`` are those it reads that are
    unknown at an instant of the timeline.
    """

    mask: NDArray[np.int8]
    unknown_factors: Sequence[str]

    def count(self, value: int) -> int:
        """Return how many rows have a value of the mask."""
        return int(np.count_nonzero(self.mask == value))


def filter_rows(within: Filter | None, timeline: Timeline) -> Rows | None:
    """Return the rows of a timeline under a filter; None without one."""
    if within is None:
        return None
    # A column that is shown is worked out once.
    shown = {name: timeline.columns[name] for name in within.factor_names if name in timeline.names}
    others = [name for name in within.factor_names if name not in shown]
    columns = {"time": timeline.grid.times_us(), **shown, **timeline.at(timeline.grid.times_us(), others)}
    unknown = [name for name in within.factor_names if not find_factor(name).known(columns[name]).all()]
    return Rows(within.mask(columns), unknown)


def kept(rows: Rows | None, values: AnyArray) -> AnyArray:
    """Return the values of the rows that a filter is true of; all of them without one."""
    return values if rows is None else values[rows.mask == 1]


def kept_times(rows: Rows | None, timeline: Timeline) -> UtcTimes:
    """Return the instants of the rows that a filter is true of [UTC]."""
    return kept(rows, timeline.times)


def check_one_axis(within: Filter | None, marks: int) -> None:
    """Refuse a filter where rows of several marks must share their instants; DocumentInvalid says so."""
    if within is not None and marks > 1:
        problem = "leaves each mark rows of its own, and all marks of a NetCDF file share their instants"
        raise DocumentInvalid(Fault("filter", problem, "one mark, or another form"))
