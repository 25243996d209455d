"""Delimited text as rows of cells, a block of lines at a time."""

from __future__ import annotations

import csv
import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NoReturn

from tidecore.errors import RecordAmbiguous, RecordUnreadable
from tidecore.gauges.source import Source

#: Delimiters by the names that hints and errors use.
DELIMITERS: dict[str, str] = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "whitespace": " "}

_BLOCK_LINES = 20_000
_SAMPLE_LINES = 100


@dataclass(frozen=True, slots=True)
class Block:
    """Some consecutive rows: the ``cells`` of each, and the ``lines`` of the file they stand on."""

    lines: list[int]
    cells: list[list[str]]

    def column(self, index: int) -> list[str]:
        """Return one column."""
        return [row[index] for row in self.cells]


@dataclass(frozen=True, slots=True)
class Layout:
    """How lines become rows.

    Attributes
    ----------
    delimiter : str
        One of the keys of `DELIMITERS`, "whitespace" for any run of blanks and tabs.
    comment : str
        Lines that begin with it are passed over; empty for none.
    skip_rows : int
        Lines at the top that are passed over, whatever they hold.
    """

    delimiter: str
    comment: str
    skip_rows: int

    def split(self, lines: Sequence[int], texts: Sequence[str]) -> list[list[str]]:
        """Return the cells of ``texts``, which stand on ``lines``; quoted cells may hold the delimiter."""
        if self.delimiter == "whitespace":
            texts = [" ".join(text.split()) for text in texts]
        try:
            cells = list(self._reader(texts))
        except csv.Error:
            cells = []
        if len(cells) != len(texts):
            self._refuse_quotes(lines, texts)
        return cells

    def blocks(self, source: Source) -> Iterator[Block]:
        """Yield the rows of ``source``, blank lines and comments passed over."""
        for pairs in _kept_lines(source, self.comment, self.skip_rows):
            lines, texts = [number for number, _ in pairs], [text for _, text in pairs]
            yield Block(lines, self.split(lines, texts))

    def _reader(self, texts: Sequence[str]) -> Iterator[list[str]]:
        """Return an iterator of the cells of ``texts``."""
        return csv.reader(texts, delimiter=DELIMITERS[self.delimiter], skipinitialspace=True, strict=True)

    def _refuse_quotes(self, lines: Sequence[int], texts: Sequence[str]) -> NoReturn:
        """Raise `RecordUnreadable` for the first line whose quotes are no pair."""
        expected = "quotes in pairs, each pair round one cell"
        for line, text in zip(lines, texts, strict=True):
            try:
                list(self._reader([text]))
            except csv.Error as error:
                raise RecordUnreadable(str(error), line, expected) from error
        raise RecordUnreadable("quotes run over the end of a line", lines[0], expected)


def _kept_lines(source: Source, comment: str, skip_rows: int) -> Iterator[list[tuple[int, str]]]:
    """Yield the lines that are rows, each with its number, some at a time: not skipped, not blank, no comment."""
    # No line of text holds NUL, so that it stands for "no comments".
    mark = comment or "\0"
    numbered = enumerate(source.lines(), start=1)
    while batch := list(itertools.islice(numbered, _BLOCK_LINES)):
        pairs = [
            (number, text)
            for number, text in batch
            if number > skip_rows and (bare := text.strip()) and not bare.startswith(mark)
        ]
        if pairs:
            yield pairs


def sample_lines(source: Source, comment: str, skip_rows: int) -> list[tuple[int, str]]:
    """Return the first lines that are rows, each with its number: enough to tell a delimiter by."""
    return next(_kept_lines(source, comment, skip_rows), [])[:_SAMPLE_LINES]


def fitting_delimiters(sample: Sequence[str], decimal: str = ".") -> list[str]:
    """Return the names of the delimiters that cut more than half of ``sample`` into equally many cells, two or more.

    The other lines are found, and named by their number, when the table is read. The first may be a header and is
    left aside. Whitespace counts only where nothing else fits, for times often hold a blank. A decimal comma is no
    delimiter.
    """
    rows = sample[1:] if len(sample) > 1 else sample
    fitting: list[str] = []
    for name, character in DELIMITERS.items():
        if character == decimal or (name == "whitespace" and fitting):
            continue
        widths = Counter(_width(name, row) for row in rows)
        width, lines = widths.most_common(1)[0] if rows else (0, 0)
        if width > 1 and 2 * lines > len(rows):
            fitting.append(name)
    return fitting


def _width(delimiter: str, text: str) -> int:
    """Return how many cells a line has, 0 where its quotes are no pairs."""
    try:
        return len(Layout(delimiter, "", 0).split([0], [text])[0])
    except RecordUnreadable:
        return 0


def detect_delimiter(sample: Sequence[str], decimal: str) -> str:
    """Return the name of the one delimiter that fits ``sample``.

    Raises
    ------
    RecordAmbiguous
        If more than one does, as in ``2026-01-31 06:00;1,25`` without a word on the comma.
    RecordUnreadable
        If none does.
    """
    fitting = fitting_delimiters(sample, decimal)
    if len(fitting) > 1:
        raise RecordAmbiguous("the delimiter", fitting, "delimiter= (or decimal=',')")
    if not fitting:
        raise RecordUnreadable(
            f"no delimiter cuts the lines into equally many cells (first line {sample[0][:60]!r})"
            if sample
            else "the file holds no row",
            expected=f"a table cut by one of {', '.join(DELIMITERS)}; lines above it are passed over with skip_rows=",
        )
    return fitting[0]
