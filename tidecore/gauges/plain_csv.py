"""Plain CSV: any delimited text with a column of levels and one or more of times.

Unit, zone and datum are taken from the caller's hints, unit and zone also from the file where it states them: a unit
in brackets in the name of the column of levels (``prs(m)``), a zone in brackets in the name of the column of times
(``Time (UTC)``), an offset written with each time (``2026-01-31T06:00Z``), an epoch in UTC. What file and hint say
differently is refused.

Oddities met in real files: a byte order mark; US dates (9/15/20), which nothing tells from others, so that every order
but ISO 8601 must be said; lines above the header (``skip_rows``); a blank after the comma of a header; a trailing comma
on every row but the header; "NA" and "NaN" for missing; hours written 0.0000; day numbers that are milliseconds off
the hour; stamps a second off the hour, which are left as they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable
from tidecore.gauges import epochs, stamps, zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import Clock, ClockTimes, CountClock, FieldClock, StampClock, is_field_set
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, UNIT, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.table import DELIMITERS, Block, Layout, detect_delimiter, fitting_delimiters, sample_lines
from tidecore.units import BoolArray, FloatArray, IntArray, metres_per

HINTS = (
    Hint(
        "time",
        "the column of times by name or place (from 0), a list of columns to be joined by a blank, or the column of "
        "each field, as {'year': 0, 'month': 1, 'day': 2, 'hour': 3} (also day_of_year, minute, second)",
    ),
    Hint("level", "the column of levels by name or place (from 0)"),
    Hint("time_format", stamps.ACCEPTED),
    Hint("time_unit", epochs.ACCEPTED),
    UNIT,
    Hint("zone", zones.ACCEPTED),
    Hint("ambiguous_times", "what a time means that summer time shows twice: 'earlier', 'later' or 'drop'"),
    DATUM,
    Hint("missing", "numbers or texts that stand for no level, one or a list"),
    VALID_RANGE,
    Hint("flag", "the column of quality flags by name or place (from 0)"),
    Hint("flag_bad", "the flags, one or a list, whose levels are not to be believed"),
    Hint("delimiter", f"one of {', '.join(repr(name) for name in DELIMITERS)}, or the character"),
    Hint("decimal", "the decimal mark, '.' or ','"),
    Hint("header", "true if the first row names the columns, false if it is data"),
    Hint("comment", "what comment lines begin with, '#' unless said otherwise"),
    Hint("skip_rows", "how many lines at the top are no rows, a whole number"),
)


def _recognise(source: Source) -> Recognition:
    """Any text whose last lines are cut into equally many cells by some delimiter may be plain CSV."""
    if source.binary_at is not None:
        return Recognition.NO
    lines = [line for line in source.head_lines() if line.strip() and not line.lstrip().startswith("#")][-20:]
    if (
        not lines
        or lines[0].lstrip()[0] in "<{["
        or not all(any(map(str.isdigit, line)) for line in lines[1:] or lines)
    ):
        return Recognition.NO
    return Recognition.POSSIBLE if fitting_delimiters(lines) else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read a table of times and levels."""
    source.require_text()
    datum = hints.require_text("datum")
    ambiguous = hints.text("ambiguous_times")
    if ambiguous not in (None, *zones.AMBIGUOUS_TIMES):
        raise hints.wrong("ambiguous_times")
    table = _Table.of(source, hints)
    unit = _unit(hints, table.columns.stated_unit(table.level))
    parts = [table.read(block) for block in table.blocks(source)]
    lines = np.concatenate([part.lines for part in parts])
    offsets_us = np.concatenate([part.times.offsets_us for part in parts])
    if table.stated_offset_us is not None and (offsets_us == zones.NO_OFFSET).all():
        offsets_us = np.full_like(offsets_us, table.stated_offset_us)
    local_us = np.concatenate([part.times.local_us for part in parts])
    instants = zones.resolve_zone(local_us, offsets_us, lines, hints.text("zone"), ambiguous)
    kept = slice(None) if instants.kept is None else instants.kept
    attributes: dict[str, str | int | float] = {"times_shown_twice": instants.shown_twice}
    if isinstance(table.clock, CountClock):
        attributes["time_rounding_s"] = max(part.times.moved_s for part in parts)
    return RawRecord(
        times_us=instants.times_us[kept],
        levels=np.concatenate([part.levels for part in parts])[kept],
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=lines[kept],
        rejected=np.concatenate([part.rejected for part in parts])[kept],
        valid_range=hints.interval("valid_range"),
        attributes=attributes,
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """What one block of lines holds."""

    lines: IntArray
    times: ClockTimes
    levels: FloatArray
    rejected: BoolArray


@dataclass(frozen=True, slots=True)
class _Table:
    """How the rows of one file are to be read."""

    layout: Layout
    columns: Columns
    has_header: bool
    clock: Clock
    stated_offset_us: int | None
    level: int
    numbers: NumberCells
    flag: int | None
    flags: NumberCells

    @classmethod
    def of(cls, source: Source, hints: Hints) -> _Table:
        """Settle from the hints and the first rows of ``source`` what stands where."""
        numbers = NumberCells(_decimal(hints))
        layout, first, second = _first_rows(source, hints, numbers.decimal)
        header = hints.boolean("header")
        if header is None and any(isinstance(name, str) for name in _named_columns(hints)):
            header = True
        columns = Columns(len(first if second is None else second), tuple(cell.strip() for cell in first))
        if header is not True:
            unnamed = Columns(columns.width, None)
            if header is None:
                header = len(first) != columns.width or not _is_data(first, unnamed, hints, numbers)
            columns = columns if header else unnamed
        if header and second is None:
            raise RecordUnreadable("the table holds a header and no row", expected="rows of time and level")
        sample = first if second is None or not header else second
        time, level = _time_and_level(hints, columns)
        clock = _clock(hints, columns, time, numbers, sample)
        flag = hints.value("flag")
        bad = hints.listed("flag_bad")
        if (flag is None) != (not bad):
            raise hints.missing("flag" if flag is None else "flag_bad")
        return cls(
            layout,
            columns,
            header,
            clock,
            columns.stated_offset(columns.place(hints, "time", time)) if isinstance(time, str | int) else None,
            columns.place(hints, "level", level),
            numbers.with_missing(hints.listed("missing")),
            None if flag is None else columns.place(hints, "flag", flag),
            NumberCells(missing_texts=frozenset()).with_missing(bad),
        )

    def blocks(self, source: Source) -> Iterator[Block]:
        """Yield the rows of data."""
        for at, block in enumerate(self.layout.blocks(source)):
            rows = Block(block.lines[1:], block.cells[1:]) if at == 0 and self.has_header else block
            if rows.lines:
                yield rows

    def read(self, block: Block) -> _Part:
        """Return times, levels and flags of a block."""
        self.columns.check(block)
        levels = self.numbers.parse(block.column(self.level), block.lines, "level")
        rejected = np.zeros(levels.shape, dtype=np.bool_)
        if self.flag is not None:
            cells = block.column(self.flag)
            bad = {cell for cell in set(cells) if self.flags.marks(cell)}
            rejected = np.array([cell in bad for cell in cells])
        return _Part(np.array(block.lines), self.clock.read(block), levels, rejected)


def _first_rows(source: Source, hints: Hints, decimal: str) -> tuple[Layout, list[str], list[str] | None]:
    """Return the layout, and the cells of the first row and of the second if there is one."""
    comment = hints.text("comment") or "#"
    skip_rows = hints.whole("skip_rows", 0)
    sample = sample_lines(source, comment, skip_rows)
    delimiter = hints.value("delimiter")
    if delimiter is None:
        name = detect_delimiter([text for _, text in sample], decimal)
    else:
        by_character = {character: name for name, character in DELIMITERS.items()}
        name = by_character.get(str(delimiter), str(delimiter))
        if name not in DELIMITERS or DELIMITERS[name] == decimal:
            raise hints.wrong("delimiter", "not the decimal mark")
    layout = Layout(name, comment, skip_rows)
    rows = layout.split([line for line, _ in sample[:2]], [text for _, text in sample[:2]])
    if not rows:
        raise RecordUnreadable("the table holds no row", expected="rows of time and level")
    return layout, rows[0], rows[1] if len(rows) > 1 else None


def _decimal(hints: Hints) -> str:
    """Return the decimal mark."""
    decimal = hints.text("decimal") or "."
    if decimal not in (".", ","):
        raise hints.wrong("decimal")
    return decimal


def _named_columns(hints: Hints) -> list[object]:
    """Return all columns that the hints call, by name or place."""
    time = hints.value("time")
    times = (
        list(time.values()) if isinstance(time, Mapping) else list(time) if isinstance(time, list | tuple) else [time]
    )
    return [*times, hints.value("level"), hints.value("flag")]


def _time_and_level(hints: Hints, columns: Columns) -> tuple[object, object]:
    """Return the hints of the columns of time and level; of a table of two, neither need be said."""
    time, level = hints.value("time"), hints.value("level")
    if columns.width == 2 and time is None and level is None:
        return 0, 1
    if time is None:
        raise hints.missing("time")
    if level is None:
        raise hints.missing("level")
    return time, level


def _is_data(row: Sequence[str], columns: Columns, hints: Hints, numbers: NumberCells) -> bool:
    """Tell whether ``row`` holds a time or a level where those stand, so that it is no header."""
    time, level = _time_and_level(hints, columns)
    known = numbers.with_missing(hints.listed("missing"))
    cell = row[columns.place(hints, "level", level)].strip()
    return (bool(cell) and known.shows(cell)) or _clock(hints, columns, time, numbers, None).shows(row)


def _clock(hints: Hints, columns: Columns, time: object, numbers: NumberCells, sample: Sequence[str] | None) -> Clock:
    """Return the clock that the hints describe; with a ``sample`` row, a wrong description is refused by name."""
    form, unit = hints.text("time_format"), hints.text("time_unit")
    if form is not None and unit is not None:
        raise hints.wrong("time_unit", "and time_format= says that they are text")
    if isinstance(time, Mapping):
        places = {str(name): columns.place(hints, "time", column) for name, column in time.items()}
        if not is_field_set(set(places)) or form is not None or unit is not None:
            raise hints.wrong("time", "without time_format and time_unit")
        return FieldClock(places, numbers)
    if unit is not None:
        counted = epochs.TimeUnit.parse(unit)
        if counted is None:
            raise hints.wrong("time_unit")
        return CountClock(columns.place(hints, "time", time), counted, numbers)
    called = time if isinstance(time, list | tuple) else [time]
    if not called:
        raise hints.wrong("time")
    clock = StampClock(
        tuple(columns.place(hints, "time", column) for column in called),
        stamps.StampFormat.iso() if form is None else stamps.StampFormat.parse(form),
    )
    if sample is not None and form is None and not clock.shows(sample):
        text = clock.text(sample)
        hint, accepted = ("time_unit", epochs.ACCEPTED) if numbers.shows(text) else ("time_format", stamps.ACCEPTED)
        raise HintMissing(hint, f"{accepted}; the first time is {text!r}")
    return clock


def _unit(hints: Hints, stated: str | None) -> str:
    """Return the unit of level, given or stated by the header; both must agree."""
    given = hints.unit()
    if given is None and stated is None:
        raise hints.missing("unit")
    if given is not None and stated is not None and metres_per(given) != metres_per(stated):
        candidates = [f"{stated!r} (the header)", f"{given!r} (unit=)"]
        raise RecordAmbiguous("the unit of level", candidates, "header=False and skip_rows=, which leave it unread")
    return given or stated or ""


PLAIN_CSV = GaugeReader("csv", "delimited text with columns of times and levels", HINTS, _recognise, _read)
