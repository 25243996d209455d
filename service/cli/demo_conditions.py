"""The invented forecast of the demo coast: always of the days to come, whenever the demo is started."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

from pydantic import Field

from service.errors import DocumentInvalid
from service.security import Caller
from service.usecases.condition_issues import take_conditions
from service.usecases.context import Context
from service.usecases.placed import Place
from tidecore.conditions import ConditionIssue
from tidecore.errors import Fault
from tidecore.place import Document, Name

#: Hours of a forecast reach so far [h].
_LONGEST_H = 1000.0


class DemoForecast(Document):
    """A forecast of some areas without dates: its times are hours from the midnight (UTC) before it is loaded.

    ``issue`` has the fields of an issue but its dates.
    """

    areas: Annotated[tuple[Name, ...], Field(min_length=1)]
    hours: Annotated[tuple[Annotated[float, Field(ge=0.0, le=_LONGEST_H)], ...], Field(min_length=1)]
    issue: dict[str, object]


def load_forecast(context: Context, caller: Caller, path: Path, document: object) -> int:
    """Give the forecast of a file to its areas, beginning today, where the last one has ended; return how many.

    Raises
    ------
    InvalidInput, DocumentInvalid
        If the file does not say a forecast.
    """
    demo = DemoForecast.parse(document)
    for name in ("issued_at", "valid_until", "times"):
        if name in demo.issue:
            raise DocumentInvalid(
                Fault(str(path), f"states {name}", "hours; the dates are those of the day it is loaded")
            )
    now = context.clock()
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    times = [midnight + timedelta(hours=hours) for hours in demo.hours]
    issue = ConditionIssue.parse({**demo.issue, "issued_at": midnight, "times": times})
    return sum(_give(context, caller, area, issue, now) for area in demo.areas)


def _give(context: Context, caller: Caller, area: str, issue: ConditionIssue, now: datetime) -> int:
    with context.store.unit(caller.account_id) as unit:
        there = unit.conditions.at(None, area)
    if any(one.source == issue.source and one.ends_at > now for one in there):
        return 0
    take_conditions(context, caller, Place(None, area), [issue])
    return 1
