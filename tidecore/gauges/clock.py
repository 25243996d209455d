"""Columns of a table that say the time, in any of three ways: text, a count since an epoch, fields of the calendar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.civil import FIELDS, civil_microseconds
from tidecore.gauges.epochs import TimeUnit
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.table import Block
from tidecore.gauges.zones import NO_OFFSET
from tidecore.units import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class ClockTimes:
    """Times of a block as they stand on the clock of the file.

    Attributes
    ----------
    local_us : int64 array, shape (n,)
        Microseconds since 1970-01-01T00:00 on that clock.
    offsets_us : int64 array, shape (n,)
        Offset from UTC written with each [microseconds], `NO_OFFSET` where none is.
    moved_s : float
        Largest step by which rounding moved one [s].
    """

    local_us: IntArray
    offsets_us: IntArray
    moved_s: float


class Clock(Protocol):
    """Reads the time of rows."""

    def shows(self, row: Sequence[str]) -> bool:
        """Tell whether ``row`` has a time where this clock stands."""
        ...

    def read(self, block: Block) -> ClockTimes:
        """Return the times of a block; raises `RecordUnreadable` for the first that is none."""
        ...


@dataclass(frozen=True, slots=True)
class StampClock:
    """Text in one column, or in several that are joined by a blank."""

    columns: tuple[int, ...]
    form: StampFormat

    def shows(self, row: Sequence[str]) -> bool:
        """Tell whether ``row`` has a time in this form."""
        return self.form.fits(self.text(row))

    def text(self, row: Sequence[str]) -> str:
        """Return the time of ``row`` as text."""
        return " ".join(row[column].strip() for column in self.columns)

    def read(self, block: Block) -> ClockTimes:
        """Return the times of a block."""
        if len(self.columns) == 1:
            cells = block.column(self.columns[0])
        else:
            cells = [self.text(row) for row in block.cells]
        local_us, offsets_us = self.form.local_microseconds(cells, block.lines)
        return ClockTimes(local_us, offsets_us, 0.0)


@dataclass(frozen=True, slots=True)
class CountClock:
    """A number in one column, counting from an epoch."""

    column: int
    unit: TimeUnit
    numbers: NumberCells

    def shows(self, row: Sequence[str]) -> bool:
        """Tell whether ``row`` has a number."""
        return self.numbers.shows(row[self.column])

    def read(self, block: Block) -> ClockTimes:
        """Return the times of a block."""
        counts = _numbers(self.numbers, block, self.column, "time")
        local_us, moved_s = self.unit.local_microseconds(counts)
        offset_us = NO_OFFSET if self.unit.offset_us is None else self.unit.offset_us
        return ClockTimes(local_us, np.full(local_us.shape, offset_us), moved_s)


@dataclass(frozen=True, slots=True)
class FieldClock:
    """Fields of the calendar, each a number in its own column; the keys are those of `FIELDS`."""

    columns: dict[str, int]
    numbers: NumberCells

    def shows(self, row: Sequence[str]) -> bool:
        """Tell whether ``row`` has a number in each of the columns."""
        return all(self.numbers.shows(row[column]) for column in self.columns.values())

    def read(self, block: Block) -> ClockTimes:
        """Return the times of a block, rounded to the microsecond."""
        fields = {name: _numbers(self.numbers, block, column, name) for name, column in self.columns.items()}
        local_us = civil_microseconds(fields, block.lines)
        return ClockTimes(local_us, np.full(local_us.shape, NO_OFFSET), 0.0)


def is_field_set(names: set[str]) -> bool:
    """Tell whether ``names`` are fields of the calendar that fix a day, and of the clock without a hole."""
    date = names & {"year", "month", "day", "day_of_year"}
    time = [name for name in ("hour", "minute", "second") if name in names]
    return (
        names <= FIELDS.keys() - {"microsecond"}
        and date in ({"year", "month", "day"}, {"year", "day_of_year"})
        and time == ["hour", "minute", "second"][: len(time)]
    )


def _numbers(numbers: NumberCells, block: Block, column: int, what: str) -> FloatArray:
    """Return a column of numbers, none of which may be missing."""
    values = numbers.parse(block.column(column), block.lines, what)
    absent = np.isnan(values)
    if absent.any():
        first = int(np.argmax(absent))
        raise RecordUnreadable(f"the {what} is missing", block.lines[first], "a number in every row")
    return values
