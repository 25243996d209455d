"""BODC text: the UK tide gauge network, one station and year a file, level and residual beside each other.

Header lines say the port, position, datum and parameter; rows are a number, date, clock, level and residual. Levels
are metres and times GMT by the format; the datum is stated in words, usually Admiralty Chart Datum (ACD).

A letter behind a number is its flag. M (improbable) and T (interpolated) keep their level as suspect, so that no fit
takes it; N (null) has none. A number without a letter has passed the centre's own control, and is good.

Notes
-----
Oddities met in real files: the null is -99.0000N or -99.000N, by the width of the columns, which differs between
years; so does the parameter code (ASLVZZ01, ASLVBG02 and others: surface elevation by kind of gauge), which names the
column of levels; the code calls the datum "unspecified" where the line above it states one; level and residual may
bear different flags, of which that of the level counts; whole weeks of levels may be flagged M. The residual is that
of the centre's own prediction and is not read. The header's End Date is kept (``end_stated``), not enforced.

The description is the header of the files of the British Oceanographic Data Centre.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import StampClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, STATED_UNIT, STATED_ZONE, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import GOOD, SUSPECT, RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import agreed_unit, constant_offset, settled_datum, stated_position
from tidecore.gauges.table import Layout
from tidecore.gauges.zones import resolve_zone
from tidecore.units import FloatArray, IntArray

HINTS = (
    Hint("datum", DATUM.accepted + " (goes before the one in the header)"),
    STATED_UNIT,
    STATED_ZONE,
    VALID_RANGE,
)

_HEADER_LINES = 40
_FIELD = re.compile(r"([A-Z][A-Za-z ]+):\s*(.*)")
_ABBREVIATION = re.compile(r"\(([A-Z]{2,6})\)\s*$")
_FLAGS = {"": GOOD, "M": SUSPECT, "T": SUSPECT}
_NULL = "N"


def _recognise(source: Source) -> Recognition:
    """Port, parameter code and datum in the header are of no other format."""
    if source.binary_at is not None:
        return Recognition.NO
    head = source.head_lines()[:_HEADER_LINES]
    marks = ("Port:", "Parameter code:", "Datum information:")
    return Recognition.CERTAIN if all(any(line.startswith(mark) for line in head) for mark in marks) else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the rows below the header."""
    source.require_text()
    fields, names, first = _header(source)
    level, width = _level_column(fields, names), len(names)
    unit = agreed_unit(hints, "m", "the format")
    datum, beside = settled_datum(hints, _datum(fields))
    columns = Columns(width, None)
    clock = StampClock((1, 2), StampFormat.parse("%Y/%m/%d %H:%M:%S"))
    times, levels, flags, lines = [], [], [], []
    for block in Layout("whitespace", "", first).blocks(source):
        columns.check(block)
        values, marks = _flagged(block.column(level), block.lines)
        times.append(clock.read(block).local_us)
        levels.append(values)
        flags.append(marks)
        lines.append(np.array(block.lines))
    if not lines:
        raise RecordUnreadable("the file holds no row below its header", expected="rows of number, date, time, level")
    local_us, at = np.concatenate(times), np.concatenate(lines)
    instants = resolve_zone(local_us, constant_offset(local_us, 0), at, hints.text("zone"), None)
    return RawRecord(
        times_us=instants.times_us,
        levels=np.concatenate(levels),
        unit=unit,
        zone="GMT, by the format",
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=at,
        flags=np.concatenate(flags),
        valid_range=hints.interval("valid_range"),
        attributes={
            "station": f"{fields.get('Site', '')} ({fields['Port']})".strip(),
            "parameter": fields["Parameter code"],
            "end_stated": fields.get("End Date", ""),
            **stated_position(fields.get("Latitude", ""), fields.get("Longitude", "")),
            **beside,
        },
    )


def _header(source: Source) -> tuple[dict[str, str], list[str], int]:
    """Return the fields of the header, the names of the columns, and how many lines it has."""
    fields: dict[str, str] = {}
    names: list[str] = []
    for number, line in enumerate(source.head_lines()[:_HEADER_LINES], start=1):
        words = line.split()
        if words[:1] == ["Number"]:
            if not names:
                raise RecordUnreadable("no line names the columns", number, "'Cycle Date Time ...' above this one")
            return fields, names, number
        if words[:3] == ["Cycle", "Date", "Time"]:
            names = words
            continue
        field = _FIELD.fullmatch(line.strip())
        if field is not None:
            fields[field[1].strip()] = field[2].strip()
    raise RecordUnreadable(
        "the header has no end", expected=f"a line 'Number yyyy mm dd ...' among the first {_HEADER_LINES}"
    )


def _level_column(fields: dict[str, str], names: Sequence[str]) -> int:
    """Return the column of levels, which bears the parameter code of the header."""
    for name in ("Port", "Parameter code"):
        if not fields.get(name):
            raise RecordUnreadable(f"the header has no {name!r}", expected="the header of a BODC file")
    code = fields["Parameter code"].split()[0]
    if not code.startswith("ASLV"):
        raise RecordUnreadable(f"the parameter is {code!r}", expected="a surface elevation, ASLV and four letters more")
    if names.count(code) != 1:
        raise RecordUnreadable(f"the columns are {', '.join(names)}", expected=f"one of them called {code}")
    return names.index(code)


def _datum(fields: dict[str, str]) -> str:
    """Return the datum that the header states: the abbreviation in brackets, else its words; empty if none."""
    text = fields.get("Datum information", "")
    short = _ABBREVIATION.search(text)
    return short[1] if short is not None else text


def _flagged(cells: Sequence[str], lines: Sequence[int]) -> tuple[FloatArray, IntArray]:
    """Return levels, NaN where null, and their flags."""
    letters = [cell[-1] if cell[-1:].isalpha() else "" for cell in cells]
    for letter, cell, line in zip(letters, cells, lines, strict=True):
        if letter not in _FLAGS and letter != _NULL:
            raise RecordUnreadable(f"the flag of the level {cell!r} is {letter!r}", line, "none, M, N or T")
    numbers = [cell.removesuffix(letter) for cell, letter in zip(cells, letters, strict=True)]
    levels = NumberCells(missing_texts=frozenset()).parse(numbers, lines, "level")
    levels[np.array([letter == _NULL for letter in letters])] = np.nan
    return levels, np.array([_FLAGS.get(letter, GOOD) for letter in letters])


BODC = GaugeReader("bodc", "BODC text of the UK tide gauge network (metres, GMT)", HINTS, _recognise, _read)
