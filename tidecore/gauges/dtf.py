"""DTF text: seconds since the first row, year, month, day, hour, level and a flag, cut by blanks; no header.

The clock stands twice in every row, as calendar and as elapsed seconds, and both must run alike; that is also what the
format is recognised by. Neither unit nor zone nor datum has a place in it: all three must be said. The zone is a fixed
offset, for elapsed seconds know no summer time.

Flags: 0 is a level as recorded (good), 1 one that its publisher corrected (suspect: the level stays), 2 a bad one
(rejected).

Notes
-----
Oddities met in real files: hours are written with decimals (0.0000); times are those of the place, which only the
phases of the tide tell; the station is named nowhere. Corrected levels scatter about the tide as the others do, 5 cm
above them in the file met; a user who trusts them reads the file as plain CSV.

No description was published with the files met; the columns are those that their notebook names.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.clock import FieldClock
from tidecore.gauges.columns import Columns
from tidecore.gauges.hints import DATUM, UNIT, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import GOOD, SUSPECT, RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stated import constant_offset
from tidecore.gauges.table import Layout
from tidecore.timebase import US_PER_SECOND
from tidecore.units import FloatArray, IntArray

HINTS = (
    UNIT,
    Hint("zone", "the zone of the clock: 'UTC' or a fixed offset as '+01:00' or 'UTC-5' (positive east of Greenwich)"),
    DATUM,
    VALID_RANGE,
)

_ROW = re.compile(
    r"\s*([0-9]{1,12})\s+([0-9]{4})\s+([0-9]{1,2})\s+([0-9]{1,2})\s+([0-9]{1,2})(\.[0-9]+)?\s+-?[0-9]+\.[0-9]+\s+[012]\s*"
)
_LOOKED_AT = 50
_BAD = 2


def _recognise(source: Source) -> Recognition:
    """Rows of seven numbers whose first counts the seconds of the calendar behind it; one row alone shows nothing."""
    if source.binary_at is not None:
        return Recognition.NO
    lines = [line for line in source.head_lines() if line.strip()][:_LOOKED_AT]
    starts = set()
    for line in lines:
        match = _ROW.fullmatch(line)
        if match is None:
            return Recognition.NO
        try:
            hour = datetime(*map(int, match.groups()[1:5]))  # type: ignore[arg-type]  # noqa: DTZ001  # a clock's own
            starts.add(hour + timedelta(hours=float(match[6] or 0)) - timedelta(seconds=int(match[1])))
        except (ValueError, OverflowError):
            return Recognition.NO
    return (
        Recognition.CERTAIN if len(lines) > 1 and max(starts) - min(starts) <= timedelta(seconds=1) else Recognition.NO
    )


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read rows of seconds, calendar, level and flag."""
    source.require_text()
    datum = hints.require_text("datum")
    unit = hints.unit()
    if unit is None:
        raise hints.missing("unit")
    zone = hints.require_text("zone")
    if zones.Zone.parse(zone).offset_us is None:
        raise hints.wrong("zone", "elapsed seconds run evenly, so that the clock has one offset")
    numbers = NumberCells(missing_texts=frozenset())
    clock = FieldClock({"year": 1, "month": 2, "day": 3, "hour": 4}, numbers)
    columns = Columns(7, None)
    times, levels, flags, lines = [], [], [], []
    start_us: int | None = None
    for block in Layout("whitespace", "", 0).blocks(source):
        columns.check(block)
        local_us = clock.read(block).local_us
        elapsed_us = numbers.parse(block.column(0), block.lines, "count of seconds") * US_PER_SECOND
        start_us = int(local_us[0] - elapsed_us[0]) if start_us is None else start_us
        _refuse_other_clock(local_us - start_us, elapsed_us, block.lines)
        times.append(local_us)
        levels.append(NumberCells().parse(block.column(5), block.lines, "level"))
        flags.append(_flags(numbers.parse(block.column(6), block.lines, "flag"), block.lines))
        lines.append(np.array(block.lines))
    if not lines:
        raise RecordUnreadable("the file holds no row", expected="rows of seconds, year, month, day, hour, level, flag")
    local_us, at, found = np.concatenate(times), np.concatenate(lines), np.concatenate(flags)
    instants = zones.resolve_zone(local_us, constant_offset(local_us, None), at, zone, None)
    return RawRecord(
        times_us=instants.times_us,
        levels=np.concatenate(levels),
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        lines=at,
        rejected=found == _BAD,
        flags=np.where(found == 1, SUSPECT, GOOD),
        valid_range=hints.interval("valid_range"),
    )


def _refuse_other_clock(shown_us: IntArray, elapsed_us: FloatArray, lines: list[int]) -> None:
    """Raise `RecordUnreadable` for the first row whose two clocks are more than a second apart."""
    apart = np.abs(shown_us - elapsed_us) > US_PER_SECOND
    if apart.any():
        first = int(np.argmax(apart))
        raise RecordUnreadable(
            f"the calendar is {shown_us[first] / US_PER_SECOND:g} s after the first row's zero, the count of seconds "
            f"{elapsed_us[first] / US_PER_SECOND:g}",
            lines[first],
            "two clocks that run alike",
        )


def _flags(flags: FloatArray, lines: list[int]) -> FloatArray:
    """Return flags once all are 0, 1 or 2."""
    strange = ~np.isin(flags, (0, 1, _BAD))
    if strange.any():
        first = int(np.argmax(strange))
        raise RecordUnreadable(f"the flag is {flags[first]:g}", lines[first], "0 (good), 1 (corrected) or 2 (bad)")
    return flags


DTF = GaugeReader("dtf", "DTF text (seconds, year, month, day, hour, level, flag)", HINTS, _recognise, _read)
