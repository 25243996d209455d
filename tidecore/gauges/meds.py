"""MEDS CSV: Canadian water levels with a header that states station, position, datum, zone and unit.

Lines ``key,value`` name the station, its position, the datum, the zone and what is observed; then follow the names of
the columns, ``Obs_date,SLEV(metres)``, and rows. Levels bear no flags.

Notes
-----
Oddities met in real files: the longitude has no minus although it is west (the archive is Canada's; the sign is put in
and the number of the file kept as ``longitude_in_file``); every row ends in a comma that the names of the columns do
not have; absent hours are absent rows, mostly at low water; lines end in CR LF. A zone that is an abbreviation would
state no offset: then ``zone`` must say it.

The description is the header of the files of Canada's Marine Environmental Data Section.
"""

from __future__ import annotations

import numpy as np

from tidecore.errors import HintMissing, RecordUnreadable
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import StampClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, STATED_UNIT, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import agreed_unit, constant_offset, settled_datum, stated_position
from tidecore.gauges.table import Layout

HINTS = (
    Hint("datum", DATUM.accepted + " (goes before the one in the header)"),
    STATED_UNIT,
    Hint("zone", zones.ACCEPTED + "; only where the header states none that is an offset"),
    Hint("ambiguous_times", "what a time means that summer time shows twice: 'earlier', 'later' or 'drop'"),
    VALID_RANGE,
)

_HEADER_LINES = 20


def _recognise(source: Source) -> Recognition:
    """A station's name and number and the zone at the top are of no other format."""
    if source.binary_at is not None:
        return Recognition.NO
    head = source.head_lines()[:_HEADER_LINES]
    marks = ("Station_Name,", "Station_Number,", "Time_zone,")
    return Recognition.CERTAIN if all(any(line.startswith(mark) for line in head) for mark in marks) else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the rows below the header."""
    source.require_text()
    ambiguous = hints.text("ambiguous_times")
    if ambiguous not in (None, *zones.AMBIGUOUS_TIMES):
        raise hints.wrong("ambiguous_times")
    fields, names, first = _header(source)
    stated = Columns(2, names).stated_unit(1)
    if stated is None:
        raise RecordUnreadable(f"the column of levels is {names[1]!r}", first, "its unit in brackets, as SLEV(metres)")
    unit = agreed_unit(hints, stated, "the header")
    datum, beside = settled_datum(hints, fields.get("Datum", ""))
    clock = StampClock((0,), StampFormat.parse("%Y/%m/%d %H:%M"))
    numbers = NumberCells()
    columns: Columns | None = None
    times, levels, lines = [], [], []
    for block in Layout("comma", "", first).blocks(source):
        columns = columns or Columns(3 if len(block.cells[0]) == 3 else 2, None)
        columns.check(block)
        _refuse_third(block.cells, block.lines)
        times.append(clock.read(block).local_us)
        levels.append(numbers.parse(block.column(1), block.lines, "level"))
        lines.append(np.array(block.lines))
    if not lines:
        raise RecordUnreadable("the file holds no row below its header", expected="rows of time and level")
    local_us, at = np.concatenate(times), np.concatenate(lines)
    offset_us = zones.parse_offset(fields["Time_zone"])
    if offset_us is None and hints.text("zone") is None:
        raise HintMissing("zone", f"{zones.ACCEPTED}; the file says {fields['Time_zone']!r}, which states no offset")
    instants = zones.resolve_zone(
        local_us, constant_offset(local_us, offset_us), at, hints.text("zone"), hints.text("ambiguous_times")
    )
    kept = slice(None) if instants.kept is None else instants.kept
    return RawRecord(
        times_us=instants.times_us[kept],
        levels=np.concatenate(levels)[kept],
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=at[kept],
        valid_range=hints.interval("valid_range"),
        attributes={
            "station": f"{fields['Station_Name']} ({fields['Station_Number']})",
            "zone_in_file": fields["Time_zone"],
            **_position(fields),
            **beside,
        },
    )


def _header(source: Source) -> tuple[dict[str, str], tuple[str, ...], int]:
    """Return the fields of the header, the names of the columns, and how many lines it has."""
    fields: dict[str, str] = {}
    for number, line in enumerate(source.head_lines()[:_HEADER_LINES], start=1):
        name, _, rest = line.partition(",")
        if name.strip() == "Obs_date":
            for needed in ("Station_Name", "Station_Number", "Time_zone"):
                if not fields.get(needed):
                    raise RecordUnreadable(f"the header has no {needed!r}", number, "the header of a MEDS file")
            return fields, (name.strip(), rest.rstrip(", ").strip()), number
        fields[name.strip()] = rest.rstrip(", ").strip()
    raise RecordUnreadable(
        "the header has no end", expected=f"a line 'Obs_date,SLEV(metres)' among the first {_HEADER_LINES}"
    )


def _refuse_third(cells: list[list[str]], lines: list[int]) -> None:
    """Raise `RecordUnreadable` for a row with something behind its trailing comma."""
    for row, line in zip(cells, lines, strict=True):
        if len(row) == 3 and row[2].strip():
            raise RecordUnreadable(f"a third cell holds {row[2].strip()!r}", line, "time and level")


def _position(fields: dict[str, str]) -> dict[str, str | int | float]:
    """Return the position with its longitude west, and the longitude as the file has it."""
    found = stated_position(fields.get("Latitude_Decimal_Degrees", ""), fields.get("Longitude_Decimal_Degrees", ""))
    if found:
        found["longitude_in_file"] = found["longitude"]
        found["longitude"] = -abs(float(found["longitude"]))
    return found


MEDS = GaugeReader("meds", "MEDS CSV of Canadian water levels (header states all)", HINTS, _recognise, _read)
