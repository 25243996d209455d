"""Queries of fits; their state is that of their job."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Select, delete, select, update

from service.storage.codecs import fit_record
from service.storage.records import ACTIVE, FitRecord
from service.storage.repositories.base import Repository
from service.storage.tables import FitRow, JobRow


class FitRepository(Repository):
    """Fits of one account."""

    def add(
        self,
        fit_id: str,
        *,
        station_id: str,
        job_id: str,
        record_sha256: str,
        record_bytes: int,
        options: Mapping[str, Any],
        now: datetime,
    ) -> FitRecord:
        """Add a fit, to be done by a job of the same account, and return it."""
        row = FitRow(
            fit_id=fit_id,
            account_id=self._account_id,
            station_id=station_id,
            job_id=job_id,
            record_sha256=record_sha256,
            record_bytes=record_bytes,
            options=dict(options),
            created_at=now,
        )
        self._session.add(row)
        self._session.flush()
        added = self.get(fit_id)
        assert added is not None, "a fit has its job by a foreign key"
        return added

    def get(self, fit_id: str) -> FitRecord | None:
        """Return a fit, None where the account has none of this id."""
        row = self._session.execute(self._mine().where(FitRow.fit_id == fit_id)).first()
        return None if row is None else fit_record(row[0], row[1])

    def by_job(self, job_id: str) -> FitRecord | None:
        """Return the fit that a job does."""
        row = self._session.execute(self._mine().where(FitRow.job_id == job_id)).first()
        return None if row is None else fit_record(row[0], row[1])

    def page(self, station_id: str, after: str | None, limit: int) -> list[FitRecord]:
        """Return the fits of a station in the order of their ids."""
        query = self._mine().where(FitRow.station_id == station_id)
        if after is not None:
            query = query.where(FitRow.fit_id > after)
        rows = self._session.execute(query.order_by(FitRow.fit_id).limit(limit))
        return [fit_record(fit, job) for fit, job in rows]

    def active_of(self, station_id: str) -> list[str]:
        """Return the ids of fits of a station whose job waits or runs."""
        query = select(FitRow.fit_id).join(JobRow, FitRow.job_id == JobRow.job_id)
        query = query.where(FitRow.account_id == self._account_id, FitRow.station_id == station_id)
        return list(self._session.scalars(query.where(JobRow.state.in_(ACTIVE)).order_by(FitRow.fit_id)))

    def remove_of(self, station_id: str) -> None:
        """Remove the fits of a station."""
        mine = FitRow.account_id == self._account_id
        self._session.execute(delete(FitRow).where(mine, FitRow.station_id == station_id))

    def model(self, fit_id: str) -> dict[str, Any] | None:
        """Return the tide model that a fit made."""
        return self._session.scalar(
            select(FitRow.model).where(FitRow.account_id == self._account_id, FitRow.fit_id == fit_id)
        )

    def keep(self, fit_id: str, *, report: Mapping[str, Any] | None, model: Mapping[str, Any] | None) -> None:
        """Keep what the work on a fit found: the report of its record, and the model if there is one."""
        self._change(
            fit_id, report=None if report is None else dict(report), model=None if model is None else dict(model)
        )

    def adopt(self, fit_id: str, version: int) -> None:
        """Note the station's version that the fit's model has become."""
        self._change(fit_id, adopted_version=version)

    def _mine(self) -> Select[FitRow, JobRow]:
        return (
            select(FitRow, JobRow)
            .join(JobRow, FitRow.job_id == JobRow.job_id)
            .where(FitRow.account_id == self._account_id)
            .execution_options(populate_existing=True)
        )

    def _change(self, fit_id: str, **values: Any) -> None:
        self._session.execute(
            update(FitRow)
            .where(FitRow.account_id == self._account_id, FitRow.fit_id == fit_id)
            .values(**values)
            .execution_options(synchronize_session=False)
        )
