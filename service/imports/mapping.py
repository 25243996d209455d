"""How the CSV of somebody else is read: their columns, their dates and numbers, and what they do not say."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, JsonValue, model_validator

from service.imports.rows import Columns
from tidecore.documents import Document, Flaw, Name, fault, refuse, shown

#: Column that every kind has: the caller's own name for the thing.
CLIENT_REF = "client_ref"
#: Says that times without an offset are by the clocks of the mark.
OF_THE_MARK = "mark"
_MOST_COLUMNS = 200
_TOKENS = {"YYYY": r"(?P<Y>\d{4})", "YY": r"(?P<y>\d{2})", "MM": r"(?P<m>\d{1,2})", "DD": r"(?P<d>\d{1,2})"}
_FORMAT = re.compile(r"(YYYY|YY|MM|DD)([-./ ])(YYYY|YY|MM|DD)\2(YYYY|YY|MM|DD)")
#: Years of two digits from here on are of the nineteen hundreds, as POSIX has it.
_FIRST_SHORT_YEAR = 69
_CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_OFFSET = re.compile(r"\s*([Zz]|[+-]\d\d:\d\d)$")

Names = Annotated[tuple[Name, ...], Field(max_length=_MOST_COLUMNS)]


def _date_format(text: str) -> str:
    found = _FORMAT.fullmatch(text)
    if found is None or {found[place].replace("YYYY", "YY") for place in (1, 3, 4)} != {"YY", "MM", "DD"}:
        raise fault(f"is {shown(text)}", "a day, month and year as DD.MM.YYYY, MM/DD/YY or YYYY-MM-DD")
    return text


def _zone(text: str) -> str:
    if text != OF_THE_MARK:
        try:
            zoneinfo.ZoneInfo(text)
        except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError) as error:
            raise fault(f"is {shown(text)}", "an IANA time zone, or mark for the clocks of the mark") from error
    return text


class ColumnMapping(Document):
    """How to read a CSV that names and writes things in its own way.

    ``columns`` leads from their columns to ours; a column that has one of our names needs no entry. ``ignore`` names
    columns that are left out, with ``*`` at the end all that begin so. ``constants`` are what no column says;
    ``values`` leads, for one of our columns, from their words to ours. ``client_ref_from`` makes the name of a row of
    the cells of some columns, where no column has one; rows with nothing in ``skip_without`` are no rows. Times without
    an offset are by the clocks of ``time_zone``.
    """

    columns: Annotated[dict[Name, Name], Field(max_length=_MOST_COLUMNS)] = Field(default_factory=dict)
    constants: Annotated[dict[Name, JsonValue], Field(max_length=_MOST_COLUMNS)] = Field(default_factory=dict)
    values: Annotated[dict[Name, dict[str, str]], Field(max_length=_MOST_COLUMNS)] = Field(default_factory=dict)
    ignore: Names = ()
    client_ref_from: Names = ()
    skip_without: Name | None = None
    date_format: Annotated[str, AfterValidator(_date_format)] = "YYYY-MM-DD"
    time_zone: Annotated[str, AfterValidator(_zone)] | None = None
    decimal: Literal[".", ","] = "."
    delimiter: Literal[",", ";", "\t", "|"] = ","
    encoding: Literal["utf-8", "utf-8-sig", "latin-1"] = "utf-8"

    @model_validator(mode="after")
    def _says_each_once(self) -> Self:
        flaws, by_ours = [], dict[str, str]()
        for theirs, ours in self.columns.items():
            before = by_ours.setdefault(ours, theirs)
            if before != theirs:
                flaws.append(Flaw(("columns", theirs), f"leads to {ours}, as {before} does", "each of ours once"))
        flaws += [
            Flaw(("constants", ours), f"is what the column {by_ours[ours]} says", "one of the two")
            for ours in self.constants
            if ours in by_ours
        ]
        if self.client_ref_from and CLIENT_REF in by_ours:
            flaws.append(Flaw(("client_ref_from",), "is given beside a column of client_ref", "one of the two"))
        refuse(self, flaws)
        return self

    def strangers(self, columns: Columns) -> Iterator[Flaw]:
        """Give a flaw for each of our columns that this names and a kind of these ``columns`` does not have."""
        expected = f"one of {', '.join((CLIENT_REF, *columns))}"
        for theirs, ours in self.columns.items():
            if ours != CLIENT_REF and cell_name(ours, columns) is None:
                yield Flaw(("columns", theirs), f"leads to {shown(ours)}, which is no column", expected)
        for field, named in (("constants", self.constants), ("values", self.values)):
            for ours in named:
                if cell_name(ours, columns) is None:
                    yield Flaw((field, ours), "is no column", expected)

    def ignores(self, name: str) -> bool:
        """Return whether a column of theirs is left out."""
        return any(name == one or (one.endswith("*") and name.startswith(one[:-1])) for one in self.ignore)

    def number(self, text: str) -> str:
        """Return a number as CSV has it; one that has a point is left as it stands."""
        return text.replace(",", ".") if self.decimal == "," and "." not in text else text

    def day(self, text: str) -> str:
        """Return a date of `date_format` as YYYY-MM-DD, anything else as it stands."""
        pattern = re.sub("YYYY|YY|MM|DD", lambda token: _TOKENS[token[0]], re.escape(self.date_format))
        found = re.fullmatch(pattern, text)
        if found is None:
            return text
        parts = {name: int(value) for name, value in found.groupdict().items()}
        short = parts.get("y", 0)
        year = parts.get("Y", short + (1900 if short >= _FIRST_SHORT_YEAR else 2000))
        return f"{year:04d}-{parts['m']:02d}-{parts['d']:02d}"

    def clock(self, text: str) -> str:
        """Return a time of the day as HH:MM, with seconds and an offset where they are told; anything else as it
        stands."""
        rest, offset = _without_offset(text)
        found = _CLOCK.fullmatch(rest)
        return text if found is None else ":".join(part.zfill(2) for part in found.groups() if part) + offset

    def moment(self, text: str) -> str:
        """Return a date and a time as ISO 8601, with an offset where there is one; anything else as it stands."""
        rest, offset = _without_offset(text)
        cell, _, clock = rest.replace("T", " ").partition(" ")
        day = self.day(cell)
        return f"{day}T{self.clock(clock.strip())}{offset}" if clock and _DAY.fullmatch(day) else text

    def written(self, at: datetime) -> str:
        """Return an instant with its offset as `moment` takes it."""
        day, _, clock = at.isoformat(timespec="seconds" if at.second else "minutes").partition("T")
        if self.date_format == "YYYY-MM-DD":
            return f"{day}T{clock}"
        parts = {"YYYY": day[:4], "YY": day[2:4], "MM": day[5:7], "DD": day[8:]}
        return f"{re.sub('YYYY|YY|MM|DD', lambda token: parts[token[0]], self.date_format)} {clock}"


def _without_offset(text: str) -> tuple[str, str]:
    found = _OFFSET.search(text)
    return (text, "") if found is None else (text[: found.start()], found[1].upper())


def cell_name(name: str, columns: Columns) -> str | None:
    """Return the entry of ``columns`` for a column: its own, or that of ``caught.*`` for caught.cod; None for none."""
    if name in columns:
        return name
    outer, _, inner = name.partition(".")
    return f"{outer}.*" if inner and f"{outer}.*" in columns else None
