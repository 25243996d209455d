"""Queries of imports and of the lines of their reports; the state of an import is that of its job."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from operator import attrgetter
from typing import Any

from sqlalchemy import Select, bindparam, select, update

from service.storage.bulk import insert_many
from service.storage.codecs import import_line, import_record
from service.storage.records import ROW_CREATED, ROW_STATUSES, ImportLine, ImportRecord, ImportRun
from service.storage.repositories.base import Repository
from service.storage.tables import ImportLineRow, ImportRow, ImportRunRow, JobRow

#: Counts lines of a report.
_COUNT_UP = (
    update(ImportRow)
    .where(ImportRow.account_id == bindparam("its_account"), ImportRow.import_id == bindparam("its_import"))
    .values({name: getattr(ImportRow, name) + bindparam(f"more_{name}") for name in ("rows", *ROW_STATUSES)})
)


class ImportRepository(Repository):
    """Imports of one account."""

    def add(self, import_id: str, *, job_id: str, given: Mapping[str, Any], now: datetime) -> ImportRecord:
        """Add an import, to be done by a job of the same account, and return it.

        ``given`` holds ``kind``, ``format``, ``dry_run``, ``body_sha256`` and ``body_bytes``.
        """
        counts = dict.fromkeys(("rows", *ROW_STATUSES), 0)
        self._session.add(
            ImportRow(
                import_id=import_id, account_id=self._account_id, job_id=job_id, created_at=now, **counts, **given
            )
        )
        self._session.flush()
        added = self.get(import_id)
        assert added is not None, "an import has its job by a foreign key"
        return added

    def get(self, import_id: str) -> ImportRecord | None:
        """Return an import, None where the account has none of this id."""
        return self._one(self._mine().where(ImportRow.import_id == import_id))

    def by_job(self, job_id: str) -> ImportRecord | None:
        """Return the import that a job does."""
        return self._one(self._mine().where(ImportRow.job_id == job_id))

    def page(self, after: str | None, limit: int) -> list[ImportRecord]:
        """Return imports in the order of their ids."""
        query = self._mine()
        if after is not None:
            query = query.where(ImportRow.import_id > after)
        rows = self._session.execute(query.order_by(ImportRow.import_id).limit(limit))
        return [import_record(row, job) for row, job in rows]

    def lines(self, import_id: str, status: str | None, after: int, limit: int) -> list[ImportLine]:
        """Return lines of a report after a row, those of a ``status`` where given."""
        line = ImportLineRow
        query = select(line).where(line.account_id == self._account_id, line.import_id == import_id, line.row > after)
        if status is not None:
            query = query.where(line.status == status)
        own = [import_line(row) for row in self._session.scalars(query.order_by(line.row).limit(limit))]
        made = self._made(import_id, after, limit) if status in (None, ROW_CREATED) else []
        return sorted((*own, *made), key=attrgetter("row"))[:limit]

    def _made(self, import_id: str, after: int, limit: int) -> list[ImportLine]:
        """Return the lines after a row of rows that made things, as far as they are in runs."""
        run, found = ImportRunRow, list[ImportLine]()
        its = (run.account_id == self._account_id, run.import_id == import_id)
        spans = select(run.first).where(*its, run.last > after).order_by(run.first).limit(limit)
        for first in self._session.scalars(spans).all():
            row = self._session.execute(select(run.client_refs, run.thing_ids).where(*its, run.first == first)).one()
            begin = max(0, after + 1 - first)
            pairs = zip(*(column[begin : begin + limit - len(found)] for column in row), strict=True)
            found += [
                ImportLine(number, reference, ROW_CREATED, key, ())
                for number, (reference, key) in enumerate(pairs, first + begin)
            ]
            if len(found) >= limit:
                break
        return found

    def told(self, import_id: str, references: Sequence[str]) -> list[tuple[str, str]]:
        """Return the references of rows of a dry run that would make things, of these, and what each row said."""
        line = ImportLineRow
        query = select(line.client_ref, line.told).where(
            line.account_id == self._account_id,
            line.import_id == import_id,
            line.client_ref.in_(list(references)),
            line.told.is_not(None),
        )
        return [(reference, told) for reference, told in self._session.execute(query) if reference and told]

    def advance(self, import_id: str, report: Sequence[ImportLine | ImportRun]) -> None:
        """Add lines to the report of an import, and count them."""
        if not report:
            return
        common = {"import_id": import_id, "account_id": self._account_id}
        lines = [one for one in report if isinstance(one, ImportLine)]
        rows = [
            (line.row, line.client_ref, line.status, line.thing_id, list(line.faults) or None, line.told)
            for line in lines
        ]
        names = ("row", "client_ref", "status", "thing_id", "faults", "told")
        insert_many(self._session, ImportLineRow, common, names, rows)
        runs = [one for one in report if isinstance(one, ImportRun)]
        spans = [(one.first, one.first + len(one.thing_ids) - 1, one.client_refs, one.thing_ids) for one in runs]
        insert_many(self._session, ImportRunRow, common, ("first", "last", "client_refs", "thing_ids"), spans)
        counted = Counter(line.status for line in lines)
        counted[ROW_CREATED] += sum(len(one.thing_ids) for one in runs)
        more = {f"more_{status}": counted[status] for status in ROW_STATUSES}
        which = {"its_account": self._account_id, "its_import": import_id}
        self._session.connection().execute(_COUNT_UP, {**which, "more_rows": counted.total(), **more})

    def _one(self, query: Select[ImportRow, JobRow]) -> ImportRecord | None:
        row = self._session.execute(query).first()
        return None if row is None else import_record(row[0], row[1])

    def _mine(self) -> Select[ImportRow, JobRow]:
        return (
            select(ImportRow, JobRow)
            .join(JobRow, ImportRow.job_id == JobRow.job_id)
            .where(ImportRow.account_id == self._account_id)
            .execution_options(populate_existing=True)
        )
