"""NOAA JSON: water levels, or predictions at regular times, as the Center for Operational Products answers them.

An answer says neither unit nor zone nor datum, which stood in the question: all three must be said. Water levels come
with a quality, v (verified: good) or p (preliminary: not evaluated), and four flags. The first counts samples outside
three standard deviations, which is no fault of the mean; in verified levels it says 1 for one that was inferred, which
makes it suspect, as do the others (flat, rate, limit). Predictions are read as a record of ``product`` "predictions":
a fit to them gives constituents back, and says nothing about a sea.

Notes
-----
Oddities met in real answers: an error is a document as well, with status 200, and is refused with its own words;
numbers are texts; predictions come without the station. A level that is an empty text is missing. Published
constituents, station metadata and predicted high and low waters are no record, and refused.

The description is the data API's own page of responses (NOAA Tides and Currents, CO-OPS API for data retrieval).
"""

from __future__ import annotations

import json
import re
from typing import Any, NamedTuple

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges import zones
from tidecore.gauges.cells import NumberCells
from tidecore.gauges.entries import counted_rows
from tidecore.gauges.hints import DATUM, UNIT, VALID_RANGE, Hint, Hints
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import GOOD, NOT_EVALUATED, SUSPECT, RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.stated import stated_position
from tidecore.units import IntArray

HINTS = (
    Hint("unit", UNIT.accepted + " (metric answers are in m, English ones in ft)"),
    Hint("zone", zones.ACCEPTED + " (time_zone=gmt is 'UTC')"),
    Hint("ambiguous_times", "what a time means that summer time shows twice: 'earlier', 'later' or 'drop'"),
    DATUM,
    VALID_RANGE,
)

_RECORD = re.compile(rb'\s*\{\s*"(metadata|data|predictions)"\s*:')
_TIMES = re.compile(rb'"t"\s*:\s*"[0-9]{4}-')
_ERROR = re.compile(rb'\s*\{\s*"error"\s*:\s*\{\s*"message"\s*:')
_OTHER = re.compile(rb'"(HarmonicConstituents|harmonicConstituents|stations)"\s*:')
_QUALITY = {"v": GOOD, "p": NOT_EVALUATED}
_FLAGS = re.compile(r"[0-9]+(,[0-9]+){3}")


class _Value(NamedTuple):
    """One row of an answer, as it is written: time, level, flags and quality."""

    t: str
    v: str
    f: str
    q: str


def _recognise(source: Source) -> Recognition:
    """The beginning of an answer with times, of an error, or of another document of the same house."""
    if source.binary_at is not None:
        return Recognition.NO
    head = source.head.removeprefix(b"\xef\xbb\xbf")
    known = (
        (_RECORD.match(head) and _TIMES.search(head))
        or _ERROR.match(head)
        or (head.lstrip().startswith(b"{") and _OTHER.search(head))
    )
    return Recognition.CERTAIN if known else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the values of an answer."""
    source.require_text()
    document = _document(source)
    product, rows = _values(document)
    unit, datum, ambiguous = hints.unit(), hints.require_text("datum"), hints.text("ambiguous_times")
    if unit is None:
        raise hints.missing("unit")
    if ambiguous not in (None, *zones.AMBIGUOUS_TIMES):
        raise hints.wrong("ambiguous_times")
    numbered = range(1, len(rows) + 1)
    with counted_rows():
        local_us, offsets_us = StampFormat.iso().local_microseconds([row[0] for row in rows], numbered)
        instants = zones.resolve_zone(local_us, offsets_us, numbered, hints.text("zone"), ambiguous)
        levels = NumberCells(missing_texts=frozenset({""})).parse([row[1] for row in rows], numbered, "level")
        flags = _flags(rows)
    kept = slice(None) if instants.kept is None else instants.kept
    return RawRecord(
        times_us=instants.times_us[kept],
        levels=levels[kept],
        unit=unit,
        zone=instants.zone,
        datum=datum,
        utc_offset_h=instants.offset_h,
        flags=flags[kept],
        valid_range=hints.interval("valid_range"),
        attributes={"product": product, "times_shown_twice": instants.shown_twice, **_station(document)},
    )


def _value(members: dict[str, Any]) -> dict[str, Any] | _Value:
    """Return an object of JSON, as a row if it is one: a quarter of the memory."""
    if "t" not in members or "v" not in members:
        return members
    if "type" in members:
        raise RecordUnreadable(
            "the answer holds high and low waters alone", expected="levels or predictions at regular times"
        )
    row = tuple(members.get(name, "") for name in ("t", "v", "f", "q"))
    if not all(isinstance(cell, str) for cell in row):
        raise RecordUnreadable(f"a row is {json.dumps(members)[:80]}", expected="t, v, f and q that are texts")
    return _Value(*row)


def _document(source: Source) -> dict[str, Any]:
    """Return the document, with rows as `_Value`; whatever is none of NOAA's records is refused."""
    try:
        document = json.loads(source.data.decode("utf-8-sig"), object_hook=_value)
    except json.JSONDecodeError as error:
        raise RecordUnreadable(
            f"the document breaks off or is no JSON at column {error.colno} ({error.msg})", error.lineno, "whole JSON"
        ) from error
    except (RecursionError, ValueError) as error:
        # Brackets within brackets without end, or a number of thousands of digits.
        raise RecordUnreadable(f"the document cannot be read ({error})", expected="JSON as NOAA answers it") from error
    if not isinstance(document, dict):
        raise RecordUnreadable("the document is no object", expected="'data' or 'predictions'")
    return document


def _values(document: dict[str, Any]) -> tuple[str, list[_Value]]:
    """Return which product a document holds, and its rows."""
    if "error" in document:
        error = document["error"]
        said = error.get("message", error) if isinstance(error, dict) else error
        raise RecordUnreadable(
            f"the file is an error that NOAA answered: {str(said).strip()[:300]!r}", expected="water levels; ask again"
        )
    if any(name.lower() == "harmonicconstituents" for name in document):
        raise RecordUnreadable(
            "the file holds published constituents, which are no record", expected="water levels or predictions"
        )
    if "stations" in document:
        raise RecordUnreadable("the file holds metadata of stations", expected="water levels or predictions")
    products = {"data": "water level", "predictions": "predictions"}
    found = [name for name in products if name in document]
    if len(found) != 1:
        raise RecordUnreadable(
            f"the document holds {', '.join(map(repr, document)) or 'nothing'}", expected="'data' or 'predictions'"
        )
    rows = document[found[0]]
    if not isinstance(rows, list) or not all(isinstance(row, _Value) for row in rows):
        raise RecordUnreadable(f"{found[0]!r} is no list of rows", expected="rows with t and v")
    if not rows:
        raise RecordUnreadable(f"{found[0]!r} holds no row", expected="at least one")
    return products[found[0]], rows


def _flags(rows: list[_Value]) -> IntArray:
    """Return what quality and flags say, as QARTOD flags."""
    meaning: dict[tuple[str, str], int] = {}
    flags = np.empty(len(rows), dtype=np.int64)
    for at, (_, _, marks, quality) in enumerate(rows):
        key = (marks, quality)
        if key not in meaning:
            meaning[key] = _flag(marks, quality, at + 1)
        flags[at] = meaning[key]
    return flags


def _flag(marks: str, quality: str, row: int) -> int:
    """Return what one row's flags say; raises `RecordUnreadable` for others than NOAA's."""
    if quality not in ("", *_QUALITY):
        raise RecordUnreadable(f"the quality is {quality!r}", row, "'v' (verified) or 'p' (preliminary)")
    if not marks:
        return _QUALITY.get(quality, NOT_EVALUATED)
    if _FLAGS.fullmatch(marks) is None:
        raise RecordUnreadable(f"the flags are {marks!r}", row, "four numbers, as '0,0,0,0'")
    first, *others = (int(mark) > 0 for mark in marks.split(","))
    doubtful = any(others) or (first and quality == "v")
    return SUSPECT if doubtful else _QUALITY.get(quality, NOT_EVALUATED)


def _station(document: dict[str, Any]) -> dict[str, str | int | float]:
    """Return name, number and position of the station, as far as the answer has them."""
    about = document.get("metadata")
    if not isinstance(about, dict):
        return {}
    position = stated_position(str(about.get("lat", "")), str(about.get("lon", "")))
    return {"station": f"{about.get('name', '')} ({about.get('id', '')})".strip(), **position}


NOAA_JSON = GaugeReader("noaa-json", "NOAA JSON (water levels, predictions)", HINTS, _recognise, _read)
