"""CSV: a header of field names, one row a line, cells between commas."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from service.errors import FileUnreadable
from service.imports.rows import Cell, Columns, Row, read_lines
from tidecore.errors import Fault

#: The column that every file has.
_NEEDED = "client_ref"


def number_cell(text: str) -> float | str:
    """Return a cell as the number it is, or as it stands, for the document to say what is wrong with it."""
    try:
        value = float(text)
    except ValueError:
        return text
    # Python's own way to write numbers is not CSV's: 1_000 is a text.
    return text if "_" in text or not math.isfinite(value) else value


def text_cell(text: str) -> str:
    """Return a cell as it stands."""
    return text


def list_cell(text: str) -> list[str]:
    """Return the parts of a cell between semicolons."""
    return [part.strip() for part in text.split(";")]


def truth_cell(text: str) -> bool | str:
    """Return true and false as truth values, anything else as it stands."""
    return {"true": True, "false": False}.get(text, text)


def json_cell(text: str) -> Any:
    """Return the JSON value in a cell, or the cell as it stands, for the document to say what is wrong with it."""
    try:
        return json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return text


def _refuse(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def read_csv(path: Path, columns: Columns) -> Iterator[Row]:
    """Yield the rows of a file as documents; an empty cell is a field that is not given.

    Raises
    ------
    FileUnreadable
        If the file is not UTF-8, its header is missing or names other columns, its quotes do not close, or it ends
        within a row.
    """
    lines = _Ends(path)
    reader = csv.reader(lines, strict=True)
    try:
        header = _header(next(reader, None), columns)
        plan = [(*_path(name), columns.get(name, text_cell)) for name in header]
        number = 0
        for cells in reader:
            if not cells:
                continue
            number += 1
            if len(cells) == len(header):
                yield Row(number, _document(plan, cells))
                continue
            if len(cells) < len(header) and not lines.ended:
                problem = f"the file ends within a row, after {len(cells)} of {len(header)} cells"
                raise FileUnreadable(problem, reader.line_num, "whole rows")
            fault = Fault("row", f"has {len(cells)} cells", f"{len(header)}, one for each column of the header")
            yield Row(number, {}, (fault,))
    except csv.Error as error:
        raise FileUnreadable(
            f"this is no CSV: {error}", reader.line_num, 'cells between commas, quoted as "..."'
        ) from (error)


class _Ends:
    """The lines of a file, and whether the latest of them has its end."""

    def __init__(self, path: Path) -> None:
        self._lines = read_lines(path)
        self.ended = True

    def __iter__(self) -> Iterator[str]:
        for line in self._lines:
            self.ended = line.endswith(("\n", "\r"))
            yield line


def _header(cells: Sequence[str] | None, columns: Columns) -> list[str]:
    known = ", ".join((_NEEDED, *columns))
    if cells is None:
        raise FileUnreadable("there is no header", 1, f"a first line that names the columns, of {known}")
    names = [cell.strip() for cell in cells]
    for name in names:
        if name != _NEEDED and name not in columns:
            raise FileUnreadable(f"the header names a column {ascii(name)[:60]}", 1, f"columns of {known}")
    if _NEEDED not in names:
        raise FileUnreadable(f"the header has no column {_NEEDED}", 1, f"columns of {known}")
    if len(set(names)) < len(names):
        raise FileUnreadable("the header names a column twice", 1, "each column once")
    return names


def _path(name: str) -> tuple[str, str]:
    outer, _, inner = name.partition(".")
    return outer, inner


def _document(plan: Sequence[tuple[str, str, Cell]], cells: Sequence[str]) -> dict[str, Any]:
    document: dict[str, Any] = {}
    for (outer, inner, cell), text in zip(plan, cells, strict=True):
        if text == "":
            continue
        value = text if cell is text_cell else cell(text)
        if inner == "":
            document[outer] = value
        elif outer in document:
            document[outer][inner] = value
        else:
            document[outer] = {inner: value}
    return document
