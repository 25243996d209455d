"""Queries of plans, of their marks, and of the results that plans share; the state of a plan is that of its job."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Select, delete, exists, func, select, update

from service.storage.bulk import insert_many
from service.storage.plan_records import PlanCounts, PlanMarkRecord, PlanRecord
from service.storage.records import ACTIVE, DONE
from service.storage.repositories.base import Repository
from service.storage.tables import JobRow, MarkRow, PlanMarkRow, PlanResultRow, PlanRow

#: Most values in one list of a query.
_AT_ONCE = 500
_MARK_COLUMNS = (
    PlanMarkRow.mark_id,
    PlanMarkRow.input_hash,
    PlanMarkRow.reused,
    PlanMarkRow.found,
    PlanMarkRow.sessions,
    PlanMarkRow.changes,
    PlanMarkRow.problem,
    PlanMarkRow.computed_at,
)


class PlanRepository(Repository):
    """Plans of one account."""

    def add(
        self,
        plan_id: str,
        *,
        job_id: str,
        series: str,
        span: tuple[datetime, datetime],
        asked: Mapping[str, Any],
        supersedes: str | None,
        now: datetime,
    ) -> PlanRecord:
        """Add a plan, to be made by a job of the same account, and return it."""
        self._session.add(
            PlanRow(
                plan_id=plan_id,
                account_id=self._account_id,
                job_id=job_id,
                series=series,
                starts_at=span[0],
                ends_at=span[1],
                asked=dict(asked),
                supersedes=supersedes,
                created_at=now,
            )
        )
        self._session.flush()
        added = self.get(plan_id)
        assert added is not None, "a plan has its job by a foreign key"
        return added

    def get(self, plan_id: str) -> PlanRecord | None:
        """Return a plan, None where the account has none of this id."""
        return next(iter(self._records(self._mine().where(PlanRow.plan_id == plan_id))), None)

    def by_job(self, job_id: str) -> PlanRecord | None:
        """Return the plan that a job makes."""
        return next(iter(self._records(self._mine().where(PlanRow.job_id == job_id))), None)

    def page(self, series: str | None, after: str | None, limit: int) -> list[PlanRecord]:
        """Return plans in the order of their ids, those of a ``series`` where given."""
        query = self._mine()
        if series is not None:
            query = query.where(PlanRow.series == series)
        if after is not None:
            query = query.where(PlanRow.plan_id > after)
        return self._records(query.order_by(PlanRow.plan_id).limit(limit))

    def newest_done(self, series: str) -> PlanRecord | None:
        """Return the newest plan of a series that is done."""
        query = self._mine().where(PlanRow.series == series, JobRow.state == DONE)
        return next(iter(self._records(query.order_by(PlanRow.plan_id.desc()).limit(1))), None)

    def ended_of(self, series: str) -> list[str]:
        """Return the ids of the plans of a series whose jobs have ended, newest first."""
        query = (
            select(PlanRow.plan_id)
            .join(JobRow, JobRow.job_id == PlanRow.job_id)
            .where(PlanRow.account_id == self._account_id, PlanRow.series == series, JobRow.state.not_in(ACTIVE))
        )
        return list(self._session.scalars(query.order_by(PlanRow.plan_id.desc())))

    def begin(self, plan_id: str, rules: Sequence[Mapping[str, Any]]) -> None:
        """Write down the rules that a plan rests on."""
        self._change(plan_id, rules=[dict(one) for one in rules])

    def finish(self, plan_id: str, ranking: bytes, now: datetime) -> None:
        """Write down the order of all sessions of a plan: it is whole now."""
        self._change(plan_id, ranking=ranking, finished_at=now)

    def ranking(self, plan_id: str) -> bytes | None:
        """Return the order of the sessions of a plan, None before it is done."""
        query = select(PlanRow.ranking).where(PlanRow.account_id == self._account_id, PlanRow.plan_id == plan_id)
        return self._session.scalar(query)

    def counts(self, plan_id: str) -> PlanCounts:
        """Return how the marks of a plan fared, so far."""
        row = PlanMarkRow
        query = select(
            func.count(),
            func.count().filter(row.reused),
            func.count().filter(row.result_hash.is_(None)),
            func.count().filter(row.changes.is_not(None)),
        ).where(row.account_id == self._account_id, row.plan_id == plan_id)
        return PlanCounts(*self._session.execute(query).one())

    def marks(
        self, plan_id: str, after: str | None, limit: int | None, *, changed: bool = False
    ) -> list[PlanMarkRecord]:
        """Return the marks of a plan in the order of their ids, only those that are ``changed`` where asked."""
        query = self._marks(plan_id)
        if after is not None:
            query = query.where(PlanMarkRow.mark_id > after)
        if changed:
            query = query.where(PlanMarkRow.changes.is_not(None))
        query = query.order_by(PlanMarkRow.mark_id)
        return _marks(self._session.execute(query if limit is None else query.limit(limit)))

    def marks_named(self, plan_id: str, mark_ids: Collection[str]) -> dict[str, PlanMarkRecord]:
        """Return those marks of a plan that there are, by id."""
        found = []
        for some in _parts(mark_ids):
            found += _marks(self._session.execute(self._marks(plan_id).where(PlanMarkRow.mark_id.in_(some))))
        return {one.mark_id: one for one in found}

    def mark_ids(self, plan_id: str) -> list[str]:
        """Return the ids of the marks of a plan, in order."""
        query = select(PlanMarkRow.mark_id).where(
            PlanMarkRow.account_id == self._account_id, PlanMarkRow.plan_id == plan_id
        )
        return list(self._session.scalars(query.order_by(PlanMarkRow.mark_id)))

    def marks_as_they_are(self, plan_id: str) -> tuple[int, datetime | None]:
        """Return the sum of the versions in which the marks of a plan are now, and when the newest was written."""
        query = (
            select(func.coalesce(func.sum(MarkRow.version), 0), func.max(MarkRow.updated_at))
            .join(PlanMarkRow, PlanMarkRow.mark_id == MarkRow.key)
            .where(PlanMarkRow.account_id == self._account_id, PlanMarkRow.plan_id == plan_id)
        )
        versions, newest = self._session.execute(query).one()
        return int(versions), newest

    def keep_marks(self, plan_id: str, records: Sequence[PlanMarkRecord]) -> None:
        """Write marks of a plan, in place of what is there of them."""
        for some in _parts([one.mark_id for one in records]):
            self._session.execute(
                delete(PlanMarkRow).where(
                    PlanMarkRow.account_id == self._account_id,
                    PlanMarkRow.plan_id == plan_id,
                    PlanMarkRow.mark_id.in_(some),
                )
            )
        names = (
            "mark_id", "input_hash", "result_hash", "reused", "found", "sessions", "changes", "problem", "computed_at",
        )  # fmt: skip
        rows = [
            (
                one.mark_id,
                one.input_hash,
                one.input_hash if one.problem is None else None,
                one.reused,
                one.found,
                [list(session) for session in one.sessions],
                None if one.changes is None else [dict(change) for change in one.changes],
                None if one.problem is None else dict(one.problem),
                one.computed_at,
            )
            for one in records
        ]
        insert_many(self._session, PlanMarkRow, {"plan_id": plan_id, "account_id": self._account_id}, names, rows)

    def known_results(self, hashes: Collection[str]) -> dict[str, datetime]:
        """Return which results there are, and since when."""
        row, found = PlanResultRow, {}
        for some in _parts(hashes):
            query = select(row.input_hash, row.created_at).where(
                row.account_id == self._account_id, row.input_hash.in_(some)
            )
            found.update({key: created for key, created in self._session.execute(query)})
        return found

    def results(self, hashes: Collection[str]) -> dict[str, bytes]:
        """Return results by the hash of their inputs, those that there are."""
        row, found = PlanResultRow, {}
        for some in _parts(hashes):
            query = select(row.input_hash, row.content).where(
                row.account_id == self._account_id, row.input_hash.in_(some)
            )
            found.update({key: content for key, content in self._session.execute(query)})
        return found

    def keep_results(self, results: Mapping[str, bytes], now: datetime) -> None:
        """Write results that are not there yet."""
        there = self.known_results(results)
        rows = [(key, content) for key, content in results.items() if key not in there]
        common = {"account_id": self._account_id, "created_at": now}
        insert_many(self._session, PlanResultRow, common, ("input_hash", "content"), rows)

    def users_of_mark(self, mark_id: str, limit: int) -> list[str]:
        """Return the ids of plans that a mark is in."""
        query = select(PlanMarkRow.plan_id).where(
            PlanMarkRow.account_id == self._account_id, PlanMarkRow.mark_id == mark_id
        )
        return list(self._session.scalars(query.order_by(PlanMarkRow.plan_id).limit(limit)))

    def users_of_rule(self, rule_id: str) -> list[str]:
        """Return the ids of plans that a rule is in."""
        query = select(PlanRow.plan_id, PlanRow.rules, PlanRow.asked).where(PlanRow.account_id == self._account_id)
        return [
            plan_id
            for plan_id, rules, asked in self._session.execute(query.order_by(PlanRow.plan_id))
            if rule_id in [one["id"] for one in rules or ()] or rule_id in (asked["rule_ids"] or ())
        ]

    def remove(self, plan_ids: Collection[str]) -> None:
        """Remove plans, their marks, and results that are in no plan any more."""
        if not plan_ids:
            return
        for row in (PlanMarkRow, PlanRow):
            self._session.execute(
                delete(row).where(row.account_id == self._account_id, row.plan_id.in_(sorted(plan_ids)))
            )
        used = exists().where(
            PlanMarkRow.account_id == self._account_id, PlanMarkRow.result_hash == PlanResultRow.input_hash
        )
        self._session.execute(
            delete(PlanResultRow)
            .where(PlanResultRow.account_id == self._account_id, ~used)
            .execution_options(synchronize_session=False)
        )

    def _change(self, plan_id: str, **values: Any) -> None:
        self._session.execute(
            update(PlanRow)
            .where(PlanRow.account_id == self._account_id, PlanRow.plan_id == plan_id)
            .values(**values)
            .execution_options(synchronize_session=False)
        )

    def _marks(self, plan_id: str) -> Select[Any]:
        return select(*_MARK_COLUMNS).where(PlanMarkRow.account_id == self._account_id, PlanMarkRow.plan_id == plan_id)

    def _mine(self) -> Select[Any]:
        # Not the ranking: it is large, and few ask for it.
        return (
            select(
                PlanRow.plan_id,
                PlanRow.job_id,
                PlanRow.series,
                PlanRow.starts_at,
                PlanRow.ends_at,
                PlanRow.asked,
                PlanRow.rules,
                PlanRow.supersedes,
                JobRow.state,
                JobRow.progress,
                JobRow.problem,
                PlanRow.created_at,
                JobRow.started_at,
                JobRow.finished_at,
                JobRow.updated_at,
            )
            .join(JobRow, JobRow.job_id == PlanRow.job_id)
            .where(PlanRow.account_id == self._account_id)
        )

    def _records(self, query: Select[Any]) -> list[PlanRecord]:
        return [PlanRecord(*found) for found in self._session.execute(query)]


def _marks(found: Any) -> list[PlanMarkRecord]:
    records = []
    for mark_id, input_hash, reused, count, sessions, changes, problem, computed_at in found:
        told = [(key, changed, minute, worth) for key, changed, minute, worth in sessions]
        records.append(PlanMarkRecord(mark_id, input_hash, reused, count, told, changes, problem, computed_at))
    return records


def _parts(values: Collection[str]) -> list[list[str]]:
    ordered = sorted(set(values))
    return [ordered[first : first + _AT_ONCE] for first in range(0, len(ordered), _AT_ONCE)]
