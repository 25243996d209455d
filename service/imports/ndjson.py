"""NDJSON: one JSON object a line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import orjson

from service.errors import FileUnreadable
from service.imports.rows import Cut, Row, line_text, read_lines
from tidecore.errors import Fault

#: How a line ends that is a whole object if it is JSON at all.
_ENDS = (b"}\n", b"}\r\n")


def cut_ndjson(path: Path) -> Iterator[Cut]:
    """Yield the lines of a file; blank lines are no rows.

    Raises
    ------
    FileUnreadable
        If the file is not UTF-8, or its last line is cut off.
    """
    number = 0
    for place, line in enumerate(read_lines(path), 1):
        whole = line.startswith(b"{") and line.endswith(_ENDS)
        if not line.isascii() or not whole:
            text = line_text(line, place)
            if not whole and not text.strip():
                continue
        if not line.endswith(b"\n"):
            _check_last(line, place)
        number += 1
        yield Cut(number, line, len(line))


def _check_last(line: bytes, place: int) -> None:
    """Refuse a line without its end whose JSON goes on beyond it: whoever sent the file stopped in the middle of it.

    One that is wrong before it ends is a row like any other.
    """
    try:
        orjson.loads(line)
    except orjson.JSONDecodeError as error:
        if error.pos < len(error.doc):
            return
        problem = f"the file ends within a JSON document ({error.msg})"
        raise FileUnreadable(problem, place, "a whole JSON object a line") from error


def decode_line(cut: Cut) -> Row:
    """Return the object of a line, or the fault that it is none."""
    try:
        document = orjson.loads(cut.content)
    except orjson.JSONDecodeError as error:
        return Row(cut.number, {}, (Fault("row", f"is no JSON: {error.msg}", "one JSON object on a line"),))
    if isinstance(document, dict):
        return Row(cut.number, document)
    return Row(cut.number, {}, (Fault("row", "is JSON, but no object", "one JSON object on a line"),))
