"""CSV: a header of field names, one row a line, cells between commas; or as a mapping says of somebody else's.

A text with an apostrophe before what a spreadsheet would take for a formula loses it: exports put it there.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import chain, repeat
from pathlib import Path
from typing import Any

from service.errors import FileUnreadable
from service.exports.formulas import unguarded
from service.imports.cells import (
    PLAIN,
    Flawed,
    day_cell,
    json_cell,
    moment_cell,
    number_cell,
    number_cells,
    reader,
    text_cell,
)
from service.imports.mapping import CLIENT_REF, ColumnMapping, cell_name
from service.imports.rows import Cell, Columns, Cut, Decode, Row, RowFile, line_text, read_lines
from tidecore.errors import Fault

#: What delimiters are called.
_CALLED = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
#: A whole cell in quotes.
_QUOTED = re.compile(r'"[^"]*+(?:""[^"]*+)*+"')

#: What an empty cell says.
_EMPTY = object()


def cut_csv(path: Path, columns: Columns, mapping: ColumnMapping | None = None) -> RowFile:
    """Return the header of a file, and the cells of its rows.

    Raises
    ------
    FileUnreadable
        If the file is not in its encoding, its header is missing or names columns that nobody knows, its quotes do not
        close, or it ends within a row.
    """
    said = PLAIN if mapping is None else mapping
    lines = _Lines(path, said)
    rows = iter(lines)
    header = tuple(cell.strip() for cell in lines.cells(next(rows, "")))
    plan = _Plan(header, columns, said, foreign=mapping is not None)
    return RowFile(_cut_rows(rows, lines, plan), header)


def _cut_rows(rows: Iterator[str], lines: _Lines, plan: _Plan) -> Iterator[Cut]:
    number = 0
    for text in rows:
        if not text.strip("\r\n") or (plan.choosy and plan.skips(lines.cells(text))):
            continue
        number += 1
        if not lines.ended and len(cells := lines.cells(text)) < plan.width:
            problem = f"the file ends within a row, after {len(cells)} of {plan.width} cells"
            raise FileUnreadable(problem, lines.number, "whole rows")
        yield Cut(number, text, len(text))


def csv_decoder(header: Sequence[str], columns: Columns, mapping: ColumnMapping | None) -> Decode:
    """Return what makes documents of the cells of rows; an empty cell is a field that is not given."""
    said = PLAIN if mapping is None else mapping
    plan = _Plan(header, columns, said, foreign=mapping is not None)

    def row_of(cut: Cut, cells: Sequence[str], documents: Iterator[dict[str, Any]]) -> Row:
        if len(cells) == plan.width:
            return plan.row(cut.number, next(documents))
        fault = Fault("row", f"has {len(cells)} cells", f"{plan.width}, one for each column of the header")
        return Row(cut.number, plan.reference(cells), (fault,))

    def decode(cuts: Sequence[Cut]) -> list[Row]:
        # A line break within a cell is a line feed to us, however the file ends its lines.
        texts = [cut.content.replace("\r\n", "\n") for cut in cuts]
        rows = list(csv.reader(texts, strict=True, delimiter=said.delimiter))
        documents = iter(plan.documents([cells for cells in rows if len(cells) == plan.width]))
        return [row_of(cut, cells, documents) for cut, cells in zip(cuts, rows, strict=True)]

    return decode


class _Lines:
    """The rows of a file as they are written: a line each, or more of them where a cell goes on over its line.

    Only what quotes say is looked into: cells are made by whoever makes documents of them.
    """

    def __init__(self, path: Path, said: ColumnMapping) -> None:
        self._path, self._said = path, said
        self._last = ""
        #: How many lines were read.
        self.number = 0

    def __iter__(self) -> Iterator[str]:
        """Yield rows with their ends, and lines of nothing."""
        lines = self._read()
        for text in lines:
            if _is_plain(text):
                yield text
                continue
            taken: list[str] = []
            first = self.number
            with self._no_csv(first, taken):
                next(self._csv(_noted(chain((text,), lines), taken)), None)
            yield "".join(taken)

    def cells(self, text: str) -> list[str]:
        """Return the cells of a row."""
        with self._no_csv():
            found: list[str] = next(self._csv([text]), [])
        return found

    @property
    def ended(self) -> bool:
        """Whether the latest line has its end."""
        return self._last.endswith(("\n", "\r"))

    def _read(self) -> Iterator[str]:
        for line in read_lines(self._path):
            self.number += 1
            # Almost every line is of letters that are the same in all encodings.
            plain = line.isascii()
            self._last = text = line.decode("ascii") if plain else line_text(line, self.number, self._said.encoding)
            yield text

    def _csv(self, lines: Iterable[str]) -> Iterator[list[str]]:
        return csv.reader(lines, strict=True, delimiter=self._said.delimiter)

    @contextmanager
    def _no_csv(self, first: int = 0, taken: Sequence[str] = ()) -> Iterator[None]:
        """Say what is no CSV of the lines ``taken`` from the ``first`` on: where a quote does not close, the line where
        it opens, for the reader is at the end of the file by then."""
        try:
            yield
        except csv.Error as error:
            expected = f'cells between {_CALLED[self._said.delimiter]}, quoted as "..."'
            text = "".join(taken)
            opens = _open_quote(text, self._said.delimiter)
            if opens is None:
                raise FileUnreadable(f"this is no CSV: {error}", self.number, expected) from error
            problem = "this is no CSV: a quote opens here that does not close"
            raise FileUnreadable(problem, first + text.count("\n", 0, opens), expected) from error


def _open_quote(text: str, delimiter: str) -> int | None:
    """Return where in the text of a row a cell begins with a quote that does not close; None where each does."""
    at = 0
    while True:
        cell = _QUOTED.match(text, at)
        if cell is None and text.startswith('"', at):
            return at
        at = text.find(delimiter, at if cell is None else cell.end()) + 1
        if at == 0:
            return None


def _is_plain(text: str) -> bool:
    """Return whether a line is a whole row, as every one without quotes is."""
    return '"' not in text and "\r" not in text[:-2] and len(text) < csv.field_size_limit()


def _noted(lines: Iterable[str], taken: list[str]) -> Iterator[str]:
    for line in lines:
        taken.append(line)
        yield line


class _Plan:
    """What becomes of each cell of a row."""

    def __init__(self, header: Sequence[str], columns: Columns, said: ColumnMapping, *, foreign: bool) -> None:
        """Read a ``header``; FileUnreadable if it cannot be one. In a ``foreign`` file blanks about a cell are none."""
        #: How many cells a row has.
        self.width = len(header)
        names = {place: said.columns.get(name, name) for place, name in enumerate(header) if not said.ignores(name)}
        _check_header(header, list(names.values()), columns, said)
        cells = {name: columns.get(cell_name(name, columns) or "", text_cell) for name in names.values()}
        self._cells = [
            (place, *_path(name), reader(cells[name], said, said.values.get(name))) for place, name in names.items()
        ]
        #: Columns whose cells may be `Flawed`.
        self._flawed = [(name, *_path(name)) for name, cell in cells.items() if _may_be_flawed(cell, said)]
        self._constants = [(*_path(name), value) for name, value in said.constants.items()]
        self._reference = [header.index(name) for name in said.client_ref_from]
        self._needed = None if said.skip_without is None else header.index(said.skip_without)
        self._foreign = foreign

    @property
    def choosy(self) -> bool:
        """Whether some rows are none."""
        return self._needed is not None

    def skips(self, cells: Sequence[str]) -> bool:
        """Return whether a row is none."""
        return self._needed is not None and (len(cells) <= self._needed or not cells[self._needed].strip())

    def documents(self, rows: Sequence[Sequence[str]]) -> list[dict[str, Any]]:
        """Return the documents of rows, read a column at a time; an empty cell says nothing."""
        if not rows:
            return []
        columns = list(zip(*rows, strict=True))
        given = [(outer, inner, *self._column(columns[at], cell)) for at, outer, inner, cell in self._cells]
        whole = {outer: values for outer, inner, values, empty in given if not inner and not empty}
        # Without a column that is whole, zip gives no rows at all.
        rows_of_these = zip(*whole.values(), strict=True) if whole else repeat((), len(rows))
        documents = [dict(zip(whole, one, strict=True)) for one in rows_of_these]
        for outer, inner, values, empty in given:
            if inner or empty:
                for document, value in zip(documents, values, strict=True):
                    if value is not _EMPTY:
                        _put(document, outer, inner, value)
        for outer, inner, value in self._constants:
            for document in documents:
                _put(document, outer, inner, value)
        if self._reference:
            for document, cells in zip(documents, rows, strict=True):
                document[CLIENT_REF] = self._joined(cells)
        return documents

    def reference(self, cells: Sequence[str]) -> dict[str, Any]:
        """Return what a row of another width is called, as far as the cells for that are there."""
        if self._reference:
            whole = max(self._reference) < len(cells)
            return {CLIENT_REF: self._joined(cells)} if whole else {}
        place, cell = next((at, cell) for at, outer, _, cell in self._cells if outer == CLIENT_REF)
        ((found,), empty) = self._column(cells[place : place + 1], cell) if place < len(cells) else ((None,), True)
        return {} if empty else {CLIENT_REF: found}

    def _joined(self, cells: Sequence[str]) -> str:
        return " ".join(part for place in self._reference if (part := cells[place].strip()))

    def row(self, number: int, document: dict[str, Any]) -> Row:
        """Return a document as a row, without cells that cannot be read: they are its faults."""
        faults = []
        for name, outer, inner in self._flawed:
            holder, field = (document.get(outer, {}), inner) if inner else (document, outer)
            if isinstance(found := holder.get(field), Flawed):
                del holder[field]
                faults.append(Fault(name, found.problem, found.expected))
        return Row(number, document, tuple(faults))

    def _column(self, texts: Sequence[str], cell: Cell) -> tuple[Sequence[Any], bool]:
        """Return the values of a column, `_EMPTY` of an empty cell, and whether there is one."""
        if self._foreign:
            texts = [text.strip() for text in texts]
        empty = "" in texts
        if "'" in "".join(texts):
            texts = list(map(unguarded, texts))
        if empty:
            return [cell(text) if text else _EMPTY for text in texts], True
        if cell is text_cell:
            return texts, False
        return (number_cells(texts) if cell is number_cell else list(map(cell, texts))), False


def _may_be_flawed(cell: Cell, said: ColumnMapping) -> bool:
    return (
        cell is json_cell
        or (cell is number_cell and said.decimal != ".")
        or (cell in (day_cell, moment_cell) and said is not PLAIN)
    )


def _check_header(header: Sequence[str], names: Sequence[str], columns: Columns, said: ColumnMapping) -> None:
    known = ", ".join((CLIENT_REF, *columns))
    if not header:
        raise FileUnreadable("there is no header", 1, f"a first line that names the columns, of {known}")
    strangers = [name for name in names if name != CLIENT_REF and cell_name(name, columns) is None]
    if strangers:
        told = ", ".join(ascii(name)[:60] for name in strangers[:40])
        which = f"a column {told}" if len(strangers) == 1 else f"columns {told}"
        raise FileUnreadable(f"the header names {which}", 1, f"columns of {known}, or a mapping that leads to them")
    missing = [
        name
        for name in (*said.columns, *said.client_ref_from, *([said.skip_without] if said.skip_without else ()))
        if name not in header
    ]
    if missing:
        told = ", ".join(ascii(name)[:60] for name in missing)
        raise FileUnreadable(f"the header has no column {told}, which the mapping names", 1, "each of them")
    if CLIENT_REF not in names and not said.client_ref_from:
        made = "or client_ref_from in a mapping"
        raise FileUnreadable(f"the header has no column {CLIENT_REF}", 1, f"columns of {known}, {made}")
    if len(set(names)) < len(names) or len(set(header)) < len(header):
        raise FileUnreadable("the header names a column twice", 1, "each column once")
    said_twice = [name for name in names if name in said.constants]
    within = [name for name in (*names, *said.constants) if "." in name and name.partition(".")[0] in names]
    if said_twice or within:
        raise FileUnreadable(f"the header says {(said_twice or within)[0]!a} twice", 1, "each field in one column")


def _path(name: str) -> tuple[str, str]:
    outer, _, inner = name.partition(".")
    return outer, inner


def _put(document: dict[str, Any], outer: str, inner: str, value: Any) -> None:
    if inner == "":
        document[outer] = value
    elif outer in document:
        document[outer][inner] = value
    else:
        document[outer] = {inner: value}
