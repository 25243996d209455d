"""What makes joins of trips to the tide out of date, and the job that then makes them anew.

A write that does so queues the job in its own transaction: there is never one without the other.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from service.storage.records import JobRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from tidecore import NUMERICS
from tidecore.catchlog import BINS_VERSION
from tidecore.conditions import LOOK_BACK_DAYS

#: Name of the kind of job that joins trips; of an account there is one at a time, of whatever trips.
JOIN = "join"
#: What a join rests on beside things in their versions.
STAMP = f"{NUMERICS}.{BINS_VERSION}"
#: Joins that are forgotten in one go.
_AT_ONCE = 500
#: What is told of a time may change joins of trips so long before and after it.
_BEFORE, _AFTER = timedelta(days=4), timedelta(days=LOOK_BACK_DAYS + 4)


def queue_join(unit: UnitOfWork, now: datetime) -> JobRecord:
    """Queue the job that joins every trip whose join is missing or out of date; the one that waits where there is one.

    One that runs already will look once more before it ends, see `service.usecases.joining`.
    """
    return unit.jobs.active(JOIN, JOIN) or unit.jobs.add(JOIN, JOIN, {}, now)


def queue_stale_joins(context: Context) -> None:
    """Queue the job for every account whose joins are out of date though nobody there wrote anything.

    So they are after an upgrade that reckons otherwise, and with a new tide of somebody else's public station.
    """
    with context.store.across_accounts() as unit:
        accounts = [one.account_id for one in unit.accounts.all()]
    for account_id in accounts:
        with context.store.unit(account_id) as unit:
            stale = unit.joins.stale(STAMP, 1)
        if stale:
            with context.store.unit(account_id, writes=True) as unit:
                queue_join(unit, context.clock())
                unit.commit()
            context.runner.wake()


def trip_written(context: Context, unit: UnitOfWork, trip_id: str) -> None:
    """A trip says something else than its join."""
    unit.joins.forget([trip_id])
    queue_join(unit, context.clock())


def trip_removed(_context: Context, unit: UnitOfWork, trip_id: str) -> None:
    """A trip goes, and its join before it."""
    unit.joins.forget([trip_id])


def mark_written(context: Context, unit: UnitOfWork, mark_id: str) -> None:
    """A mark has another version than the joins of its trips, and maybe other clocks, by which they have their days."""
    if not unit.joins.has_trips(mark_id=mark_id):
        return
    version = unit.marks.many([mark_id])[mark_id].version
    said = unit.marks.documents([(mark_id, version - 1), (mark_id, version)])
    now = said[mark_id, version]["time_zone"]
    if {one["time_zone"] for one in said.values()} != {now}:
        moved = unit.log_days.move(mark_id, ZoneInfo(now))
        # Their counts are kept by the days before; until they are joined anew these trips are told as not joined.
        for some in (moved[place : place + _AT_ONCE] for place in range(0, len(moved), _AT_ONCE)):
            unit.joins.forget(some)
    queue_join(unit, context.clock())


def model_written(unit: UnitOfWork, station_id: str, now: datetime) -> None:
    """A station has another tide than the joins of trips at its marks.

    Trips of other accounts, at marks that follow a public station, are joined anew with the next round of the runner.
    """
    if unit.joins.has_trips(station_id=station_id):
        queue_join(unit, now)


def conditions_told(unit: UnitOfWork, mark_id: str | None, start: datetime, end: datetime, now: datetime) -> None:
    """Something is told of sea and air at a mark, or in an area (None: any mark may be in it), or is taken back."""
    if unit.joins.doubt(None if mark_id is None else [mark_id], start - _BEFORE, end + _AFTER):
        queue_join(unit, now)
