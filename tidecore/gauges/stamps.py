"""Times written as text -> microseconds, by ISO 8601 or a strptime format, for whole columns at once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import HintMissing, RecordUnreadable
from tidecore.gauges.civil import Lines, civil_microseconds
from tidecore.gauges.zones import NO_OFFSET, parse_offset
from tidecore.units import IntArray

ACCEPTED = (
    "how times that are text are written, in strptime directives, as '%d/%m/%Y %H:%M'; "
    "ISO 8601 (2026-01-31 06:00) needs none"
)

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
_OFFSET_PATTERN = r"(Z|UTC|GMT|[+-][0-9]{2}(?::?[0-9]{2})?)"
#: Stands for an offset that no clock has.
_NO_CLOCK = NO_OFFSET + 1

#: Patterns look at which places hold digits, never at which digits they are.
#: Pattern of every directive, and the field it fills.
_DIRECTIVES: dict[str, tuple[str, str]] = {
    "Y": (r"([0-9]{4})", "year"),
    "y": (r"([0-9]{2})", "short_year"),
    "m": (r"([0-9]{1,2})", "month"),
    "b": (f"({'|'.join(_MONTHS)})", "month_name"),
    "B": (f"({'|'.join(_LONG_MONTHS)})", "month_name"),
    "d": (r"([0-9]{1,2})", "day"),
    "j": (r"([0-9]{1,3})", "day_of_year"),
    "H": (r"([0-9]{1,2})", "hour"),
    "I": (r"([0-9]{1,2})", "hour_of_12"),
    "p": (r"(am|pm)", "half_day"),
    "M": (r"([0-9]{1,2})", "minute"),
    "S": (r"([0-9]{1,2})", "second"),
    "f": (r"([0-9]{1,6})", "fraction"),
    "z": (_OFFSET_PATTERN, "offset"),
    "Z": (r"(Z|UTC|GMT)", "offset"),
}
_ISO_PATTERN = (
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:[T ]([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:[.,]([0-9]{1,6})[0-9]*)?)?\s*"
    + _OFFSET_PATTERN
    + r"?)?"
)
_ISO_FIELDS = ("year", "month", "day", "hour", "minute", "second", "fraction", "offset")


@dataclass(frozen=True, slots=True)
class StampFormat:
    """How times are written: ``shown`` to people, as a ``pattern`` whose groups fill ``fields``."""

    shown: str
    pattern: re.Pattern[str]
    fields: tuple[str, ...]

    @classmethod
    def iso(cls) -> StampFormat:
        """Return ISO 8601 with the date in full, blank or T between date and clock, and an offset or none."""
        return cls("ISO 8601, as 2026-01-31 06:00", re.compile(_ISO_PATTERN, re.IGNORECASE), _ISO_FIELDS)

    @classmethod
    def parse(cls, text: str) -> StampFormat:
        """Return the format that ``text`` says in strptime directives.

        As `datetime.datetime.strptime`, but names of months are English whatever the locale, a blank in the format
        is one or more blanks in the text, %y counts 69 to 99 as of the last century, and directives that need a
        calendar of weeks or a weekday's name are not taken.

        Raises
        ------
        HintMissing
            For an unknown directive, one that comes twice, or a format that does not fix the day.
        """
        pattern, fields = "", []
        for directive, blank, other in re.findall(r"%(.)|(\s+)|(.)", text.strip(), re.DOTALL):
            if blank:
                pattern += r"\s+"
            elif other:
                pattern += re.escape(other)
            elif directive == "%":
                pattern += "%"
            elif directive in _DIRECTIVES:
                part, field = _DIRECTIVES[directive]
                pattern += part
                fields.append(field)
            else:
                raise HintMissing("time_format", f"{ACCEPTED}; known: %{' %'.join(_DIRECTIVES)}", text)
        _refuse_incomplete(text, fields)
        return cls(text.strip(), re.compile(pattern, re.IGNORECASE), tuple(fields))

    def fits(self, cell: str) -> bool:
        """Tell whether ``cell`` is written in this format."""
        return self.pattern.fullmatch(cell.strip()) is not None

    def local_microseconds(self, cells: Sequence[str], lines: Lines) -> tuple[IntArray, IntArray]:
        """Return the times ``cells``, read as they stand on their clock.

        Parameters
        ----------
        cells : sequence of str, length n
            Times in this format, with blanks at their ends or not.
        lines : integers
            Line of the file of each, for errors.

        Returns
        -------
        tuple
            Microseconds since 1970-01-01T00:00 on the clock of the text, shape (n,), and the offset from UTC that is
            written with each [microseconds], `NO_OFFSET` where none is.

        Raises
        ------
        RecordUnreadable
            For the first cell in another format, or that is no instant of the calendar.
        """
        cells = [cell.strip() for cell in cells]
        columns = {field: np.zeros(len(cells), dtype=np.int64) for field in self.fields}
        strangers: list[int] = []
        for rows, letters in _shapes(cells):
            match = self.pattern.fullmatch(cells[rows[0]])
            if match is None:
                strangers.append(int(rows[0]))
                continue
            for at, field in enumerate(self.fields, start=1):
                columns[field][rows] = _field(field, letters, match.span(at))
        if strangers:
            first = min(strangers)
            raise RecordUnreadable(f"the time is {cells[first]!r}", int(lines[first]), f"a time as {self.shown}")
        offsets = columns.pop("offset", np.full(len(cells), NO_OFFSET))
        _refuse_odd_hours(columns, offsets, lines)
        return civil_microseconds(_calendar_fields(columns), lines), offsets


def _shapes(cells: Sequence[str]) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield the rows of ``cells`` that have digits at the same places and the same text elsewhere, with their letters.

    Letters are code points, shape (rows, width). Cells of one shape have their fields at the same places, so that one
    match serves them all.
    """
    widths = np.fromiter(map(len, cells), np.int64, len(cells))
    for width in np.unique(widths):
        rows = np.flatnonzero(widths == width)
        alike = cells if len(rows) == len(cells) else [cells[row] for row in rows.tolist()]
        letters = np.array(alike, dtype=f"U{max(width, 1)}").view(np.uint32).reshape(len(rows), -1).astype(np.int64)
        shapes = np.where((letters >= ord("0")) & (letters <= ord("9")), ord("0"), letters)
        if (shapes == shapes[0]).all():
            yield rows, letters
            continue
        # As text a row is one value, and thirty times faster to tell apart than as numbers.
        _, kinds = np.unique(shapes.astype(np.uint32).view(f"U{width}").ravel(), return_inverse=True)
        for kind in range(kinds.max() + 1):
            yield rows[kinds == kind], letters[kinds == kind]


def _field(field: str, letters: IntArray, place: tuple[int, int]) -> IntArray | int:
    """Return the field at one place of cells of one shape as numbers; an absent one is zero or `NO_OFFSET`."""
    start, stop = place
    if start < 0:
        return NO_OFFSET if field == "offset" else 0
    part = letters[:, start:stop]
    if field == "offset":
        texts, kinds = np.unique(part, axis=0, return_inverse=True)
        return np.array([_written_offset("".join(map(chr, text))) for text in texts])[kinds.ravel()]
    if field == "month_name":
        return _MONTHS.index("".join(map(chr, part[0, :3])).lower()) + 1
    if field == "half_day":
        return 12 if chr(part[0, 0]).lower() == "p" else 0
    last = 6 if field == "fraction" else stop - start
    powers = 10 ** np.arange(last - 1, last - 1 - (stop - start), -1)
    return np.asarray((part - ord("0")) @ powers, dtype=np.int64)


def _written_offset(text: str) -> int:
    """Return an offset as it is written [microseconds]; `_NO_CLOCK` for one that no clock has."""
    offset = parse_offset(text)
    return _NO_CLOCK if offset is None else offset


def _refuse_odd_hours(columns: dict[str, IntArray], offsets: IntArray, lines: Lines) -> None:
    """Raise `RecordUnreadable` for the first offset that no clock has, and for 0 or 13 o'clock of twelve."""
    hour = columns.get("hour_of_12", np.ones_like(offsets))
    for bad, problem in (
        (offsets == _NO_CLOCK, "the offset from UTC is more than 14 hours"),
        ((hour < 1) | (hour > 12), "the hour is not 1 to 12"),
    ):
        if bad.any():
            raise RecordUnreadable(problem, int(lines[int(np.argmax(bad))]), "a time that a clock can show")


def _calendar_fields(columns: dict[str, IntArray]) -> dict[str, IntArray]:
    """Return the fields of a format as fields of the calendar."""
    fields = dict(columns)
    if "short_year" in fields:
        short = fields.pop("short_year")
        fields["year"] = np.where(short < 69, 2000 + short, 1900 + short)
    if "month_name" in fields:
        fields["month"] = fields.pop("month_name")
    if "fraction" in fields:
        fields["microsecond"] = fields.pop("fraction")
    if "hour_of_12" in fields:
        hour = fields.pop("hour_of_12")
        fields["hour"] = hour % 12 + fields.pop("half_day")
    return fields


def _refuse_incomplete(text: str, fields: list[str]) -> None:
    """Raise `HintMissing` unless the ``fields`` of the format ``text`` fix one instant, each said once."""
    given = set(fields)
    problem = ""
    if len(given) < len(fields) or {"year", "short_year"} <= given or {"month", "month_name"} <= given:
        problem = "it says something twice"
    elif not given & {"year", "short_year"}:
        problem = "it has no year, %Y or %y"
    elif "day_of_year" not in given and not ("day" in given and given & {"month", "month_name"}):
        problem = "it has no day, %m (or %b, %B) and %d, or %j"
    elif "day_of_year" in given and given & {"day", "month", "month_name"}:
        problem = "it has both a day of the year and a date"
    elif ("hour_of_12" in given) != ("half_day" in given) or ("hour" in given and "half_day" in given):
        problem = "%I and %p go together, without %H"
    if problem:
        raise HintMissing("time_format", f"{ACCEPTED} ({problem})", text)
