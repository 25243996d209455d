"""The work of joining: trips whose join is missing or out of date are joined anew, some at a time, by a worker process.

Trips at one mark go together, so that one timeline serves them all. What is read, computed and written is of one
moment: a trip that was edited meanwhile, or conditions that came, are met by the next look.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from itertools import groupby
from typing import Any

from service.errors import StoreConflict, StoreUnavailable
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.settings import Settings
from service.storage.engine import open_engine
from service.storage.records import DocumentRecord, JobRecord
from service.storage.repositories.joins import StaleTrip
from service.storage.unit import Store, UnitOfWork
from service.usecases.context import Context, utc_now
from service.usecases.joins import JoinBasis, find_basis, keep_joins, same_conditions
from service.usecases.stale_joins import STAMP, queue_join
from service.usecases.trips import TRIPS, TripView
from tidecore.catchlog import trip_ends_us
from tidecore.timebase import US_PER_DAY

#: Trips that are looked at in one go.
TRIPS_AT_ONCE = 200
#: Longest span of one timeline; a longer one has less to share and more to hold.
_LONGEST_US = 200 * US_PER_DAY
#: One job works at most so long; what is left has another [s].
_LONGEST_S = 900.0
_MOST_TRIES = 5


class _Nobody:
    """The runner of a worker process, which has none to wake."""

    def wake(self) -> None:
        """Do nothing."""


def join_stale(task: JobTask, progress: Progress) -> JobOutcome:
    """Join every trip of the account whose join is missing or out of date; the input says nothing."""
    store = Store(open_engine(task.place.database_url))
    context = Context(store, _Nobody(), utc_now, Settings.model_construct())
    try:
        return JobOutcome(result=_Joining(context, task).run(progress))
    finally:
        store.close()


def look_again(unit: UnitOfWork, job: JobRecord, outcome: JobOutcome) -> None:
    """Queue the job once more where trips came up after its last look, in the transaction that ends it."""
    if outcome.problem is None and outcome.result and not outcome.result["stuck"] and unit.joins.stale(STAMP, 1):
        queue_join(unit, utc_now())


def join_imported(unit: UnitOfWork, job: JobRecord, outcome: JobOutcome) -> None:
    """Queue the job where an import has brought trips, or marks and tides that trips rest on."""
    if unit.joins.stale(STAMP, 1):
        queue_join(unit, utc_now())


class _Joining:
    def __init__(self, context: Context, task: JobTask) -> None:
        self._context, self._claim = context, task.claim
        self._account_id = task.claim.account_id

    def run(self, progress: Progress) -> dict[str, Any]:
        """Join trips until there are none left, the time is up or the claim was lost; return how many.

        It is stuck where the same trips come up again as if nothing had been written.
        """
        began, done = time.monotonic(), 0
        before: list[StaleTrip] = []
        while time.monotonic() - began < _LONGEST_S:
            with self._unit() as unit:
                stale = unit.joins.stale(STAMP, TRIPS_AT_ONCE)
            if not stale or stale == before:
                return {"trips": done, "stuck": bool(stale)}
            before = stale
            for basis in self._groups(stale):
                if not self._write(basis):
                    break
                done += len(basis.trips)
                progress(done, None, "trips joined")
        return {"trips": done, "stuck": False}

    def _groups(self, stale: Sequence[StaleTrip]) -> Iterator[JoinBasis]:
        """Give trips of one mark and of a time not too long, with what their joins rest on."""
        for mark_id, found in groupby(stale, key=lambda one: one.mark_id):
            with self._unit() as unit:
                there = unit.trips.many([one.trip_id for one in found])
                trips = TRIPS.find(self._context, unit, list(there))
                at_mark = [one for one in trips if one.document.trip.mark == mark_id]
                bases = [find_basis(self._context, unit, mark_id, some) for some in apart(at_mark)]
            yield from bases

    def _write(self, basis: JoinBasis) -> bool:
        """Join some trips and keep that; False where the claim was lost, and nothing was written."""
        joins, facts = keep_joins(basis, utc_now())
        for tries in range(1, _MOST_TRIES + 1):
            try:
                with self._unit(writes=True) as unit:
                    if not unit.jobs.report(self._claim, None, utc_now()):
                        return False
                    if same_conditions(self._context, unit, basis):
                        now = unit.trips.many([one.trip_id for one in joins])
                        same = {one.trip_id for one in joins if _version(now, one.trip_id) == one.trip_version}
                        unit.joins.put(
                            [one for one in joins if one.trip_id in same], [one for one in facts if one.trip_id in same]
                        )
                    unit.commit()
                    return True
            except (StoreConflict, StoreUnavailable):
                # The store is busy, and less so in a moment.
                if tries == _MOST_TRIES:
                    raise
                time.sleep(0.1 * tries)
        return False

    def _unit(self, *, writes: bool = False) -> AbstractContextManager[UnitOfWork]:
        return self._context.store.unit(self._account_id, writes=writes)


def _version(records: Mapping[str, DocumentRecord], trip_id: str) -> int | None:
    return records[trip_id].version if trip_id in records else None


def apart(trips: Sequence[TripView]) -> Iterator[list[TripView]]:
    """Give trips together whose time, from the first to the last, is not too long."""
    timed = sorted(((trip_ends_us(one.document), one) for one in trips), key=lambda pair: pair[0])
    some: list[TripView] = []
    first = 0
    for (start, end), one in timed:
        if some and end - first > _LONGEST_US:
            yield some
            some = []
        if not some:
            first = start
        some.append(one)
    if some:
        yield some
