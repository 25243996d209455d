"""GeoJSON: a FeatureCollection of points, read feature by feature.

The collection itself is never whole in memory: its members are walked here, and each value is left to the JSON decoder
of the standard library.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from service.errors import FileUnreadable
from service.imports.rows import LONGEST_ROW, Cut, Row
from tidecore.errors import Fault

_COLLECTION = 'a FeatureCollection: {"type": "FeatureCollection", "features": [...]}'
_POINT = "a Point with longitude and latitude, as RFC 7946 has it"
_BLANKS = " \t\r\n"
_READ_BYTES = 64 * 1024


def cut_geojson(path: Path) -> Iterator[Cut]:
    """Yield the features of a collection.

    Raises
    ------
    FileUnreadable
        If the file is not UTF-8, is no collection, is cut off, or has a feature longer than `LONGEST_ROW`.
    """
    with path.open("rb") as file:
        text = _Text(file)
        number, kind = 0, None
        text.take("{", _COLLECTION)
        more = text.peek() != "}"
        while more:
            name = text.value("the name of a member")
            text.take(":", "a colon after the name of a member")
            if name == "features":
                for feature in _items(text):
                    number += 1
                    yield Cut(number, feature, text.size)
            else:
                value = text.value("a JSON value")
                kind = value if name == "type" else kind
                if name == "type" and value != "FeatureCollection":
                    raise text.broken(f"the type is {ascii(value)[:60]}", _COLLECTION)
            more = text.goes_on("}")
        text.take("}", "the end of the collection")
        if kind is None:
            raise text.broken("the object has no type", _COLLECTION)
        if text.peek():
            raise text.broken("something follows the collection", "the end of the file")


def _items(text: _Text) -> Iterator[Any]:
    text.take("[", "an array of features")
    more = text.peek() != "]"
    while more:
        yield text.value("a feature")
        more = text.goes_on("]")
    text.take("]", "the end of the features")


def decode_feature(cut: Cut) -> Row:
    """Return a feature as a document: longitude and latitude of the point, and the properties."""
    number, feature = cut.number, cut.content
    if not isinstance(feature, Mapping) or feature.get("type") != "Feature":
        return Row(number, {}, (Fault("row", "is no Feature", 'an object with "type": "Feature"'),))
    faults = []
    geometry, properties = feature.get("geometry"), feature.get("properties")
    place: dict[str, Any] = {}
    if not isinstance(geometry, Mapping) or geometry.get("type") != "Point":
        faults.append(Fault("geometry", "is no point", _POINT))
    elif not isinstance(geometry.get("coordinates"), list) or not 2 <= len(geometry["coordinates"]) <= 3:
        faults.append(Fault("geometry.coordinates", "are not two or three numbers", _POINT))
    else:
        place = dict(zip(("longitude", "latitude"), geometry["coordinates"], strict=False))
    if not isinstance(properties, Mapping):
        faults.append(Fault("properties", "are no object", "an object with the fields of the row"))
        properties = {}
    faults += [
        Fault(f"properties.{name}", "says again what the geometry says", "the point alone")
        for name in ("longitude", "latitude")
        if name in properties
    ]
    # Without a point there is neither, and that has been said.
    unsaid = dict.fromkeys(() if place else ("longitude", "latitude"), None)
    return Row(number, {**properties, **place}, tuple(faults), unsaid)


class _Text:
    """The text of a file, taken piece by piece from its start."""

    def __init__(self, file: Any) -> None:
        self._file = file
        self._bytes = codecs.getincrementaldecoder("utf-8-sig")()
        self._json = json.JSONDecoder(parse_constant=_refuse)
        self._text, self._at, self._line, self._ended = "", 0, 1, False
        #: How long the latest value was [characters].
        self.size = 0

    def peek(self) -> str:
        """Return the next character that is no blank, empty at the end."""
        while True:
            while self._at < len(self._text):
                if self._text[self._at] not in _BLANKS:
                    return self._text[self._at]
                self._at += 1
            if self._ended:
                return ""
            self._read()

    def take(self, character: str, expected: str) -> None:
        """Go past one ``character``; FileUnreadable if another is there."""
        found = self.peek()
        if found != character:
            what = f"there is {found!a}" if found else "the file ends"
            raise self.broken(what, expected)
        self._at += 1

    def goes_on(self, end: str) -> bool:
        """Go past a comma, and return whether there was one; without it the ``end`` must follow."""
        if self.peek() == end:
            return False
        self.take(",", f"a comma or {end}")
        return True

    def value(self, expected: str) -> Any:
        """Return the JSON value that comes next, and go past it."""
        self.peek()
        while True:
            try:
                found, end = self._json.raw_decode(self._text, self._at)
                # A number at the very end of what was read may have more digits to come.
                if end < len(self._text) or self._ended:
                    self.size, self._at = end - self._at, end
                    return found
            except (ValueError, RecursionError) as error:
                # It may be whole once more of the file is read.
                if self._ended:
                    raise self.broken("the file ends within a JSON value, or there is none", expected) from error
            if len(self._text) - self._at > LONGEST_ROW:
                raise self.broken("this is no JSON, or too long", f"{expected}, at most {LONGEST_ROW} characters long")
            self._read()

    def broken(self, reason: str, expected: str) -> FileUnreadable:
        """Return the error that says what is wrong here."""
        return FileUnreadable(reason, self._line + self._text.count("\n", 0, self._at), expected)

    def _read(self) -> None:
        """Read more of the file, and forget what has been taken."""
        self._line += self._text.count("\n", 0, self._at)
        self._text, self._at = self._text[self._at :], 0
        raw = self._file.read(_READ_BYTES)
        self._ended = not raw
        try:
            self._text += self._bytes.decode(raw, final=self._ended)
        except UnicodeDecodeError as error:
            line = self._line + self._text.count("\n") + error.object[: error.start].count(b"\n")
            raise FileUnreadable("this is not UTF-8", line, "text in UTF-8") from error


def _refuse(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")
