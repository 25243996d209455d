"""The bytes of one record, read once and within a limit."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from tidecore.errors import RecordTooLarge, RecordUnreadable

#: Largest file read unless the caller says otherwise [bytes]: 64 MB.
MAX_BYTES = 64_000_000

_HEAD_BYTES = 65_536
_BOM = b"\xef\xbb\xbf"
#: Bytes that no text file holds: controls other than tab, line feed, form feed and carriage return.
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class Source:
    """A file's ``name`` and its whole ``data``."""

    name: str
    data: bytes

    @classmethod
    def open(cls, path: str | PathLike[str], max_bytes: int = MAX_BYTES) -> Source:
        """Read the file at ``path``, of at most ``max_bytes`` [bytes].

        Raises
        ------
        RecordTooLarge
            Before a byte is read, if the file is larger.
        RecordUnreadable
            If there is no such file, it is no plain file, it may not be read, or it is empty.
        """
        file = Path(path)
        try:
            if not file.is_file():
                raise RecordUnreadable(f"{file.name!r} is not a file", expected="the path of a readable file")
            size = file.stat().st_size
            if size > max_bytes:
                raise RecordTooLarge(size, max_bytes)
            with file.open("rb") as stream:
                data = stream.read(max_bytes + 1)
        except (OSError, ValueError) as error:
            raise RecordUnreadable(
                f"{file.name!r} cannot be opened ({error})", expected="the path of a readable file"
            ) from error
        if len(data) > max_bytes:
            raise RecordTooLarge(len(data), max_bytes)
        if not data:
            raise RecordUnreadable("the file is empty", expected="a record of times and levels")
        return cls(file.name, data)

    @property
    def sha256(self) -> str:
        """SHA-256 of the data, in hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()

    @property
    def head(self) -> bytes:
        """First 64 KiB of the data."""
        return self.data[:_HEAD_BYTES]

    @property
    def binary_at(self) -> int | None:
        """Place of the first byte of the head that no text holds; None if there is none."""
        found = _CONTROL.search(self.head)
        return None if found is None else found.start()

    def require_text(self) -> None:
        """Raise `RecordUnreadable`, with the place, unless the data is UTF-8 text (a byte order mark is allowed)."""
        found = _CONTROL.search(self.data)
        if found is not None:
            raise self._fault(found.start(), "which no text file holds")
        try:
            self.data.decode("utf-8")
        except UnicodeDecodeError as error:
            raise self._fault(error.start, "which is not UTF-8") from error

    def lines(self) -> Iterator[str]:
        """Return an iterator of the lines of the text, each ending in a line feed.

        Line feed, carriage return and both together end a line of the file.
        """
        return io.TextIOWrapper(io.BytesIO(self.data), encoding="utf-8-sig", newline=None)

    def head_lines(self) -> list[str]:
        """Return the complete lines of the head as text, undecodable bytes replaced."""
        text = self.head.removeprefix(_BOM).decode("utf-8", errors="replace")
        lines = re.split(r"\r\n|\n|\r", text)
        return lines if len(self.data) <= _HEAD_BYTES else lines[:-1]

    def _fault(self, place: int, problem: str) -> RecordUnreadable:
        """Return the error for the byte at ``place``."""
        before = self.data[:place].replace(b"\r\n", b"\n")
        line = 1 + before.count(b"\n") + before.count(b"\r")
        return RecordUnreadable(
            f"byte {place} is 0x{self.data[place]:02X}, {problem}",
            line,
            "text in UTF-8, with or without byte order mark",
        )
