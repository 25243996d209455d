"""Cells of text -> numbers, with what stands for "no value" turned into NaN and everything else refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.units import FloatArray

#: Texts that mean "no value" in every record, in any case.
MISSING_TEXTS = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--"})


@dataclass(frozen=True, slots=True)
class NumberCells:
    """How a column writes numbers.

    Attributes
    ----------
    decimal : str
        Decimal mark, "." or ",".
    missing_texts : frozenset of str
        Texts, in lower case, that stand for no value.
    missing_numbers : tuple of float
        Numbers that stand for no value, as they are written in the file.
    """

    decimal: str = "."
    missing_texts: frozenset[str] = MISSING_TEXTS
    missing_numbers: tuple[float, ...] = ()

    def with_missing(self, markers: Sequence[str | float]) -> NumberCells:
        """Return the same with the texts and numbers ``markers`` for no value as well.

        Text that writes a number, with a point or with the decimal mark of the column, is that number too.
        """
        texts = {str(marker).strip().lower() for marker in markers}
        numbers: list[float | None] = []
        for marker in markers:
            if isinstance(marker, str):
                numbers += [self._number(marker), NumberCells()._number(marker)]
            else:
                numbers.append(float(marker))
        return NumberCells(
            self.decimal,
            self.missing_texts | texts,
            self.missing_numbers + tuple(number for number in numbers if number is not None),
        )

    def shows(self, cell: str) -> bool:
        """Tell whether ``cell`` is a number or stands for no value."""
        return cell.strip().lower() in self.missing_texts or self._number(cell) is not None

    def marks(self, cell: str) -> bool:
        """Tell whether ``cell`` is one of the texts or numbers that stand for no value, 2 and 2.0 being one number."""
        return cell.strip().lower() in self.missing_texts or self._number(cell) in self.missing_numbers

    def parse(self, cells: Sequence[str], lines: Sequence[int], what: str) -> FloatArray:
        """Return ``cells`` as float64, shape (n,), NaN where they stand for no value.

        Raises
        ------
        RecordUnreadable
            For the first cell that is neither; ``what`` the column holds and its one of ``lines`` are named.
        """
        values = self._plain(cells)
        if values is None:
            values = self._mixed(cells, lines, what)
        for number in self.missing_numbers:
            values[values == number] = np.nan
        return values

    def _plain(self, cells: Sequence[str]) -> FloatArray | None:
        """Return ``cells`` if every one is a finite number with a decimal point, None otherwise."""
        if self.decimal != "." or "_" in "".join(cells):
            return None
        try:
            values = np.array(list(map(float, cells)), dtype=np.float64)
        except ValueError:
            return None
        return values if np.isfinite(values).all() else None

    def _mixed(self, cells: Sequence[str], lines: Sequence[int], what: str) -> FloatArray:
        """Return ``cells`` of which some stand for no value or have a decimal comma, or raise."""
        texts = [cell.strip() for cell in cells]
        if self.decimal == ",":
            # A point would be a thousands mark here, and is refused with the cell as it stands.
            texts = ["?" if "." in text else text.replace(",", ".") for text in texts]
        missing = [text.lower() in self.missing_texts for text in texts]
        try:
            values = np.array(
                [0.0 if absent else float(text) for text, absent in zip(texts, missing, strict=True)], dtype=np.float64
            )
        except ValueError:
            values = np.array([np.nan])
        if not np.isfinite(values).all() or any("_" in text for text in texts):
            self._refuse_first(cells, lines, what)
        return np.where(missing, np.nan, values)

    def _number(self, cell: str) -> float | None:
        """Return the finite number that ``cell`` writes, None if it writes none."""
        text = cell.strip()
        if "_" in text or (self.decimal == "," and "." in text):
            return None
        try:
            number = float(text.replace(",", ".") if self.decimal == "," else text)
        except ValueError:
            return None
        return number if np.isfinite(number) else None

    def _refuse_first(self, cells: Sequence[str], lines: Sequence[int], what: str) -> None:
        """Raise `RecordUnreadable` for the first cell that is no number and does not stand for no value."""
        for cell, line in zip(cells, lines, strict=True):
            if not self.shows(cell):
                raise RecordUnreadable(
                    f"the {what} is {cell.strip()!r}",
                    int(line),
                    f"a number with the decimal mark {self.decimal!r}, or one of the markers for no value, "
                    f"{', '.join(repr(text) for text in sorted(self.missing_texts))} and those given by missing=",
                )
