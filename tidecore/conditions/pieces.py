"""A quantity over time as straight pieces, each from one issue, with nothing between them where nothing is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.units import BoolArray, FloatArray, IntArray

#: Round of a direction [degrees].
FULL_CIRCLE = 360.0


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces from ``start_us`` to before ``end_us``, ascending and apart; all arrays of shape ``(n,)``.

    Parameters
    ----------
    start_us, end_us : int64 array
        Where each piece lies [microseconds since 1970]; one that is a single instant ends a microsecond later.
    origin_us, value, slope : arrays
        The line: ``value`` at ``origin_us``, and its slope [per microsecond]. What cuts a piece leaves them alone, so
        that the same instant has the same value to the last digit.
    owner : int64 array
        Which issue each is from.
    circular : bool
        Whether values are directions [degrees]; they are answered from 0 to under 360.
    """

    start_us: IntArray
    end_us: IntArray
    origin_us: IntArray
    value: FloatArray
    slope: FloatArray
    owner: IntArray
    circular: bool = False

    @classmethod
    def none(cls, circular: bool = False) -> Pieces:
        """Return no piece at all."""
        nothing, no_number = np.empty(0, dtype=np.int64), np.empty(0)
        return cls(nothing, nothing, nothing, no_number, no_number, nothing, circular)

    @classmethod
    def joined(
        cls, times_us: IntArray, values: FloatArray, longest_us: int, last_us: int, owner: int, circular: bool = False
    ) -> Pieces:
        """Return the lines between values that lie no further apart than ``longest_us``, up to ``last_us``.

        A value with no such neighbour after it is known at its instant alone.
        """
        gaps = np.append(np.diff(times_us), longest_us + 1)
        runs_on = gaps <= longest_us
        change = np.append(np.diff(values), 0.0)
        if circular:
            change = (change + FULL_CIRCLE / 2.0) % FULL_CIRCLE - FULL_CIRCLE / 2.0
        slope = np.where(runs_on, change / gaps, 0.0)
        end = np.minimum(np.where(runs_on, times_us + gaps, times_us + 1), last_us + 1)
        every = cls(times_us, end, times_us, values, slope, np.full(times_us.size, owner, dtype=np.int64), circular)
        return every.where(times_us < end)

    @classmethod
    def held(cls, times_us: IntArray, values: FloatArray, holds_us: int, last_us: int, owner: int) -> Pieces:
        """Return values that each hold for ``holds_us`` or until the next, up to ``last_us``."""
        following = np.append(times_us[1:], np.iinfo(np.int64).max)
        end = np.minimum(np.minimum(times_us + holds_us, following), last_us + 1)
        flat, owners = np.zeros(times_us.size), np.full(times_us.size, owner, dtype=np.int64)
        return cls(times_us, end, times_us, values, flat, owners).where(times_us < end)

    def __len__(self) -> int:
        """Return the number of pieces."""
        return int(self.start_us.size)

    def where(self, chosen: BoolArray | IntArray) -> Pieces:
        """Return the pieces chosen by a mask or by their numbers."""
        return Pieces(
            self.start_us[chosen],
            self.end_us[chosen],
            self.origin_us[chosen],
            self.value[chosen],
            self.slope[chosen],
            self.owner[chosen],
            self.circular,
        )

    def runs(self) -> tuple[IntArray, IntArray]:
        """Return starts and ends of the spans that are covered without a break."""
        if not len(self):
            return self.start_us, self.end_us
        apart = self.start_us[1:] != self.end_us[:-1]
        return self.start_us[np.append(True, apart)], self.end_us[np.append(apart, True)]

    def before(self, other: Pieces) -> Pieces:
        """Return these pieces, and where they leave room those of ``other``."""
        if not len(self) or not len(other):
            return self if len(self) else other
        starts, ends = self.runs()
        bounds = np.unique(np.concatenate((other.start_us, other.end_us, starts, ends)))
        mine = other.found(bounds[:-1])
        run = np.searchsorted(starts, bounds[:-1], side="right") - 1
        free = (mine >= 0) & ((run < 0) | (bounds[:-1] >= ends[np.maximum(run, 0)]))
        rest = replace(other.where(mine[free]), start_us=bounds[:-1][free], end_us=bounds[1:][free])
        both = Pieces(
            np.concatenate((self.start_us, rest.start_us)),
            np.concatenate((self.end_us, rest.end_us)),
            np.concatenate((self.origin_us, rest.origin_us)),
            np.concatenate((self.value, rest.value)),
            np.concatenate((self.slope, rest.slope)),
            np.concatenate((self.owner, rest.owner)),
            self.circular,
        )
        return both.where(np.argsort(both.start_us))

    def found(self, times_us: IntArray) -> IntArray:
        """Return which piece holds each instant, -1 where none does."""
        if not len(self):
            return np.full(times_us.shape, -1, dtype=np.int64)
        # Before the first piece k is -1, which would be the last.
        k = self.start_us.searchsorted(times_us, side="right") - 1
        return np.where((k >= 0) & (times_us < self.end_us[k]), k, -1)

    def at(self, times_us: IntArray) -> FloatArray:
        """Return the values at instants in any order, NaN where nothing is known; shape ``(n,)``."""
        if not len(self):
            return np.full(times_us.shape, np.nan)
        k = self.found(times_us)
        values = self.value[k] + self.slope[k] * (times_us - self.origin_us[k])
        if self.circular:
            values = values % FULL_CIRCLE
            # A hair under zero comes out as a whole round.
            values = np.where(values >= FULL_CIRCLE, 0.0, values)
        return np.where(k >= 0, values, np.nan)

    def owners(self, times_us: IntArray) -> IntArray:
        """Return which issue the value at each instant is from, -1 where there is none."""
        if not len(self):
            return np.full(times_us.shape, -1, dtype=np.int64)
        k = self.found(times_us)
        return np.where(k >= 0, self.owner[k], -1)

    def breaks_us(self) -> IntArray:
        """Return the instants from which the quantity has jumped, turned a corner or become unknown, ascending."""
        return np.unique(np.concatenate((self.start_us, self.end_us)))

    def within(self, start_us: int, end_us: int) -> Pieces:
        """Return the pieces cut to ``[start_us, end_us)``."""
        inside = self.where((self.start_us < end_us) & (self.end_us > start_us))
        return replace(inside, start_us=np.maximum(inside.start_us, start_us), end_us=np.minimum(inside.end_us, end_us))
