"""A table of conditions as delimited text: a column of times, and one a variable with its unit in the header."""

from __future__ import annotations

import csv
import io
from typing import Any

from tidecore.conditions.issue import MOST_TIMES
from tidecore.conditions.spelled import Meant, header_meant
from tidecore.errors import Fault, InvalidInput, RecordUnreadable
from tidecore.place import MOST_FAULTS

_DELIMITERS = (",", ";", "\t")


def read_table(content: bytes) -> dict[str, Any]:
    """Return times, values and, where a header says it, the kind of period, of a table.

    Its first line names the columns: ``time``, and variables with their unit, ``wind_speed_m_per_s`` or
    ``wind_speed (kn)``; an empty cell is no value. Units that are known otherwise are converted. Cells are parted by
    commas, semicolons or tabs, whichever the header has most of.

    Raises
    ------
    RecordUnreadable
        If it is no UTF-8 text, has no header, or a line has more or fewer cells than the header.
    InvalidInput
        With every column that is not known, or every cell that is no number; at most 100 listed.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise RecordUnreadable("no UTF-8 text", line, "a table as UTF-8") from error
    head = text.partition("\n")[0]
    delimiter = max(_DELIMITERS, key=head.count)
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise RecordUnreadable(f"no table: {error}", expected="a table with a header") from error
    lines = [(number, row) for number, row in enumerate(rows, 1) if any(cell.strip() for cell in row)]
    if not lines:
        raise RecordUnreadable("the table is empty", expected="a header, and a line for each time")
    if len(lines) > MOST_TIMES + 1:
        raise RecordUnreadable(f"the table has {len(lines) - 1} lines", expected=f"at most {MOST_TIMES} times")
    header = [name.strip() for name in lines[0][1]]
    columns = _columns(header)
    for number, row in lines[1:]:
        if len(row) != len(header):
            raise RecordUnreadable(f"{len(row)} cells", number, f"{len(header)}, as the header has")
    return _read(header, columns, lines[1:])


def _columns(header: list[str]) -> dict[int, Meant]:
    """Return what each column but that of times means."""
    faults, columns = [], dict[int, Meant]()
    if header.count("time") != 1:
        faults.append(Fault("header.time", f"is there {header.count('time')} times", "one column called time"))
    for place, name in enumerate(header):
        if name == "time":
            continue
        found = header_meant(name)
        if isinstance(found, str):
            faults.append(Fault(f"header.{place}", f"is {name[:60]!r}, which is not known", found))
        elif found.variable in {other.variable for other in columns.values()}:
            problem = f"is {name[:60]!r}, a second column of {found.variable}"
            faults.append(Fault(f"header.{place}", problem, "one column of each variable"))
        else:
            columns[place] = found
    if faults:
        raise InvalidInput(faults)
    return columns


def _read(header: list[str], columns: dict[int, Meant], lines: list[tuple[int, list[str]]]) -> dict[str, Any]:
    """Return the document that the lines under the header make."""
    values: dict[str, list[float | str | None]] = {one.variable: [] for one in columns.values()}
    faults = []
    for number, row in lines:
        for place, one in columns.items():
            cell = row[place].strip()
            try:
                value = None if not cell else cell if one.text else one.ours(float(cell))
            except ValueError:
                value = None
                faults.append(Fault(f"line.{number}.{header[place]}", f"is {cell[:40]!r}", "a number, or nothing"))
            values[one.variable].append(value)
    if faults:
        raise InvalidInput(faults[:MOST_FAULTS])
    times = [row[header.index("time")].strip() for _, row in lines]
    # A column without a single value is one that was not given.
    given = {name: column for name, column in values.items() if any(value is not None for value in column)}
    found: dict[str, Any] = {"times": times, "values": given}
    period = next((one.period for one in columns.values() if one.period is not None), None)
    return found | ({"wave_period_kind": period} if period is not None else {})
