"""What the readers of all formats share: a row, and lines of a file that are known to be UTF-8."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from service.errors import FileUnreadable
from tidecore.errors import Fault

#: Longest row of any format [bytes].
LONGEST_ROW = 256 * 1024

_MARK = b"\xef\xbb\xbf"


#: Faults at these leave no document to look into.
_WHOLE = frozenset({"row", "properties"})
_AS_THEY_ARE: Mapping[str, str | None] = MappingProxyType({})


class Row(NamedTuple):
    """One row of a file, counted from 1: the document it is, without what its faults say is wrong with it.

    ``told_as`` is what the file calls fields that it does not call as the document does; None for those of which no
    more is said, for it follows from something else.
    """

    number: int
    document: Mapping[str, Any]
    faults: tuple[Fault, ...] = ()
    told_as: Mapping[str, str | None] = _AS_THEY_ARE

    @property
    def broken(self) -> bool:
        """Whether there is no document at all."""
        return any(fault.field in _WHOLE for fault in self.faults)


#: How the text of a column of CSV becomes the value of a field.
Cell = Callable[[str], Any]

#: Columns of a kind of thing in CSV: name, dotted where it lies in an object of the document -> its `Cell`.
Columns = Mapping[str, Cell]


class Cut(NamedTuple):
    """One row of a file as it was cut out of it, counted from 1: a line, the cells of a table, a feature.

    ``size`` is how long it is in the file [bytes or characters].
    """

    number: int
    content: Any
    size: int


#: Returns the documents of what was cut out of a file, or the faults that it is none.
Decode = Callable[[Sequence[Cut]], list[Row]]


def each(decode: Callable[[Cut], Row]) -> Decode:
    """Return what makes the documents of rows one by one."""
    return lambda cuts: list(map(decode, cuts))


class RowFile(NamedTuple):
    """The rows of a file one by one, FileUnreadable where the file itself breaks, and the header of a table."""

    cuts: Iterator[Cut]
    header: tuple[str, ...] = ()


def read_lines(path: Path) -> Iterator[bytes]:
    """Yield the lines of a file with their ends; a byte order mark of UTF-8 is no part of the first.

    Raises
    ------
    FileUnreadable
        If a line is longer than `LONGEST_ROW`.
    """
    with path.open("rb") as file:
        number = 0
        while line := file.readline(LONGEST_ROW + 1):
            number += 1
            if len(line) > LONGEST_ROW:
                raise FileUnreadable("the line is too long", number, f"at most {LONGEST_ROW} bytes a line")
            yield line.removeprefix(_MARK) if number == 1 else line


def line_text(line: bytes, number: int, encoding: str = "utf-8") -> str:
    """Return a line as text; FileUnreadable if it is not in the ``encoding``."""
    try:
        return line.decode(encoding)
    except UnicodeDecodeError as error:
        raise FileUnreadable(f"byte {error.start + 1} is not UTF-8", number, "text in UTF-8") from error
