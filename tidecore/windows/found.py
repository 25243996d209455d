"""Windows of a rule that were found, each accounted for when it is first asked for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tidecore.units import IntArray
from tidecore.windows.account import account
from tidecore.windows.axis import Axis
from tidecore.windows.rounds import Search, side_by_side
from tidecore.windows.spans import Judgement, Samples, Span
from tidecore.windows.window import Window


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Windows of one rule at the marks of an axis to which it is the same: where they lie, and what they rest on.

    Where a month is planned few of them are ever told, and its account is most of what a window costs.
    """

    judged: Judgement
    axis: Axis
    spans: Sequence[Span]
    samples: Samples
    _told: dict[int, Window] = field(default_factory=dict, init=False, repr=False)

    def windows_us(self, numbers: range) -> IntArray:
        """Return start and end of the windows with some numbers [microseconds since 1970], shape ``(n, 2)``."""
        ends = [(span.start_us, span.end_us) for span in self.spans[numbers.start : numbers.stop]]
        return self.axis.own(np.array(ends, dtype=np.int64).reshape(-1, 2))

    def windows(self, numbers: range) -> tuple[Window, ...]:
        """Return the windows with some numbers."""
        tell([(self, numbers)])
        return tuple(self._told[k] for k in numbers)

    def untold(self, numbers: range) -> list[int]:
        """Return the numbers of those that are not accounted for yet."""
        return [k for k in numbers if k not in self._told]

    def accounted(self, numbers: Sequence[int]) -> Search[None]:
        """Search for what the windows with some numbers are worth."""
        windows = yield from account(self.judged, self.axis, [self.spans[k] for k in numbers], self.samples)
        self._told.update(zip(numbers, windows, strict=True))


def tell(asked: Iterable[tuple[Found, range]]) -> None:
    """Account for the windows with some numbers, as far as they are not: all of an axis in one go."""
    fresh: dict[Axis, dict[int, tuple[Found, set[int]]]] = {}
    for found, numbers in asked:
        if some := found.untold(numbers):
            fresh.setdefault(found.axis, {}).setdefault(id(found), (found, set()))[1].update(some)
    for axis, each in fresh.items():
        side_by_side(axis.at, [found.accounted(sorted(numbers)) for found, numbers in each.values()])
