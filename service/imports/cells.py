"""How the text of a cell becomes a value: numbers, dates, times, lists and JSON, and what cannot be read as one."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

from service.imports.mapping import ColumnMapping
from service.imports.rows import Cell
from tidecore.documents import shown

#: What may be meant for a number.
_DIGITS = re.compile(r"[-+\d.,\s]+")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")

#: How CSV is read of which nobody said how.
PLAIN = ColumnMapping()


class Flawed(NamedTuple):
    """A cell that cannot be read as what its column holds, and that the document would have nothing right to say of."""

    problem: str
    expected: str


def number_cell(text: str) -> float | str:
    """Return a cell as the number it is, or as it stands, for the document to say what is wrong with it."""
    try:
        value = float(text)
    except ValueError:
        return text
    # Python's own way to write numbers is not CSV's: 1_000 is a text.
    return text if "_" in text or not math.isfinite(value) else value


def number_cells(texts: Sequence[str]) -> Sequence[float | str]:
    """Return what `number_cell` does of each of many texts."""
    try:
        values = list(map(float, texts))
    except ValueError:
        return list(map(number_cell, texts))
    if "_" in "".join(texts) or not math.isfinite(sum(values)):
        return list(map(number_cell, texts))
    return values


def text_cell(text: str) -> str:
    """Return a cell as it stands."""
    return text


def day_cell(text: str) -> str:
    """Return a date as it stands; a mapping says in which order its parts come."""
    return text


def clock_cell(text: str) -> str:
    """Return a time of the day as it stands; with a mapping 6.30 is one too."""
    return text


def moment_cell(text: str) -> str:
    """Return an instant as it stands; a mapping says how its date is written and whose clock it was."""
    return text


def list_cell(text: str) -> list[str]:
    """Return the parts of a cell between semicolons."""
    return [part.strip() for part in text.split(";")]


def truth_cell(text: str) -> bool | str:
    """Return true and false as truth values, anything else as it stands."""
    return {"true": True, "false": False}.get(text, text)


def json_cell(text: str) -> Any:
    """Return the JSON value in a cell, or that it is none."""
    try:
        return json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return Flawed(f"is {shown(text)}, which is no JSON", "what a POST has there, as JSON")


def _refuse(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def reader(cell: Cell, said: ColumnMapping, words: Mapping[str, str] | None) -> Cell:
    """Return how a cell is read in a file that writes numbers, dates and times in its own way, and has words for some
    of what we say."""
    read = ours = _own(cell, said)
    if cell is number_cell and said.decimal != ".":

        def read(text: str) -> Any:
            return _of_two_readings(text) or ours(text)

    return read if words is None else lambda text: ours(words[text]) if text in words else read(text)


def _own(cell: Cell, said: ColumnMapping) -> Cell:
    if said is PLAIN:
        return cell
    own: dict[Cell, Cell] = {
        day_cell: lambda text: _of_the_calendar(text, said.day(text), said),
        clock_cell: said.clock,
        moment_cell: lambda text: _of_the_calendar(text, said.moment(text), said),
        number_cell: lambda text: _number(text, said),
    }  # fmt: skip
    return own.get(cell, cell)


def _of_the_calendar(text: str, found: str, said: ColumnMapping) -> str | Flawed:
    """Return what was found in a cell of a date, unless that is written as it should be and there is no such day."""
    if _DAY.fullmatch(found[:10]):
        try:
            date.fromisoformat(found[:10])
        except ValueError:
            problem = f"is {shown(text)}, and there is no such day"
            return Flawed(problem, f"a day of the calendar, as {said.date_format}")
    return found


def _number(text: str, said: ColumnMapping) -> float | str:
    found = number_cell(said.number(text))
    return text if isinstance(found, str) else found


def _of_two_readings(text: str) -> Flawed | None:
    """Return what is wrong with a number that has a point in a file whose numbers have a comma: 1.250 may be a thousand
    times 1,250, and nobody would see it."""
    if "." not in text or not _DIGITS.fullmatch(text):
        return None
    problem = f"is {shown(text)}, which has a point, and the decimal sign of the file is a comma"
    return Flawed(problem, "1250 or 1,25 as it may be: a comma before decimals, and nothing between thousands")
