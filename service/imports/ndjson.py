"""NDJSON: one JSON object a line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import orjson

from service.errors import FileUnreadable
from service.imports.rows import Columns, Row, line_text, read_lines
from tidecore.errors import Fault


def read_ndjson(path: Path, _columns: Columns) -> Iterator[Row]:
    """Yield the objects of a file; blank lines are no rows, and a line that is no object is a row with a fault.

    Raises
    ------
    FileUnreadable
        If the file is not UTF-8, or its last line is cut off.
    """
    number = 0
    for place, line in enumerate(read_lines(path), 1):
        try:
            document = orjson.loads(line)
        except orjson.JSONDecodeError as error:
            if not line_text(line, place).strip():
                continue
            number += 1
            if not line.endswith(b"\n"):
                # Only the last line can lack its end: whoever sent the file stopped in the middle of it.
                raise FileUnreadable(
                    f"the file ends within a JSON document ({error.msg})", place, "a whole JSON object a line"
                ) from error
            yield Row(number, {}, (Fault("row", f"is no JSON: {error.msg}", "one JSON object on a line"),))
            continue
        number += 1
        if isinstance(document, dict):
            yield Row(number, document)
        else:
            yield Row(number, {}, (Fault("row", "is JSON, but no object", "one JSON object on a line"),))
