"""The order of all sessions of a plan, as one array of bytes: by what each is worth, and by time when asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from service.storage.plan_records import PlanMarkRecord
from tidecore.units import AnyArray

#: Of each session: the place of its mark among those of the plan, its own at the mark, arrival [min since 1970], worth.
_ROW = np.dtype([("mark", "<i4"), ("session", "<i4"), ("minute", "<i4"), ("worth", "<f4")])

Order = Literal["worth", "time"]


def rank_sessions(marks: Sequence[PlanMarkRecord]) -> bytes:
    """Return the order of the sessions of marks, which come in the order of their ids: the most worth first."""
    rows = [
        (place, number, minute, worth)
        for place, mark in enumerate(marks)
        for number, (_, _, minute, worth) in enumerate(mark.sessions)
    ]
    found = np.array(rows, dtype=_ROW)
    # Equals by time, then by mark.
    return found[np.lexsort((found["mark"], found["minute"], -found["worth"]))].tobytes()


def read_ranking(content: bytes, order: Order) -> AnyArray:
    """Return places of marks and of their sessions as rows, in an order; shape ``(n, 2)``."""
    found = np.frombuffer(content, dtype=_ROW)
    if order == "time":
        found = found[np.lexsort((found["mark"], found["minute"]))]
    return np.stack((found["mark"], found["session"]), axis=1)
