"""Instants at the border: ISO 8601 with an offset in, UTC with Z (or the offset asked for) out, to the second."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Annotated, Any

import numpy as np
from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from service.exports.instants import local_date as local_date
from service.exports.instants import write_instant as write_instant
from service.exports.instants import write_instants as write_instants

_EXPECTED = "an instant with its offset, as 2026-01-31T06:00:00Z or 2026-01-31T07:00:00+01:00"
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d(:\d\d(\.\d{1,12})?)?([Zz]|[+-]\d\d:\d\d)?")


def _misfit(problem: str) -> PydanticCustomError:
    """Return the error of a text that is no instant; unlike other faults of values, the contract says it too."""
    told = {"problem": problem, "expected": _EXPECTED}
    return PydanticCustomError("misfit", "{problem}; expected {expected}", told)


def read_instant(value: Any) -> datetime:
    """Return an instant given as text; a pydantic validator, whose fault says what would be right."""
    if isinstance(value, datetime):
        value = value.isoformat()
    if not isinstance(value, str):
        raise _misfit("is no text")
    if " " in value.strip():
        raise _misfit("holds a blank; in a query a plus sign is written %2B")
    match = _INSTANT.fullmatch(value)
    if match is None:
        raise _misfit("is no instant")
    if match[3] is None:
        raise _misfit("has no offset")
    try:
        return datetime.fromisoformat(value.upper()).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise _misfit("is no instant of the calendar") from error


#: An instant in a query or a document.
Instant = Annotated[datetime, PlainValidator(read_instant), WithJsonSchema({"type": "string", "format": "date-time"})]


def to_numpy(instant: datetime) -> np.datetime64:
    """Return an aware instant as ``datetime64[us]`` in UTC."""
    return np.datetime64(instant.astimezone(UTC).replace(tzinfo=None), "us")
