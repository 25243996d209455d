"""Fits of the current at a mark: a record comes in, and a worker says how the stream runs there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from service.errors import StoreConflict
from service.security import Caller
from service.storage.records import JobRecord
from service.usecases.context import Context
from service.usecases.jobs import active_job, queue_job
from service.usecases.marks import MARKS
from service.usecases.once import Keep, keep_nothing
from service.usecases.stations import serve_models
from tidecore.errors import Fault, InvalidInput
from tidecore.flow import check_current
from tidecore.timebase import US_PER_SECOND

#: Name of the kind of job.
CURRENT_FIT = "current_fit"


@dataclass(frozen=True, slots=True)
class CurrentRecord:
    """A record of the current on an even grid: components towards east and north [m/s], None where missing."""

    start: datetime
    step_s: int
    east: Sequence[float | None]
    north: Sequence[float | None] | None
    flood_towards_deg: float | None


def request_current_fit(
    context: Context, caller: Caller, mark_id: str, record: CurrentRecord, keep: Keep[JobRecord] = keep_nothing
) -> JobRecord:
    """Take a record of the current at a mark and queue its fit; the same once more while that is active is that job.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    InvalidInput
        If the record lacks a component, or both don't go together.
    TooManyJobs
        If the account has as many jobs waiting as it may.
    """
    with context.store.unit(caller.account_id) as unit:
        MARKS.find(context, unit, [mark_id])
    _check(record)
    try:
        job = _queue(context, caller, mark_id, record, keep)
    except StoreConflict:
        # Another process has queued the same in the meantime: then it is found now.
        job = _queue(context, caller, mark_id, record, keep)
    context.runner.wake()
    return job


def _queue(context: Context, caller: Caller, mark_id: str, record: CurrentRecord, keep: Keep[JobRecord]) -> JobRecord:
    with context.store.unit(caller.account_id, writes=True) as unit:
        (view,) = MARKS.find(context, unit, [mark_id])
        (served,) = serve_models(context, unit, [view.document.station], None)
        said = {
            "start_us": _start_us(record),
            "step_us": record.step_s * US_PER_SECOND,
            "east": list(record.east),
            "north": list(record.north or ()),
            "flood_towards_deg": record.flood_towards_deg,
        }
        rests_on = {
            "mark_id": mark_id,
            "mark_version": view.record.version,
            "station_id": served.station.station_id,
            "station_version": served.version,
        }
        content = {**rests_on, **said}
        job = active_job(unit, CURRENT_FIT, content)
        if job is None:
            given = {
                **content,
                "mark": view.document.to_document(),
                "latitude": view.document.latitude,
                "model": served.model.to_document(),
            }
            job = queue_job(context, unit, CURRENT_FIT, content, given)
        keep(unit, job)
        unit.commit()
    return job


def _check(record: CurrentRecord) -> None:
    """Refuse a record that no fit can be made of, with the names that its fields have here."""
    east = np.array(record.east, dtype=np.float64)
    north = None if record.north is None else np.array(record.north, dtype=np.float64)
    start = np.datetime64(_start_us(record), "us")
    times = start + np.arange(east.size) * np.timedelta64(record.step_s * US_PER_SECOND, "us")
    try:
        check_current(times, east, north)
    except InvalidInput as error:
        raise InvalidInput([_renamed(one) for one in error.faults]) from error


def _renamed(one: Fault) -> Fault:
    name, dot, place = one.field.partition(".")
    return Fault((f"{name}_m_per_s" if name in ("east", "north") else name) + dot + place, one.problem, one.expected)


def _start_us(record: CurrentRecord) -> int:
    return round(record.start.timestamp() * US_PER_SECOND)
