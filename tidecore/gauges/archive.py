"""Parts of one gauge record in a ZIP archive: every file in it is a part."""

from __future__ import annotations

import zipfile
import zlib
from io import BytesIO

from tidecore.errors import RecordTooLarge, RecordUnreadable
from tidecore.gauges.source import Source

#: Most files of an archive.
MOST_PARTS = 200
#: Of the first file of an archive, and of one without any.
_SIGNATURES = (b"PK\x03\x04", b"PK\x05\x06")
_ENCRYPTED = 0x1
#: RuntimeError stands for its subclass of methods of compression that nobody here knows.
_FAULTS = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, OSError, ValueError)


def is_archive(source: Source) -> bool:
    """Return whether a file is a ZIP archive, by its first bytes."""
    return source.data.startswith(_SIGNATURES)


def open_parts(source: Source, max_bytes: int) -> list[Source]:
    """Return the files of an archive, in the order of their names; folders and empty archives make none.

    Nothing is written to disk, so that the names in it lead nowhere.

    Raises
    ------
    RecordTooLarge
        If the files together hold more than ``max_bytes``; no file is unpacked beyond that, whatever it says of itself.
    RecordUnreadable
        If it is no whole archive, holds no file or too many, or one that is encrypted or empty.
    """
    try:
        with zipfile.ZipFile(BytesIO(source.data)) as archive:
            members = sorted((one for one in archive.infolist() if not one.is_dir()), key=lambda one: one.filename)
            if not 0 < len(members) <= MOST_PARTS:
                raise RecordUnreadable(f"the archive holds {len(members)} files", expected=f"1 to {MOST_PARTS} records")
            parts, left = [], max_bytes
            for one in members:
                if one.flag_bits & _ENCRYPTED:
                    raise RecordUnreadable(f"{one.filename!r} is encrypted", expected="a record that can be read")
                with archive.open(one) as file:
                    data = file.read(left + 1)
                left -= len(data)
                if left < 0:
                    raise RecordTooLarge(max(sum(each.file_size for each in members), max_bytes + 1), max_bytes)
                if not data:
                    raise RecordUnreadable(f"{one.filename!r} is empty", expected="a record of times and levels")
                parts.append(Source(one.filename, data))
    except _FAULTS as error:
        raise RecordUnreadable(f"the archive is broken ({error})", expected="a whole ZIP archive") from error
    return parts
