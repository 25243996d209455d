"""When things happened: instants, and how sure they are."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from tidecore.conditions.moments import Moment, ticks, us_of, written
from tidecore.documents import Flaw, fault, shown
from tidecore.timebase import US_PER_MINUTE

#: What pydantic would take for whole numbers, and is none.
_NO_NUMBERS = (str, bytes, bool)


def _whole(given: Any) -> Any:
    """Refuse text and truth values, which pydantic would take for whole numbers; 5.0 is one in JSON."""
    if isinstance(given, _NO_NUMBERS):
        raise fault(f"is {shown(given)}", "a whole number")
    return given


#: A whole number, 0 or more, as somebody counts.
Count = Annotated[int, Field(ge=0, le=100_000), BeforeValidator(_whole)]
#: A whole number from 1.
Some = Annotated[int, Field(ge=1, le=100_000), BeforeValidator(_whole)]
#: How sure a time is: it lies within so many minutes on either side.
Precision = Annotated[Literal[5, 15, 60], BeforeValidator(_whole)]


def outside(moment: datetime, precision_min: int, start: datetime, end: datetime | None) -> bool:
    """Return whether a time cannot lie from ``start`` to ``end`` (no end: ever after), however unsure it is."""
    if start <= moment and (end is None or moment <= end):
        return False
    slack, at = precision_min * US_PER_MINUTE, ticks(moment)
    return at + slack < ticks(start) or (end is not None and at - slack > ticks(end))


def backwards(path: tuple[str | int, ...], end: datetime | None, start: datetime) -> list[Flaw]:
    """Return the flaw of an end that is not after its start."""
    if end is None or end > start:
        return []
    return [Flaw(path, f"is {written(end)}, not after the start {written(start)}", "an end after the start")]


__all__ = ["Count", "Moment", "Precision", "Some", "backwards", "outside", "ticks", "us_of", "written"]
