"""Windows of a rule that were found, each accounted for when it is first asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from tidecore.units import IntArray
from tidecore.windows.account import account, account_briefly
from tidecore.windows.axis import Axis
from tidecore.windows.rounds import Search, side_by_side
from tidecore.windows.spans import Judgement, Samples, Span
from tidecore.windows.window import BriefWindow, Window


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Windows of one rule at the marks of an axis to which it is the same: where they lie, and what they rest on.

    Where a month is planned few of them are ever told, and those in brief: its account is most of what a window costs.
    """

    judged: Judgement
    axis: Axis
    spans: Sequence[Span]
    samples: Samples
    _told: dict[int, Window] = field(default_factory=dict, init=False, repr=False)
    _brief: dict[int, BriefWindow] = field(default_factory=dict, init=False, repr=False)

    def windows_us(self, numbers: range) -> IntArray:
        """Return start and end of the windows with some numbers [microseconds since 1970], shape ``(n, 2)``."""
        ends = [(span.start_us, span.end_us) for span in self.spans[numbers.start : numbers.stop]]
        return self.axis.own(np.array(ends, dtype=np.int64).reshape(-1, 2))

    def windows(self, numbers: range) -> tuple[Window, ...]:
        """Return the windows with some numbers."""
        tell([(self, numbers)])
        return tuple(self._told[k] for k in numbers)

    def briefly(self, numbers: range) -> tuple[BriefWindow, ...]:
        """Return the windows with some numbers in brief."""
        tell([(self, numbers)], briefly=True)
        return tuple(self._brief[k] for k in numbers)

    def untold(self, numbers: range, briefly: bool) -> list[int]:
        """Return the numbers of those that are not accounted for yet."""
        known: Mapping[int, object] = self._brief if briefly else self._told
        return [k for k in numbers if k not in known]

    def accounted(self, numbers: Sequence[int], briefly: bool) -> Search[None]:
        """Search for what the windows with some numbers are worth."""
        spans = [self.spans[k] for k in numbers]
        if briefly:
            brief = yield from account_briefly(self.judged, self.axis, spans, self.samples)
            self._brief.update(zip(numbers, brief, strict=True))
        else:
            windows = yield from account(self.judged, self.axis, spans, self.samples)
            self._told.update(zip(numbers, windows, strict=True))


def tell(asked: Iterable[tuple[Found, range]], *, briefly: bool = False) -> None:
    """Account for the windows with some numbers, as far as they are not: all of an axis in one go."""
    fresh: dict[Axis, dict[int, tuple[Found, set[int]]]] = {}
    for found, numbers in asked:
        if some := found.untold(numbers, briefly):
            fresh.setdefault(found.axis, {}).setdefault(id(found), (found, set()))[1].update(some)
    for axis, each in fresh.items():
        side_by_side(axis.at, [found.accounted(sorted(numbers), briefly) for found, numbers in each.values()])
