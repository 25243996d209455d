"""Queries of stations and of their tide models."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, func, or_, select, update

from service.storage.bulk import insert_many
from service.storage.codecs import model_record, station_record
from service.storage.identifiers import new_id
from service.storage.records import ModelRecord, StationRecord
from service.storage.repositories.base import Repository
from service.storage.tables import StationRow, StationVersionRow

#: Put together once: a search asks for every request, an import for every transaction. The columns are those of the
#: record, in its order.
_RECORDS = select(
    StationRow.station_id,
    StationRow.external_ref,
    StationRow.name,
    StationRow.latitude,
    StationRow.longitude,
    StationRow.time_zone,
    StationRow.public,
    StationRow.version,
    StationRow.created_at,
    StationRow.updated_at,
    StationRow.account_id == bindparam("account_id"),
)
_MANY = _RECORDS.where(
    or_(StationRow.account_id == bindparam("account_id"), StationRow.public.is_(True)),
    StationRow.station_id.in_(bindparam("keys", expanding=True)),
)
_NAMED = _RECORDS.where(
    StationRow.account_id == bindparam("account_id"),
    StationRow.external_ref.in_(bindparam("references", expanding=True)),
)


class StationRepository(Repository):
    """Stations that an account may read, its own and public ones, and the versions of their tide models."""

    def add(
        self,
        *,
        name: str,
        latitude: float,
        longitude: float | None,
        time_zone: str,
        external_ref: str | None,
        public: bool,
        now: datetime,
    ) -> StationRecord:
        """Add a station without a model and return it."""
        row = StationRow(
            station_id=new_id("stn"),
            account_id=self._account_id,
            external_ref=external_ref,
            name=name,
            latitude=latitude,
            longitude=longitude,
            time_zone=time_zone,
            public=public,
            version=0,
            created_at=now,
            updated_at=now,
        )
        self._session.add(row)
        self._session.flush()
        return station_record(row, self._account_id)

    def add_many(self, said: Sequence[Mapping[str, Any]], now: datetime) -> list[str]:
        """Add stations without models, all in one go, and return their ids; ``said`` holds what `add` is told."""
        made = [new_id("stn") for _ in said]
        common = {"account_id": self._account_id, "version": 0, "created_at": now, "updated_at": now}
        names = ("name", "latitude", "longitude", "time_zone", "external_ref", "public")
        rows = [(key, *[one[name] for name in names]) for key, one in zip(made, said, strict=True)]
        insert_many(self._session, StationRow, common, ("station_id", *names), rows)
        return made

    def get(self, station_id: str) -> StationRecord | None:
        """Return a station, None where the account has none of this id."""
        row = self._session.scalar(self._readable().where(StationRow.station_id == station_id))
        return None if row is None else station_record(row, self._account_id)

    def many(self, station_ids: Sequence[str]) -> dict[str, StationRecord]:
        """Return those of the stations that there are, by id."""
        found = self._session.connection().execute(_MANY, {"account_id": self._account_id, "keys": list(station_ids)})
        return {row.station_id: StationRecord(*row) for row in found}

    def by_reference(self, external_ref: str) -> StationRecord | None:
        """Return the station to which the account gave an external reference."""
        row = self._session.scalar(self._mine().where(StationRow.external_ref == external_ref))
        return None if row is None else station_record(row, self._account_id)

    def by_references(self, references: Sequence[str]) -> dict[str, StationRecord]:
        """Return those of the account's stations that there are, by external reference."""
        asked = {"account_id": self._account_id, "references": list(references)}
        found = (StationRecord(*row) for row in self._session.connection().execute(_NAMED, asked))
        return {record.external_ref: record for record in found if record.external_ref is not None}

    def current_models(self, station_ids: Sequence[str]) -> dict[str, ModelRecord]:
        """Return what is known of the current models of stations of the account, of those that have one."""
        query = (
            select(StationVersionRow)
            .join(StationRow, StationRow.station_id == StationVersionRow.station_id)
            .where(
                StationRow.account_id == self._account_id,
                StationVersionRow.version == StationRow.version,
                StationRow.station_id.in_(list(station_ids)),
            )
        )
        return {row.station_id: model_record(row) for row in self._session.scalars(query)}

    def page(self, after: str | None, limit: int) -> list[StationRecord]:
        """Return stations in the order of their ids."""
        return [
            station_record(row, self._account_id)
            for row in self._page(self._readable(), StationRow.station_id, after, limit)
        ]

    def change(self, record: StationRecord, now: datetime, **values: Any) -> bool:
        """Change columns of a station of the account; False where it is not as ``record`` says any more."""
        result = self._session.execute(update(StationRow).where(*self._as(record)).values(updated_at=now, **values))
        return bool(result.rowcount)  # type: ignore[attr-defined]

    def remove(self, record: StationRecord) -> bool:
        """Remove a station of the account with its models; False where it is not as ``record`` says any more."""
        mine = StationVersionRow.account_id == self._account_id
        self._session.execute(delete(StationVersionRow).where(mine, StationVersionRow.station_id == record.station_id))
        result = self._session.execute(delete(StationRow).where(*self._as(record)))
        return bool(result.rowcount)  # type: ignore[attr-defined]

    def add_model(
        self,
        station_id: str,
        document: Mapping[str, Any],
        *,
        source: str,
        fit_id: str | None,
        stamps: Mapping[str, Any],
        now: datetime,
    ) -> ModelRecord:
        """Add a tide model as the next version of a station, and make it the current one.

        ``stamps`` holds ``datum``, ``input_hash``, ``numerics`` and ``code_version``.
        """
        newest = self._session.scalar(
            select(func.max(StationVersionRow.version)).where(StationVersionRow.station_id == station_id)
        )
        row = StationVersionRow(
            station_id=station_id,
            version=(newest or 0) + 1,
            account_id=self._account_id,
            source=source,
            fit_id=fit_id,
            document=dict(document),
            created_at=now,
            **stamps,
        )
        self._session.add(row)
        self._session.flush()
        self._session.execute(
            update(StationRow)
            .where(StationRow.account_id == self._account_id, StationRow.station_id == station_id)
            .values(version=row.version, updated_at=now)
        )
        return model_record(row)

    def model(self, station_id: str, version: int) -> ModelRecord | None:
        """Return what is known of one version, without the model."""
        row = self._session.scalar(
            select(StationVersionRow).where(*self._of(station_id), StationVersionRow.version == version)
        )
        return None if row is None else model_record(row)

    def models(self, station_id: str) -> list[ModelRecord]:
        """Return what is known of every version, oldest first."""
        rows = self._session.scalars(
            select(StationVersionRow).where(*self._of(station_id)).order_by(StationVersionRow.version)
        )
        return [model_record(row) for row in rows]

    def document(self, station_id: str, version: int) -> dict[str, Any] | None:
        """Return the stored tide model of one version."""
        query = select(StationVersionRow.document)
        return self._session.scalar(query.where(*self._of(station_id), StationVersionRow.version == version))

    def _mine(self) -> Any:
        return select(StationRow).where(StationRow.account_id == self._account_id)

    def _readable(self) -> Any:
        return select(StationRow).where(or_(StationRow.account_id == self._account_id, StationRow.public.is_(True)))

    def _as(self, record: StationRecord) -> tuple[Any, ...]:
        return (
            StationRow.account_id == self._account_id,
            StationRow.station_id == record.station_id,
            StationRow.version == record.version,
            StationRow.updated_at == record.updated_at,
        )

    def _of(self, station_id: str) -> tuple[Any, Any]:
        readable = self._readable().with_only_columns(StationRow.station_id)
        return StationVersionRow.station_id == station_id, StationVersionRow.station_id.in_(readable)
