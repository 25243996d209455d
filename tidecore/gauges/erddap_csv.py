"""ERDDAP CSV: a table of a data server, with units in a row below the names (csv) or in brackets behind them (csvp).

Times are ISO 8601 with Z. The column of levels is the only one whose name is that of a sea level and whose unit is a
length, or is said with ``level``; its unit is the server's. A server has no field for a datum: ``datum`` must be said.

Several stations in one file are refused, and named, unless ``gauge`` says which; rows belong to one station if all
its names, numbers and its position agree. Any of these may be said.

Notes
-----
Oddities met in real files: times are a second before the full minute (01:59:59Z for two o'clock). If every time is
within a second of a full minute, each is put on its minute; ``times_rounded`` counts those that moved and
``time_rounding_s`` says how far. Longitudes run to 360; missing levels are NaN, for a station even all of them; names
in quotes hold commas; other columns hold times of their own. Tables that have lost their units are plain CSV.

The descriptions are those of ERDDAP's file types .csv and .csvp (NOAA, Simons and John, ERDDAP, tabledap).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from tidecore.errors import RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import StampClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, STATED_UNIT, STATED_ZONE, STATION, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import agreed_unit, stated_position
from tidecore.gauges.stations import rows_of_station
from tidecore.gauges.table import Block, Layout
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.units import IntArray, metres_per

HINTS = (
    Hint("datum", DATUM.accepted + " (a server has no field for it)"),
    Hint("level", "the column of levels by name, with or without its unit"),
    STATED_UNIT,
    STATED_ZONE,
    STATION,
    VALID_RANGE,
)

_BRACKETS = re.compile(r"(.*?)\s*\(([^()]*)\)")
_SEA_LEVEL = re.compile(r"(sea|water)_?(level|surface_(height|elevation)\w*)(_\w+)?", re.IGNORECASE)
#: Columns that tell stations apart, those that name them first.
_STATION = re.compile(r"(station|platform)(_?(name|id|code))?|\w+_id|latitude|longitude", re.IGNORECASE)
_LEADS = ("station_name", "station", "station_id")


def _recognise(source: Source) -> Recognition:
    """A column ``time`` in UTC, by brackets or by a row of units, and a time with Z in the first row."""
    if source.binary_at is not None:
        return Recognition.NO
    rows: list[list[str]] = []
    for number, line in enumerate(source.head_lines()[:3], start=1):
        try:
            rows += Layout("comma", "", 0).split([number], [line]) if line.strip() else []
        except RecordUnreadable:  # the reader says where, if the rows above are enough to know the format by
            break
    found = _named(rows)
    if found is None:
        return Recognition.NO
    names, _, first = found
    time, clock = names.index("time"), StampFormat.iso()
    row = rows[first] if len(rows) > first else []
    stamped = len(row) == len(names) and clock.fits(row[time]) and row[time].strip().endswith("Z")
    return Recognition.CERTAIN if stamped else Recognition.NO


def _named(rows: Sequence[Sequence[str]]) -> tuple[list[str], list[str], int] | None:
    """Return names, units and how many rows they take; None for a table that does not state its time so."""
    if not rows:
        return None
    names = [cell.strip() for cell in rows[0]]
    split = [_BRACKETS.fullmatch(name) for name in names]
    if "time (UTC)" in names:
        return (
            [name if match is None else match[1] for name, match in zip(names, split, strict=True)],
            ["" if match is None else match[2].strip() for match in split],
            1,
        )
    if "time" in names and len(rows) > 1 and len(rows[1]) == len(names):
        units = [cell.strip() for cell in rows[1]]
        if units[names.index("time")] == "UTC":
            return names, units, 2
    return None


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the rows of one station."""
    source.require_text()
    datum = hints.require_text("datum")
    names, units, block = _table(source)
    level = _level_column(names, units, hints)
    unit = agreed_unit(hints, units[level], "the file")
    keys = {name: block.column(at) for name, at in _station_columns(names)}
    rows, station = rows_of_station(hints, keys) if keys else (np.ones(len(block.lines), dtype=np.bool_), "")
    if not keys and hints.text("gauge") is not None:
        raise UnknownName("station", str(hints.text("gauge")), ())
    at = np.flatnonzero(rows).tolist()
    block = Block([block.lines[row] for row in at], [block.cells[row] for row in at])
    lines = np.array(block.lines)
    times = StampClock((names.index("time"),), StampFormat.iso()).read(block)
    offsets_us = np.where(times.offsets_us == zones.NO_OFFSET, 0, times.offsets_us)
    instants = zones.resolve_zone(times.local_us, offsets_us, lines, hints.text("zone"), None)
    times_us, rounding = rounded_to_minutes(instants.times_us)
    position = {name: block.cells[0][place] for name, place in _station_columns(names)}
    return RawRecord(
        times_us=times_us,
        levels=NumberCells().parse(block.column(level), block.lines, "level"),
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=lines,
        valid_range=hints.interval("valid_range"),
        attributes={
            "station": station,
            "variable": names[level],
            **rounding,
            **stated_position(position.get("latitude", ""), position.get("longitude", "")),
        },
    )


def _table(source: Source) -> tuple[list[str], list[str], Block]:
    """Return names and units of the columns, and all rows below."""
    blocks = Layout("comma", "", 0).blocks(source)
    rows = next(blocks, Block([], []))
    found = _named(rows.cells[:2])
    if found is None:
        raise RecordUnreadable(
            "no column 'time' states that it is UTC", 1, "'time (UTC)' among the names, or 'UTC' below 'time'"
        )
    names, units, first = found
    repeated = {name for name in names if names.count(name) > 1}
    if repeated:
        raise RecordUnreadable(f"the column {min(repeated)!r} stands more than once", 1, "each name once")
    block = Block(rows.lines[first:], rows.cells[first:])
    columns = Columns(len(names), None)
    columns.check(block)
    for part in blocks:
        columns.check(part)
        block.lines.extend(part.lines)
        block.cells.extend(part.cells)
    if not block.lines:
        raise RecordUnreadable("the table holds a header and no row", expected="rows of time and level")
    return names, units, block


def _level_column(names: list[str], units: list[str], hints: Hints) -> int:
    """Return the column of levels, said or the only one of a sea level in a unit of length."""
    given = hints.text("level")
    lengths = [at for at, unit in enumerate(units) if _is_length(unit)]
    if given is not None:
        bare = _BRACKETS.fullmatch(given)
        name = given if given in names or bare is None else bare[1]
        if name not in names:
            raise UnknownName("column", given, names)
        if names.index(name) not in lengths:
            raise RecordUnreadable(
                f"the unit of the column {name!r} is {units[names.index(name)]!r}",
                expected="a unit of length; without one the table is plain CSV (format='csv' and unit=)",
            )
        return names.index(name)
    fitting = [at for at in lengths if _SEA_LEVEL.fullmatch(names[at])]
    if len(fitting) > 1:
        raise RecordAmbiguous("the sea level", [names[at] for at in fitting], "level=")
    if not fitting:
        raise hints.missing("level")
    return fitting[0]


def _is_length(unit: str) -> bool:
    """Tell whether ``unit`` is one of level."""
    try:
        metres_per(unit)
    except UnknownName:
        return False
    return True


def _station_columns(names: list[str]) -> list[tuple[str, int]]:
    """Return the columns that tell stations apart, with their places, the one that names stations first."""
    found = [(name, at) for at, name in enumerate(names) if _STATION.fullmatch(name)]
    return sorted(found, key=lambda pair: (pair[0].lower() not in _LEADS, pair[1]))


def rounded_to_minutes(times_us: IntArray) -> tuple[IntArray, dict[str, str | int | float]]:
    """Return times put on their full minutes if all lie within a second of one, and how many moved how far."""
    minutes = (times_us + US_PER_MINUTE // 2) // US_PER_MINUTE * US_PER_MINUTE
    off = np.abs(times_us - minutes)
    if not off.size or off.max() > US_PER_SECOND:
        return times_us, {"times_rounded": 0, "time_rounding_s": 0.0}
    return minutes, {"times_rounded": int((off > 0).sum()), "time_rounding_s": float(off.max()) / US_PER_SECOND}


ERDDAP_CSV = GaugeReader("erddap-csv", "ERDDAP CSV with units (csv, csvp; UTC)", HINTS, _recognise, _read)
