"""Files of conditions -> issues."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from os import PathLike
from types import MappingProxyType
from typing import Any, Literal

from tidecore.conditions.cf_file import read_file
from tidecore.conditions.delimited import read_table
from tidecore.conditions.issue import ConditionIssue
from tidecore.errors import Fault, InvalidInput, RecordTooLarge, RecordUnreadable, UnknownName

Media = Literal["json", "csv", "netcdf"]
#: Largest file [bytes].
MOST_BYTES = 64_000_000
#: What may be said beside a file.
SAID = ("kind", "source", "issued_at", "valid_until", "waves_at", "wave_period_kind")
_READERS: Mapping[str, Callable[[bytes], dict[str, Any]]] = MappingProxyType({"csv": read_table, "netcdf": read_file})


def read_conditions(
    content: bytes | str | PathLike[str], media: Media, **said: str | None
) -> tuple[ConditionIssue, ...]:
    """Return the issues of a file.

    Parameters
    ----------
    content : bytes, or path
        The file, or where it is.
    media : str
        ``"json"``: an issue as its document, or an array of them. ``"csv"``: a table with a header, see
        `tidecore.conditions.delimited.read_table`. ``"netcdf"``: CF, one place, see `tidecore.conditions.cf_file`.
    **said : str
        What the file leaves open: ``kind``, ``source``, ``issued_at``, ``valid_until``, ``waves_at`` and
        ``wave_period_kind``; None counts as not said. What file and caller say differently is refused.

    Raises
    ------
    RecordUnreadable
        If the file is not what its kind says.
    RecordTooLarge
        If it has more than 64,000,000 bytes.
    InvalidInput
        With every fault of an issue, of units and of columns.
    UnknownName
        If there is no such kind of file, or something else is said than may be.
    """
    for name in said:
        if name not in SAID:
            raise UnknownName("field beside a file of conditions", name, SAID)
    if media not in ("json", *_READERS):
        raise UnknownName("kind of file", media, ("json", *_READERS))
    data = _bytes(content)
    if not data:
        raise RecordUnreadable("the file is empty", expected="an issue of conditions")
    documents = _documents(data) if media == "json" else [_READERS[media](data)]
    return tuple(_issue(document, said, f"{k}." if len(documents) > 1 else "") for k, document in enumerate(documents))


def _bytes(content: bytes | str | PathLike[str]) -> bytes:
    """Return the content of a file."""
    if not isinstance(content, bytes):
        try:
            with open(content, "rb") as file:
                content = file.read(MOST_BYTES + 1)
        except OSError as error:
            raise RecordUnreadable(f"cannot be opened ({error})", expected="the path of a readable file") from error
    if len(content) > MOST_BYTES:
        raise RecordTooLarge(len(content), MOST_BYTES)
    return content


def _documents(data: bytes) -> list[Any]:
    """Return the documents of a JSON file."""
    try:
        found = json.loads(data)
    except RecursionError as error:
        raise RecordUnreadable("JSON nested too deep", expected="an issue, or an array of issues") from error
    except ValueError as error:
        raise RecordUnreadable(f"no JSON: {error}", expected="an issue, or an array of issues") from error
    return found if isinstance(found, list) else [found]


def _issue(document: Any, said: Mapping[str, str | None], where: str) -> ConditionIssue:
    """Return the issue that a document and what is said beside it make."""
    beside = {name: value for name, value in said.items() if value is not None}
    if isinstance(document, Mapping):
        stated = {name: document[name] for name in beside if document.get(name) is not None}
        # The caller may name a source as he likes.
        faults = [
            Fault(f"{where}{name}", f"is {value!r} in the file and {beside[name]!r} beside it", "one of them")
            for name, value in stated.items()
            if value != beside[name] and name != "source"
        ]
        if faults:
            raise InvalidInput(faults)
        document = {**document, **beside}
    try:
        return ConditionIssue.parse(document)
    except InvalidInput as refused:
        raise InvalidInput([Fault(where + one.field, one.problem, one.expected) for one in refused.faults]) from refused
