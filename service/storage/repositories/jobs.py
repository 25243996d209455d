"""Queries of jobs; every change of state is one conditional update, so that two processes never both succeed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, case, func, literal, or_, select, update
from sqlalchemy.orm import Session

from service.storage.codecs import job_record
from service.storage.identifiers import new_id
from service.storage.records import ACTIVE, CANCELLED, FAILED, QUEUED, RUNNING, Claim, JobRecord
from service.storage.repositories.base import Repository
from service.storage.tables import JobRow

#: A job is begun this many times at most.
MOST_ATTEMPTS = 3


class JobRepository(Repository):
    """Jobs of one account."""

    def add(self, kind: str, input_hash: str, given: Mapping[str, Any], now: datetime) -> JobRecord:
        """Add a queued job and return it; refused by the store while one of the same content is active."""
        row = JobRow(
            job_id=new_id("job"),
            account_id=self._account_id,
            kind=kind,
            state=QUEUED,
            input_hash=input_hash,
            input=dict(given),
            attempts=0,
            cancel_requested=False,
            created_at=now,
            updated_at=now,
        )
        self._session.add(row)
        self._session.flush()
        return job_record(row)

    def get(self, job_id: str) -> JobRecord | None:
        """Return a job, None where the account has none of this id."""
        row = self._session.scalar(self._mine().where(JobRow.job_id == job_id))
        return None if row is None else job_record(row)

    def active(self, kind: str, input_hash: str) -> JobRecord | None:
        """Return the job of a content that is queued or running."""
        query = self._mine().where(JobRow.kind == kind, JobRow.input_hash == input_hash, JobRow.state.in_(ACTIVE))
        row = self._session.scalar(query)
        return None if row is None else job_record(row)

    def active_count(self) -> int:
        """Return how many jobs are queued or running."""
        query = select(func.count()).select_from(JobRow)
        return self._session.scalar(query.where(JobRow.account_id == self._account_id, JobRow.state.in_(ACTIVE))) or 0

    def page(self, state: str | None, kind: str | None, after: str | None, limit: int) -> list[JobRecord]:
        """Return jobs in the order of their ids, those of a ``state`` and of a ``kind`` where given."""
        query = self._mine()
        if state is not None:
            query = query.where(JobRow.state == state)
        if kind is not None:
            query = query.where(JobRow.kind == kind)
        return [job_record(row) for row in self._page(query, JobRow.job_id, after, limit)]

    def cancel(self, job_id: str, now: datetime) -> bool:
        """End a queued job, ask the runner of a running one to; False where it has ended."""
        waits = JobRow.state == QUEUED
        values = {
            "state": case((waits, CANCELLED), else_=JobRow.state),
            "finished_at": case((waits, literal(now, JobRow.finished_at.type)), else_=JobRow.finished_at),
            "cancel_requested": True,
            "updated_at": now,
        }
        mine = and_(JobRow.account_id == self._account_id, JobRow.job_id == job_id, JobRow.state.in_(ACTIVE))
        return _changed(self._session, mine, values)

    def finish(
        self,
        claim: Claim,
        state: str,
        now: datetime,
        *,
        result: Mapping[str, Any] | None = None,
        problem: Mapping[str, Any] | None = None,
    ) -> bool:
        """End a job that is held by ``claim``; False where the claim was lost, and then nothing may be kept."""
        values: dict[str, Any] = {"state": state, "finished_at": now, "updated_at": now, "lease_until": None}
        values |= {"result": None if result is None else dict(result)}
        values |= {"problem": None if problem is None else dict(problem)}
        return self._change(claim, values)

    def give_back(self, claim: Claim, now: datetime, *, counts: bool) -> bool:
        """Queue a job again that is held by ``claim``; the attempt ``counts`` or not. False where it was lost."""
        values: dict[str, Any] = {"state": QUEUED, "runner_id": None, "lease_until": None, "updated_at": now}
        values["attempts"] = claim.attempt - (0 if counts else 1)
        return self._change(claim, values)

    def report(self, claim: Claim, progress: Mapping[str, Any] | None, now: datetime) -> bool:
        """Say how far a job held by ``claim`` is; False where it was lost.

        Work that writes to the store itself asks this in the same transaction: the row stays locked until its end.
        """
        kept = {} if progress is None else {"progress": dict(progress)}
        return self._change(claim, {**kept, "updated_at": now})

    def _change(self, claim: Claim, values: Mapping[str, Any]) -> bool:
        return _changed(self._session, and_(JobRow.account_id == self._account_id, _held(claim)), values)

    def _mine(self) -> Any:
        mine = select(JobRow).where(JobRow.account_id == self._account_id)
        return mine.execution_options(populate_existing=True)


class JobQueue:
    """What runners ask about the jobs of all accounts."""

    def __init__(self, session: Session) -> None:
        """Hold the ``session``."""
        self._session = session

    def waits(self, kinds: Sequence[str], now: datetime) -> bool:
        """Return whether there is a job to claim; asked first, so that an idle runner locks nothing."""
        query = select(JobRow.job_id).where(JobRow.kind.in_(kinds), _claimable(now)).limit(1)
        return self._session.scalar(query) is not None

    def claim(self, kinds: Sequence[str], runner_id: str, now: datetime, lease_until: datetime) -> JobRecord | None:
        """Take the oldest job of these ``kinds`` that waits, or whose runner fell silent; None where there is none."""
        oldest = (
            select(JobRow.job_id)
            .where(JobRow.kind.in_(kinds), _claimable(now))
            .order_by(JobRow.job_id)
            .limit(1)
            .with_for_update(skip_locked=True)
            .scalar_subquery()
        )
        row = self._session.scalar(
            update(JobRow)
            .where(JobRow.job_id == oldest, _claimable(now))
            .values(
                state=RUNNING,
                runner_id=runner_id,
                lease_until=lease_until,
                attempts=JobRow.attempts + 1,
                progress=None,
                started_at=func.coalesce(JobRow.started_at, literal(now, JobRow.started_at.type)),
                updated_at=now,
            )
            .returning(JobRow)
            .execution_options(synchronize_session=False, populate_existing=True)
        )
        return None if row is None else job_record(row)

    def renew(self, claims: Sequence[Claim], lease_until: datetime) -> dict[str, bool]:
        """Renew the leases of ``claims``; return those still held: id -> whether its end was asked for."""
        held = or_(*(_held(claim) for claim in claims))
        rows = self._session.execute(
            update(JobRow)
            .where(held)
            .values(lease_until=lease_until)
            .returning(JobRow.job_id, JobRow.cancel_requested)
            .execution_options(synchronize_session=False)
        )
        return {job_id: cancel for job_id, cancel in rows}

    def lost(self, now: datetime) -> list[JobRecord]:
        """Return jobs whose runner fell silent and that nobody may claim: tried too often, or to be cancelled."""
        query = select(JobRow).where(_silent(now), ~_claimable(now))
        return [job_record(row) for row in self._session.scalars(query)]

    def end_lost(self, job: JobRecord, problem: Mapping[str, Any], now: datetime) -> bool:
        """End a job that is `lost`: cancelled if that was asked for, else failed with ``problem``."""
        values: dict[str, Any] = {"state": FAILED, "problem": dict(problem), "lease_until": None}
        if job.cancel_requested:
            values |= {"state": CANCELLED, "problem": None}
        return _changed(
            self._session, and_(_held(job.claim), _silent(now)), {**values, "finished_at": now, "updated_at": now}
        )

    def active_inputs(self) -> list[tuple[str, dict[str, Any]]]:
        """Return kind and input of every job that is queued or running."""
        query = select(JobRow.kind, JobRow.input).where(JobRow.state.in_(ACTIVE))
        return [(kind, given) for kind, given in self._session.execute(query)]


def _silent(now: datetime) -> ColumnElement[bool]:
    return and_(JobRow.state == RUNNING, JobRow.lease_until < now)


def _claimable(now: datetime) -> ColumnElement[bool]:
    retried = and_(_silent(now), JobRow.attempts < MOST_ATTEMPTS, JobRow.cancel_requested.is_(False))
    return or_(JobRow.state == QUEUED, retried)


def _held(claim: Claim) -> ColumnElement[bool]:
    return and_(
        JobRow.job_id == claim.job_id,
        JobRow.state == RUNNING,
        JobRow.runner_id == claim.runner_id,
        JobRow.attempts == claim.attempt,
    )


def _changed(session: Session, which: ColumnElement[bool], values: Mapping[str, Any]) -> bool:
    result = session.connection().execute(update(JobRow).where(which).values(**values))
    return bool(result.rowcount)
