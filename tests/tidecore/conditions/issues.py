"""Invented issues that the tests of conditions share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tidecore.conditions import ConditionIssue
from tidecore.timebase import US_PER_HOUR

#: Where the hours of these tests are counted from.
START = np.datetime64("2026-10-05T00:00", "us")
START_US = int(START.astype(np.int64))


def moment(hour: float) -> str:
    """An instant of an issue, so many hours from the start."""
    return f"{START + np.timedelta64(round(hour * 3600), 's')}"[:19] + "Z"


def ticks(*hours: float) -> np.ndarray[Any, np.dtype[np.int64]]:
    return START_US + np.rint(np.array(hours, dtype=np.float64) * US_PER_HOUR).astype(np.int64)


def issue(hours: Sequence[float], issued: float | None = None, **given: Any) -> ConditionIssue:
    """A forecast, or an observation where ``kind`` says so, with variables by name and other fields by theirs."""
    fields = ("kind", "source", "valid_until", "waves_at", "wave_period_kind")
    values = {name: list(column) for name, column in given.items() if name not in fields}
    said = {name: given[name] for name in fields if name in given}
    when = hours[0] if issued is None else issued
    document: dict[str, Any] = {"kind": "forecast", "source": "Invented Met", "issued_at": moment(when)}
    if any(name.startswith("wave_") for name in values):
        document["waves_at"] = "offshore"
    document |= {"times": [moment(hour) for hour in hours], "values": values} | said
    return ConditionIssue.parse(document)


def observed(hours: Sequence[float], **given: Any) -> ConditionIssue:
    return issue(hours, hours[-1], kind="observation", source="Invented Buoy", **given)
