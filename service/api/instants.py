"""Instants at the border: ISO 8601 with an offset in, UTC with Z (or the offset asked for) out, to the second."""

from __future__ import annotations

import re
import zoneinfo
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

import numpy as np
from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray

_EXPECTED = "an instant with its offset, as 2026-01-31T06:00:00Z or 2026-01-31T07:00:00+01:00"
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d(:\d\d(\.\d{1,12})?)?([Zz]|[+-]\d\d:\d\d)?")


_HALF_SECOND = timedelta(microseconds=500_000)


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


def write_instants(times: AnyArray, zone: zoneinfo.ZoneInfo | None = None) -> list[str | None]:
    """Return instants as text to the nearest second, in UTC or with the offsets of ``zone``; NaT becomes null."""
    ticks = np.asarray(times, dtype="datetime64[us]").view(np.int64)
    missing = np.isnat(np.asarray(times, dtype="datetime64[us]"))
    seconds = np.where(missing, 0, (ticks + US_PER_SECOND // 2) // US_PER_SECOND)
    if zone is None:
        texts = np.datetime_as_string(seconds.astype("datetime64[s]")).tolist()
        return [None if none else text + "Z" for text, none in zip(texts, missing.tolist(), strict=True)]
    return [
        None if none else datetime.fromtimestamp(second, zone).isoformat()
        for second, none in zip(seconds.tolist(), missing.tolist(), strict=True)
    ]


def write_instant(time: np.datetime64 | datetime | int, zone: zoneinfo.ZoneInfo | None = None) -> str:
    """Return one instant as text: a ``datetime64``, an aware datetime, or microseconds since 1970."""
    if isinstance(time, datetime):
        moment = time.astimezone(UTC).replace(tzinfo=None)
    elif isinstance(time, int):
        moment = datetime(1970, 1, 1) + timedelta(microseconds=time)  # noqa: DTZ001 - UTC, as everywhere inside
    else:
        found = time.item()
        moment = found if isinstance(found, datetime) else time.astype("datetime64[us]").item()
    moment += _HALF_SECOND
    if zone is None:
        # Cut off rather than asked for by name: an answer holds hundreds of instants.
        return moment.isoformat()[:19] + "Z"
    return moment.replace(tzinfo=UTC).astimezone(zone).isoformat(timespec="seconds")


def local_date(time: np.datetime64, zone: zoneinfo.ZoneInfo) -> str:
    """Return the date of an instant by the clocks of ``zone``, to the nearest second."""
    return write_instant(time, zone)[:10]
