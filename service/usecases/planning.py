"""The work of a plan: marks whose inputs are known from another plan are taken over, the others computed in chunks.

Each chunk is written as it comes, in one transaction with how far the plan is. A plan that was interrupted finds what
is written by the hash of its inputs and computes the rest.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.errors import NotFound, StoreConflict, StoreUnavailable
from service.jobs.cluster import open_spread
from service.jobs.plan_work import MarkOutcome, PlanChunk, plan_chunk, unpack
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.storage.engine import open_engine
from service.storage.plan_records import PlanMarkRecord, PlanRecord
from service.storage.records import DELETED, UPDATED, Change
from service.storage.unit import Store, UnitOfWork
from service.usecases.context import utc_now
from service.usecases.plan_changes import Before, KeyedSession, compare, key_sessions
from service.usecases.plan_inputs import (
    MarkInputs,
    Scope,
    count_marks,
    page_of_marks,
    read_chunks,
    read_inputs,
    read_scope,
)
from service.usecases.plan_ranking import rank_sessions

#: Name of the kind of job that makes a plan.
PLAN = "plan"
#: Version of a plan that is asked for, and of one that is done, as the list of changes has it.
ASKED_FOR, WHOLE = 1, 2
#: How often a transaction is tried where another writer was at the same rows.
_MOST_TRIES = 5
#: Most traces of marks that broke that go to the log.
_MOST_TRACES = 3
#: Last characters of the id of a plan, which are chance: they tell its new sessions from those of plans before it.
_TOLD_APART = 4


@dataclass(frozen=True, slots=True)
class _Told:
    """What a plan tells of a mark beside its result: sessions there are, those kept, what is other than before."""

    found: int
    sessions: Sequence[KeyedSession]
    changes: Sequence[Mapping[str, Any]] | None


class _Lost(Exception):
    """The claim was lost: whoever has it now goes on."""


def make_plan(task: JobTask, _progress: Progress) -> JobOutcome:
    """Make a plan, from where an earlier attempt left off; the input holds its ``plan_id``."""
    store = Store(open_engine(task.place.database_url))
    try:
        return _Planning(store, task).run()
    except _Lost:
        return JobOutcome()
    finally:
        store.close()


class _Planning:
    def __init__(self, store: Store, task: JobTask) -> None:
        self._store, self._claim, self._place = store, task.claim, task.place
        self._plan_id: str = task.input["plan_id"]
        self._pending: dict[str, MarkInputs] = {}
        self._counts = {"marks": 0, "computed": 0, "reused": 0, "failed": 0}
        self._traces: list[str] = []

    def run(self) -> JobOutcome:
        """Do what is left of the plan."""
        self._open()
        spread = open_spread(self._place.plan_workers, self._place.dask_scheduler)
        for outcomes in spread.run(plan_chunk, self._chunks()):
            self._take(outcomes)
        self._finish()
        result = {"plan_id": self._plan_id, **self._counts}
        return JobOutcome(result=result, trace="\n".join(self._traces) or None)

    def _open(self) -> None:
        with self._store.unit(self._claim.account_id) as unit:
            plan = unit.plans.get(self._plan_id)
            if plan is None:
                raise NotFound("plan", self._plan_id)
            self._plan: PlanRecord = plan
            self._scope: Scope = read_scope(unit, plan)
            self._total = count_marks(unit, plan)
            before = None if plan.supersedes is None else unit.plans.get(plan.supersedes)
        self._before_id = None if before is None else before.plan_id
        self._common = (plan.starts_at, plan.ends_at)
        if before is not None:
            self._common = max(plan.starts_at, before.starts_at), min(plan.ends_at, before.ends_at)
        self._write(lambda unit, _now: unit.plans.begin(self._plan_id, self._scope.rules))

    def _chunks(self) -> Iterator[PlanChunk]:
        """Yield what has to be computed; what is known is written meanwhile, and what is written is passed over."""
        after: str | None = None
        while True:
            with self._store.unit(self._claim.account_id) as unit:
                records = page_of_marks(unit, self._plan, after)
                if not records:
                    return
                after = records[-1].id
                inputs = read_inputs(unit, self._scope, records)
                there = unit.plans.marks_named(self._plan_id, [one.mark_id for one in inputs])
                known = unit.plans.known_results([one.input_hash for one in inputs])
            left = [one for one in inputs if not _is_done(one, there.get(one.mark_id))]
            self._count(len(inputs) - len(left), "reused")
            self._take_over([one for one in left if one.problem is not None or one.input_hash in known], known)
            wanted = [one for one in left if one.problem is None and one.input_hash not in known]
            self._pending.update({one.mark_id: one for one in wanted})
            with self._store.unit(self._claim.account_id) as unit:
                chunks = read_chunks(unit, self._scope, wanted)
                # Outside of the unit of work while a chunk is computed: a read may not last as long as a plan.
                ready = list(chunks)
            yield from ready

    def _take_over(self, some: Sequence[MarkInputs], known: Mapping[str, datetime]) -> None:
        """Write marks whose results are there, and marks of which nothing can come."""
        if not some:
            return
        good = [one for one in some if one.problem is None]
        self._count(len(good), "reused")
        self._count(len(some) - len(good), "failed")

        def write(unit: UnitOfWork, now: datetime) -> None:
            told = self._told(unit, {one.mark_id: one.input_hash for one in good}, {})
            records = [self._record(one, told[one.mark_id], known[one.input_hash], reused=True) for one in good]
            records += [_failed(one, one.problem or {}, now) for one in some if one.problem is not None]
            unit.plans.keep_marks(self._plan_id, records)

        self._write(write)

    def _take(self, outcomes: Sequence[MarkOutcome]) -> None:
        """Write what was computed."""
        inputs = {one.mark_id: self._pending.pop(one.mark_id) for one in outcomes}
        good = [one for one in outcomes if one.content is not None]
        self._count(len(good), "computed")
        self._count(len(outcomes) - len(good), "failed")
        traces = [one.trace for one in outcomes if one.trace is not None]
        self._traces += traces[: _MOST_TRACES - len(self._traces)]
        contents = {inputs[one.mark_id].input_hash: one.content for one in good if one.content is not None}

        def write(unit: UnitOfWork, now: datetime) -> None:
            unit.plans.keep_results(contents, now)
            told = self._told(unit, {one.mark_id: inputs[one.mark_id].input_hash for one in good}, contents)
            records = [self._record(inputs[one.mark_id], told[one.mark_id], now, reused=False) for one in good]
            records += [_failed(inputs[one.mark_id], one.problem or {}, now) for one in outcomes if one.content is None]
            unit.plans.keep_marks(self._plan_id, records)

        self._write(write)

    def _told(self, unit: UnitOfWork, hashes: Mapping[str, str], contents: Mapping[str, bytes]) -> dict[str, _Told]:
        """Return what is told of results beside them, by mark; ``contents`` are those at hand, by hash."""
        before = {} if self._before_id is None else unit.plans.marks_named(self._before_id, hashes.keys())
        told = {}
        for mark_id, hashed in hashes.items():
            old = before.get(mark_id)
            if old is not None and old.problem is None and old.input_hash == hashed:
                told[mark_id] = _Told(old.found, old.sessions, None)
        others = {mark_id: hashed for mark_id, hashed in hashes.items() if mark_id not in told}
        earlier = {old.input_hash for mark_id in others if (old := before.get(mark_id)) is not None}
        stored = unit.plans.results([*(one for one in others.values() if one not in contents), *earlier])
        for mark_id, hashed in others.items():
            document = unpack(contents[hashed] if hashed in contents else stored[hashed])
            if self._before_id is None:
                told[mark_id] = _Told(document["found"], key_sessions(document["sessions"]), None)
                continue
            old = before.get(mark_id)
            was = Before((), ())
            if old is not None and old.problem is None:
                was = Before(old.sessions, unpack(stored[old.input_hash])["sessions"])
            keyed, changes = compare(document["sessions"], was, *self._common, self._plan_id[-_TOLD_APART:])
            told[mark_id] = _Told(document["found"], keyed, changes or None)
        return told

    def _record(self, one: MarkInputs, told: _Told, computed_at: datetime, *, reused: bool) -> PlanMarkRecord:
        return PlanMarkRecord(
            one.mark_id, one.input_hash, reused, told.found, told.sessions, told.changes, None, computed_at
        )

    def _finish(self) -> None:
        """Put all sessions in order, and drop plans of the series that are too old."""

        def write(unit: UnitOfWork, now: datetime) -> None:
            unit.plans.finish(self._plan_id, rank_sessions(unit.plans.marks(self._plan_id, None, None)), now)
            unit.note(Change(PLAN, self._plan_id, UPDATED, WHOLE, now))
            old = unit.plans.ended_of(self._plan.series)[self._place.kept_plans - 1 :]
            unit.plans.remove(old)
            for plan_id in old:
                unit.note(Change(PLAN, plan_id, DELETED, None, now))

        self._write(write)

    def _count(self, number: int, how: str) -> None:
        self._counts["marks"] += number
        self._counts[how] += number

    def _write(self, write: Callable[[UnitOfWork, datetime], None]) -> None:
        """Write in one transaction, with how far the plan is; _Lost where the claim was."""
        tries = 0
        while True:
            tries += 1
            try:
                with self._store.unit(self._claim.account_id, writes=True) as unit:
                    now = utc_now()
                    progress = {"done": self._counts["marks"], "total": self._total, "note": "marks"}
                    if not unit.jobs.report(self._claim, progress, now):
                        raise _Lost
                    write(unit, now)
                    unit.commit()
                    return
            except (StoreConflict, StoreUnavailable):
                # Somebody else writes, and less so in a moment; a mark may have gone meanwhile, and then it ends here.
                if tries == _MOST_TRIES:
                    raise
                time.sleep(0.05 * tries)


def _is_done(one: MarkInputs, there: PlanMarkRecord | None) -> bool:
    return there is not None and there.problem is None and there.input_hash == one.input_hash


def _failed(one: MarkInputs, problem: Mapping[str, Any], now: datetime) -> PlanMarkRecord:
    return PlanMarkRecord(one.mark_id, one.input_hash, False, 0, (), None, problem, now)
