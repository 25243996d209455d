"""Instants of documents: text with an offset in, UTC with Z out."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from tidecore.documents import fault
from tidecore.timebase import EARLIEST, LATEST, US_PER_SECOND

_EXPECTED = "an instant with its offset, as 2026-01-31T06:00:00Z"
_WRITTEN = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d(:\d\d(\.\d{1,6})?)?([Zz]|[+-]\d\d:\d\d)")
#: Where an instant to the second has its marks, and what they are.
_MARKS, _MARKED = slice(4, None, 3), ("--T::Z", "--T::+:", "--T::-:")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST, _LAST = (moment.astype(datetime).replace(tzinfo=UTC) for moment in (EARLIEST, LATEST))


def read_moment(value: Any) -> datetime:
    """Return an instant in UTC, given as text with its offset or as an aware ``datetime``; a pydantic validator."""
    # Nearly all are written so, and what else has its marks there is no instant; to search for patterns costs more than
    # all the rest.
    if isinstance(value, str) and value[_MARKS] in _MARKED:
        try:
            found = datetime.fromisoformat(value)
            if found.tzinfo is not UTC:
                found = found.astimezone(UTC)
        except (ValueError, OverflowError):
            found = _in_utc(value)
    else:
        value = value.isoformat() if isinstance(value, datetime) else value
        found = _in_utc(value)
    if not _FIRST <= found <= _LAST:
        raise fault(f"is {value}", "an instant from 1700 to 2200")
    return found


def _in_utc(value: Any) -> datetime:
    """Return an instant in UTC, however its text is written, or say what is wrong with it."""
    if not isinstance(value, str) or not _WRITTEN.fullmatch(value):
        raise fault(f"is {value if isinstance(value, str) and len(value) < 40 else type(value).__name__!r}", _EXPECTED)
    try:
        return datetime.fromisoformat(value.upper()).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise fault(f"is {value}, which is no instant of the calendar", _EXPECTED) from error


def written(moment: datetime) -> str:
    """Return an instant as ISO 8601 with Z, to the second unless it has a fraction."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"


def ticks(moment: datetime) -> int:
    """Return an instant in microseconds since 1970."""
    return us_of(moment - _EPOCH)


def us_of(length: timedelta) -> int:
    """Return how long a time is in microseconds."""
    return (length.days * 86_400 + length.seconds) * US_PER_SECOND + length.microseconds


def written_us(at_us: int) -> str:
    """Return microseconds since 1970 as `written` does; beyond 1700 to 2200 as the nearer of them, to be refused."""
    inside = min(max(at_us, ticks(_FIRST) - US_PER_SECOND), ticks(_LAST) + US_PER_SECOND)
    return written(_EPOCH + timedelta(microseconds=inside))


class _Instant:
    """Says to pydantic how an instant is read; it writes one in UTC by itself as `written` does, and far faster."""

    def __get_pydantic_core_schema__(self, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema of an instant."""
        return core_schema.no_info_plain_validator_function(read_moment)


#: An instant of a document.
Moment = Annotated[
    datetime,
    _Instant(),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
