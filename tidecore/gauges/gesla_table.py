"""GESLA table: rows of the GESLA-3 collection as its R client writes them, cut by tabs, with a header.

Every row has its time in UTC (``date_time``, with Z), position, level in metres, the flags ``qc_flag`` and
``use_flag``, and the file of the collection it is from. The datum differs from contributor to contributor and is not
in the table: ``datum`` must be said.

``qc_flag``: 0 not controlled (not evaluated), 1 correct (good), 2 interpolated and 3 doubtful (suspect: the level
stays), 4 isolated spike or wrong (rejected), 5 missing. ``use_flag`` 0 means "do not use" and rejects a level whatever
the other says.

Notes
-----
Oddities met in real files: this is an excerpt, not the collection's own file of a station (a header of comment lines
and columns cut by blanks), which is not read by this reader; null is -99.9999, with qc_flag 5 and use_flag 0; year,
month, day and hour repeat the time, without its minutes, and are not read; levels of some stations come at irregular
minutes. Several stations may follow one another: ``gauge`` says which, by site or by file.

Haigh et al. 2023, GESLA version 3, Geoscience Data Journal 10, doi:10.1002/gdj3.174, describes flags and units.
"""

from __future__ import annotations

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import StampClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, STATED_UNIT, STATED_ZONE, STATION, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import GOOD, NOT_EVALUATED, SUSPECT, RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import agreed_unit, stated_position
from tidecore.gauges.stations import rows_of_station
from tidecore.gauges.table import Block, Layout
from tidecore.units import BoolArray, FloatArray, IntArray

NULL = -99.9999

HINTS = (
    Hint("datum", DATUM.accepted + " (each contributor to the collection has its own)"),
    STATED_UNIT,
    STATED_ZONE,
    STATION,
    VALID_RANGE,
)

_NEEDED = ("date_time", "site_name", "lat", "lon", "sea_level", "qc_flag", "use_flag", "file_name")
_QUALITY = {0: NOT_EVALUATED, 1: GOOD, 2: SUSPECT, 3: SUSPECT}
_WRONG, _MISSING = 4, 5


def _recognise(source: Source) -> Recognition:
    """A header cut by tabs with the names of both flags."""
    if source.binary_at is not None:
        return Recognition.NO
    names = (source.head_lines() or [""])[0].replace('"', "").split("\t")
    return Recognition.CERTAIN if {"date_time", "sea_level", "qc_flag", "use_flag"} <= set(names) else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the rows of one station."""
    source.require_text()
    datum = hints.require_text("datum")
    unit = agreed_unit(hints, "m", "the format")
    columns, block = _table(source)
    place = {name: columns.place(hints, "column", name) for name in _NEEDED}
    keys = {name: block.column(place[name]) for name in ("site_name", "file_name", "lat", "lon")}
    rows, station = rows_of_station(hints, keys)
    at = np.flatnonzero(rows).tolist()
    block = Block([block.lines[row] for row in at], [block.cells[row] for row in at])
    times = StampClock((place["date_time"],), StampFormat.iso()).read(block)
    lines = np.array(block.lines)
    _refuse_unzoned(times.offsets_us, lines)
    instants = zones.resolve_zone(times.local_us, times.offsets_us, lines, hints.text("zone"), None)
    numbers = NumberCells(missing_numbers=(NULL,))
    levels = numbers.parse(block.column(place["sea_level"]), block.lines, "level")
    rejected, flags, missing = _quality(block, place)
    first = block.cells[0]
    return RawRecord(
        times_us=instants.times_us,
        levels=np.where(missing, np.nan, levels),
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=lines,
        rejected=rejected,
        flags=flags,
        valid_range=hints.interval("valid_range"),
        attributes={
            "station": station,
            "source": first[place["file_name"]],
            **stated_position(first[place["lat"]], first[place["lon"]]),
        },
    )


def _table(source: Source) -> tuple[Columns, Block]:
    """Return the columns by the names of the header, and all rows below it."""
    lines: list[int] = []
    cells: list[list[str]] = []
    columns: Columns | None = None
    for block in Layout("tab", "", 0).blocks(source):
        if columns is None:
            columns = Columns(len(block.cells[0]), tuple(cell.strip() for cell in block.cells[0]))
        columns.check(block)
        lines += block.lines
        cells += block.cells
    if columns is None or columns.names is None or not set(_NEEDED) <= set(columns.names):
        raise RecordUnreadable("the first line does not name the columns of a GESLA table", 1, ", ".join(_NEEDED))
    if len(cells) < 2:
        raise RecordUnreadable("the table holds a header and no row", expected="rows of time and level")
    return columns, Block(lines[1:], cells[1:])


def _refuse_unzoned(offsets_us: IntArray, lines: IntArray) -> None:
    """Raise `RecordUnreadable` for the first time without its Z."""
    unstated = offsets_us == zones.NO_OFFSET
    if unstated.any():
        raise RecordUnreadable("the time has no offset", int(lines[int(np.argmax(unstated))]), "Z behind every time")


def _quality(block: Block, place: dict[str, int]) -> tuple[BoolArray, IntArray, BoolArray]:
    """Return which rows are rejected, the flags of the others, and which are missing."""
    controls, uses = (
        _whole(block, place[name], name, allowed)
        for name, allowed in (("qc_flag", (*_QUALITY, _WRONG, _MISSING)), ("use_flag", (0, 1)))
    )
    flags = np.full(controls.shape, NOT_EVALUATED)
    for control, flag in _QUALITY.items():
        flags[controls == control] = flag
    return (controls == _WRONG) | (uses == 0), flags, controls == _MISSING


def _whole(block: Block, column: int, name: str, allowed: tuple[int, ...]) -> FloatArray:
    """Return a column of flags once each is one of those ``allowed``."""
    values = NumberCells(missing_texts=frozenset()).parse(block.column(column), block.lines, name)
    strange = ~np.isin(values, allowed)
    if strange.any():
        first = int(np.argmax(strange))
        expected = f"one of {', '.join(map(str, allowed))}"
        raise RecordUnreadable(f"the {name} is {values[first]:g}", block.lines[first], expected)
    return values


GESLA_TABLE = GaugeReader("gesla-table", "GESLA-3 excerpt cut by tabs (metres, UTC, flags)", HINTS, _recognise, _read)
