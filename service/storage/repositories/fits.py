"""Queries of fits; every change of state is one conditional update."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, select, update

from service.storage.codecs import fit_record
from service.storage.identifiers import new_id
from service.storage.records import ACTIVE, DONE, FAILED, QUEUED, RUNNING, FitRecord
from service.storage.repositories.base import Repository
from service.storage.tables import FitRow


class FitRepository(Repository):
    """Fits of one account."""

    def add(
        self,
        *,
        station_id: str,
        runner_id: str,
        lease_until: datetime,
        record_sha256: str,
        record_bytes: int,
        options: Mapping[str, Any],
        now: datetime,
    ) -> FitRecord:
        """Add a queued fit and return it."""
        row = FitRow(
            fit_id=new_id("fit"),
            account_id=self._account_id,
            station_id=station_id,
            state=QUEUED,
            runner_id=runner_id,
            lease_until=lease_until,
            record_sha256=record_sha256,
            record_bytes=record_bytes,
            options=dict(options),
            created_at=now,
        )
        self._session.add(row)
        self._session.flush()
        return fit_record(row)

    def get(self, fit_id: str) -> FitRecord | None:
        """Return a fit, None where the account has none of this id."""
        row = self._session.scalar(self._mine().where(FitRow.fit_id == fit_id))
        return None if row is None else fit_record(row)

    def page(self, station_id: str, after: str | None, limit: int) -> list[FitRecord]:
        """Return the fits of a station in the order of their ids."""
        query = self._mine().where(FitRow.station_id == station_id)
        return [fit_record(row) for row in self._page(query, FitRow.fit_id, after, limit)]

    def active_count(self) -> int:
        """Return how many fits are queued or running."""
        query = select(func.count()).select_from(FitRow)
        return self._session.scalar(query.where(FitRow.account_id == self._account_id, FitRow.state.in_(ACTIVE))) or 0

    def active_of(self, station_id: str) -> list[str]:
        """Return the ids of fits of a station that are queued or running."""
        query = select(FitRow.fit_id).where(FitRow.account_id == self._account_id, FitRow.station_id == station_id)
        return list(self._session.scalars(query.where(FitRow.state.in_(ACTIVE)).order_by(FitRow.fit_id)))

    def remove_of(self, station_id: str) -> None:
        """Remove the fits of a station."""
        mine = FitRow.account_id == self._account_id
        self._session.execute(delete(FitRow).where(mine, FitRow.station_id == station_id))

    def model(self, fit_id: str) -> dict[str, Any] | None:
        """Return the tide model that a fit made."""
        return self._session.scalar(
            select(FitRow.model).where(FitRow.account_id == self._account_id, FitRow.fit_id == fit_id)
        )

    def start(self, fit_id: str, now: datetime) -> bool:
        """Mark a queued fit as running; False where it was not queued."""
        return self._move(fit_id, (QUEUED,), state=RUNNING, started_at=now)

    def finish(self, fit_id: str, *, report: Mapping[str, Any], model: Mapping[str, Any], now: datetime) -> bool:
        """Mark a running fit as done; False where it was not running."""
        return self._move(fit_id, (RUNNING,), state=DONE, report=dict(report), model=dict(model), finished_at=now)

    def fail(
        self, fit_id: str, problem: Mapping[str, Any], now: datetime, report: Mapping[str, Any] | None = None
    ) -> bool:
        """Mark an active fit as failed; False where it had ended already."""
        kept = None if report is None else dict(report)
        return self._move(fit_id, ACTIVE, state=FAILED, problem=dict(problem), report=kept, finished_at=now)

    def adopt(self, fit_id: str, version: int) -> None:
        """Note the station's version that the fit's model has become."""
        self._move(fit_id, (DONE,), adopted_version=version)

    def _mine(self) -> Any:
        return select(FitRow).where(FitRow.account_id == self._account_id)

    def _move(self, fit_id: str, states: tuple[str, ...], **values: Any) -> bool:
        result = self._session.execute(
            update(FitRow)
            .where(FitRow.account_id == self._account_id, FitRow.fit_id == fit_id, FitRow.state.in_(states))
            .values(**values)
        )
        return bool(result.rowcount)  # type: ignore[attr-defined]
