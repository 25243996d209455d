"""UHSLC hourly CSV: year, month, day, hour, level in millimetres; no header; UTC; -32767 for missing.

The files of the University of Hawaii Sea Level Center, fast delivery and research quality alike (Caldwell et al. 2015,
doi:10.7289/V5V40S7W). The format has no room for a datum: levels stand above the zero of the station, which the
station's own pages describe, so ``datum`` must be said.

Any table of five whole numbers a row looks like one. Only the marker for missing tells that it is one; a file
without the marker could as well hold centimetres or local times, and is not taken without ``format=``.
"""

from __future__ import annotations

import re

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import FieldClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.table import Layout

MARKER = -32767

HINTS = (
    Hint("datum", DATUM.accepted + " (levels of this format stand above the zero of the station)"),
    Hint("valid_range", VALID_RANGE.accepted + " [mm]"),
)

_ROW = re.compile(r"\s*[0-9]{4}\s*,\s*(?:[1-9]|0[1-9]|1[0-2])\s*(?:,\s*[0-9]{1,2}\s*){2},\s*-?[0-9]{1,6}\s*")
_MARKED = re.compile(rb",[ \t]*-32767[ \t]*(?:[\r\n]|$)")


def _recognise(source: Source) -> Recognition:
    """Rows of five whole numbers, the second a month; certain with the marker for missing."""
    if source.binary_at is not None:
        return Recognition.NO
    lines = [line for line in source.head_lines() if line.strip()]
    if not lines or not all(_ROW.fullmatch(line) for line in lines):
        return Recognition.NO
    return Recognition.CERTAIN if _MARKED.search(source.data) else Recognition.POSSIBLE


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read rows of year, month, day, hour and millimetres."""
    source.require_text()
    datum = hints.require_text("datum")
    numbers = NumberCells(missing_texts=frozenset(), missing_numbers=(MARKER,))
    columns = Columns(5, None)
    clock = FieldClock({"year": 0, "month": 1, "day": 2, "hour": 3}, NumberCells(missing_texts=frozenset()))
    times, levels, lines = [], [], []
    for block in Layout("comma", "", 0).blocks(source):
        columns.check(block)
        millimetres = numbers.parse(block.column(4), block.lines, "level")
        broken = (millimetres != np.floor(millimetres)) & ~np.isnan(millimetres)
        if broken.any():
            first = int(np.argmax(broken))
            raise RecordUnreadable(f"the level is {millimetres[first]:g}", block.lines[first], "whole millimetres")
        times.append(clock.read(block).local_us)
        levels.append(millimetres)
        lines.append(np.array(block.lines))
    if not lines:
        raise RecordUnreadable("the file holds no row", expected="rows of year,month,day,hour,millimetres")
    return RawRecord(
        times_us=np.concatenate(times),
        levels=np.concatenate(levels),
        unit="mm",
        zone="UTC, by the format",
        datum=datum,
        utc_offset_h=0.0,
        lines=np.concatenate(lines),
        valid_range=hints.interval("valid_range"),
    )


UHSLC_HOURLY = GaugeReader(
    "uhslc-hourly", "UHSLC hourly CSV (year, month, day, hour, mm; UTC)", HINTS, _recognise, _read
)
