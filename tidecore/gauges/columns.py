"""Columns of a table, called by name or by place."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tidecore.errors import RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges.hints import Hints
from tidecore.gauges.table import Block
from tidecore.gauges.zones import parse_offset
from tidecore.units import metres_per

_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]\s*$")


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a table of ``width`` cells a row, and their ``names`` if it has a header."""

    width: int
    names: tuple[str, ...] | None

    def place(self, hints: Hints, hint: str, column: object) -> int:
        """Return the place of ``column``, given by the hint ``hint`` as a name or as a place from 0.

        Raises
        ------
        HintMissing
            If it is neither, or there is no such place.
        UnknownName
            If no column has that name.
        RecordAmbiguous
            If several have.
        """
        if isinstance(column, str) and self.names is not None:
            return self._named(column.strip())
        if isinstance(column, bool) or not isinstance(column, int) or not 0 <= column < self.width:
            raise hints.wrong(hint, f"the rows have {self.width} cells, 0 to {self.width - 1}")
        return column

    def stated_unit(self, column: int) -> str | None:
        """Return the unit of level that the header states in brackets for ``column``, None if it states none."""
        text = self._bracketed(column)
        try:
            metres_per(text)
        except UnknownName:
            return None
        return text

    def stated_offset(self, column: int) -> int | None:
        """Return the offset from UTC that the header states in brackets for ``column`` [microseconds], or None."""
        return parse_offset(self._bracketed(column))

    def check(self, block: Block) -> None:
        """Raise `RecordUnreadable` for the first row with more or fewer cells than the first."""
        if set(map(len, block.cells)) <= {self.width}:
            return
        at = next(at for at, row in enumerate(block.cells) if len(row) != self.width)
        raise RecordUnreadable(
            f"the row has {len(block.cells[at])} cells",
            block.lines[at],
            f"{self.width}, as the first row has; a short last row means that the file was cut off",
        )

    def _named(self, name: str) -> int:
        """Return the place of the column called ``name``, in any case if no other differs by case alone."""
        names = self.names or ()
        places = [place for place, known in enumerate(names) if known == name]
        if not places:
            places = [place for place, known in enumerate(names) if known.casefold() == name.casefold()]
        if not places or places[0] >= self.width:
            raise UnknownName("column", name, names)
        if len(places) > 1:
            raise RecordAmbiguous(f"the column {name!r}", [f"column {place}" for place in places], "its place, from 0")
        return places[0]

    def _bracketed(self, column: int) -> str:
        """Return what stands in brackets at the end of a column's name; empty if nothing does."""
        if self.names is None or column >= len(self.names):
            return ""
        match = _BRACKETS.search(self.names[column])
        return "" if match is None else match[1].strip()
