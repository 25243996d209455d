"""IOC table: the page of the sea level station monitoring facility, one table of times and sensors in HTML.

The page says the zone beside the times (UTC), and the unit beside each sensor, as ``rad(m)``. Levels are relative to a
zero of each sensor's own, which nobody publishes: ``datum`` must be said. With several sensors of level, ``level``
says which.

Levels are as they came from the gauge; nobody has controlled them, and their quality is "not evaluated".

Notes
-----
Oddities met in real pages: all of it is one line; stamps of a radar fall on odd seconds (:45, and :00 every so often,
so that a minute may stand twice), which are left as they are. A cell that is empty is a missing level. The facility's
export as CSV is plain CSV: it has the same names, and dates whose order nothing tells (9/10/20), which ``time_format``
must say.

The description is the page itself (Flanders Marine Institute, IOC sea level station monitoring facility,
doi:10.14284/482).
"""

from __future__ import annotations

from html.parser import HTMLParser

from tidecore.errors import RecordAmbiguous, RecordUnreadable
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.columns import Columns
from tidecore.gauges.entries import counted_rows
from tidecore.gauges.hints import DATUM, STATED_UNIT, STATED_ZONE, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import agreed_unit, constant_offset
from tidecore.units import IntArray

HINTS = (
    Hint("datum", DATUM.accepted + " (levels stand above a zero of the sensor)"),
    Hint("level", "the sensor by the name of its column, with or without its unit, as 'rad' or 'rad(m)'"),
    STATED_UNIT,
    STATED_ZONE,
    VALID_RANGE,
)

_TITLE = "Tide gauge at "


def _recognise(source: Source) -> Recognition:
    """A page with the facility's title and its column of times."""
    if source.binary_at is not None:
        return Recognition.NO
    head = source.head.removeprefix(b"\xef\xbb\xbf").lstrip()
    marks = (b"<", _TITLE.encode(), b"Time (UTC)")
    return Recognition.CERTAIN if head.startswith(marks[0]) and all(mark in head for mark in marks) else Recognition.NO


class _Table(HTMLParser):
    """Rows of cells of the one table of a page, its title, and whether it was closed."""

    def __init__(self) -> None:
        """Start before the table."""
        super().__init__(convert_charrefs=True)
        self.rows: list[list[str]] = []
        self.title = ""
        self.tables = 0
        self.closed = False
        self._cell: list[str] | None = None
        self._in_title = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a row, a cell or the title; a cell that nobody closed ends where the next begins."""
        if tag == "table":
            self.tables += 1
        elif tag == "tr":
            self._end()
            self.rows.append([])
        elif tag in ("td", "th"):
            self._end()
            self._cell, self._in_title = [], tag == "th"

    def handle_endtag(self, tag: str) -> None:
        """End what the tag ends."""
        if tag in ("td", "th", "tr", "table"):
            self._end()
        self.closed = self.closed or tag == "table"

    def handle_data(self, data: str) -> None:
        """Keep the text of the current cell."""
        if self._cell is not None:
            self._cell.append(data)

    def _end(self) -> None:
        """File the cell that is open, if one is."""
        if self._cell is None:
            return
        text = "".join(self._cell).replace("\xa0", " ").strip()
        if self._in_title:
            self.title = self.title or text
        elif self.rows:
            self.rows[-1].append(text)
        self._cell = None


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the one table of the page."""
    source.require_text()
    datum = hints.require_text("datum")
    names, rows, title = _rows(source)
    columns = Columns(len(names), tuple(names))
    level, stated = _sensor(columns, names, hints)
    unit = agreed_unit(hints, stated, "the page")
    numbered = range(1, len(rows) + 1)
    with counted_rows():
        for number, row in zip(numbered, rows, strict=True):
            if len(row) != len(names):
                raise RecordUnreadable(f"the row has {len(row)} cells", number, f"{len(names)}, as the names have")
        local_us, written_us = StampFormat.iso().local_microseconds([row[0] for row in rows], numbered)
        levels = NumberCells().parse([row[level] for row in rows], numbered, "level")
        offsets_us = _offsets(columns, local_us, written_us)
        instants = zones.resolve_zone(local_us, offsets_us, numbered, hints.text("zone"), None)
    return RawRecord(
        times_us=instants.times_us,
        levels=levels,
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        valid_range=hints.interval("valid_range"),
        attributes={"station": title.removeprefix(_TITLE), "variable": names[level]},
    )


def _rows(source: Source) -> tuple[list[str], list[list[str]], str]:
    """Return the names of the columns, the rows below them, and the title of the table."""
    table = _Table()
    try:
        table.feed(source.data.decode("utf-8-sig"))
        table.close()
    except (AssertionError, ValueError) as error:  # what the parser of pages raises on broken declarations
        raise RecordUnreadable(f"the page cannot be read ({error})", expected="a page of the facility") from error
    if table.tables != 1 or not table.closed:
        problem = "no end of its table" if table.tables == 1 else f"{table.tables} tables"
        raise RecordUnreadable(f"the page has {problem}", expected="one whole table; the page may be cut off")
    rows = [row for row in table.rows if row]
    if not rows or not rows[0][0].startswith("Time (") or len(rows[0]) < 2:
        raise RecordUnreadable("the table does not begin with its names", expected="'Time (UTC)' and a sensor")
    if len(rows) < 2:
        raise RecordUnreadable("the table holds no row below its names", expected="rows of time and level")
    return rows[0], rows[1:], table.title


def _sensor(columns: Columns, names: list[str], hints: Hints) -> tuple[int, str]:
    """Return the place of the sensor, said or the only one in a unit of length, and its unit."""
    units = {place: unit for place in range(1, len(names)) if (unit := columns.stated_unit(place)) is not None}
    given = hints.text("level")
    if given is not None:
        bare = {name.partition("(")[0].strip(): name for name in names[1:]}
        place = columns.place(hints, "level", bare.get(given, given))
        if place not in units:
            raise RecordUnreadable(f"the column {names[place]!r} has no unit of length", expected="a sensor of level")
        return place, units[place]
    if len(units) > 1:
        raise RecordAmbiguous("the sea level", [names[place] for place in units], "level=")
    if not units:
        raise RecordUnreadable(f"the columns are {', '.join(names)}", expected="a sensor with a unit, as rad(m)")
    return next(iter(units.items()))


def _offsets(columns: Columns, local_us: IntArray, written_us: IntArray) -> IntArray:
    """Return the offset written with each time, else that of the column's name."""
    if (written_us != zones.NO_OFFSET).any():
        return written_us
    stated_us = columns.stated_offset(0)
    if stated_us is None:
        raise RecordUnreadable("the column of times states no zone", expected="'Time (UTC)'")
    return constant_offset(local_us, stated_us)


IOC_TABLE = GaugeReader("ioc-table", "IOC sea level monitoring page (HTML table, UTC)", HINTS, _recognise, _read)
