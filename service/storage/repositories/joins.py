"""Queries of trips joined to the tide: what each join rests on, which are to be made anew, and counts by bin."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, delete, func, or_, select, update
from sqlalchemy.orm import Session

from service.storage.bulk import insert_many
from service.storage.repositories.base import Repository
from service.storage.repositories.log_months import FACT_PART, JOIN_PART, NO_MONTH, LogMonthRepository, months_of
from service.storage.tables import MarkRow, StationRow, TripFactRow, TripJoinRow, TripRow

_JOIN_COLUMNS = (
    "trip_id",
    "trip_version",
    "mark_id",
    "mark_version",
    "station_id",
    "station_version",
    "stamp",
    "conditions",
    "conditions_hash",
    "stale",
    "started_at",
    "ended_at",
    "joined_at",
    "problem",
    "document",
)
_FACT_COLUMNS = ("factor", "local_day", "trip_id", "mark_id", "purpose", "rods", "effort", "caught")


@dataclass(frozen=True, slots=True)
class JoinRecord:
    """A join: the versions it rests on, and what it says, as bytes; fields as the columns of `TripJoinRow`."""

    trip_id: str
    trip_version: int
    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    stamp: str
    conditions: int
    conditions_hash: str
    stale: bool
    started_at: datetime
    ended_at: datetime
    joined_at: datetime
    problem: dict[str, Any] | None
    document: bytes


@dataclass(frozen=True, slots=True)
class FactRecord:
    """What one trip has in the bins of one factor; fields as the columns of `TripFactRow`."""

    factor: str
    local_day: date
    trip_id: str
    mark_id: str
    purpose: str
    rods: bool
    effort: bytes
    caught: bytes


@dataclass(frozen=True, slots=True)
class StaleTrip:
    """A trip in its version that has no join, or one that rests on other versions than today's."""

    trip_id: str
    version: int
    mark_id: str


@dataclass(frozen=True, slots=True)
class Versions:
    """Versions that a number of joins rest on; ``stale`` says that something else was told since."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    stamp: str
    stale: bool
    trips: int


@dataclass(frozen=True, slots=True)
class TripFilter:
    """Which trips: at a mark, on local days from ``start`` to ``end``, both included, with a purpose."""

    mark_id: str | None = None
    start: date | None = None
    end: date | None = None
    purpose: str | None = None


class JoinRepository(Repository):
    """Joins of the trips of one account, and their counts."""

    def __init__(self, session: Session, account_id: str) -> None:
        """Work on the joins of an account, and count up the months that this touches."""
        super().__init__(session, account_id)
        self._months = LogMonthRepository(session, account_id)

    def get(self, trip_id: str) -> JoinRecord | None:
        """Return the join of a trip, None where there is none."""
        columns = [getattr(TripJoinRow, name) for name in _JOIN_COLUMNS]
        query = select(*columns).where(TripJoinRow.account_id == self._account_id, TripJoinRow.trip_id == trip_id)
        row = self._session.execute(query).first()
        return None if row is None else JoinRecord(*row)

    def put(self, joins: Sequence[JoinRecord], facts: Sequence[FactRecord]) -> None:
        """Write joins with their counts, in the place of those that the same trips had."""
        self.forget([one.trip_id for one in joins])
        common = {"account_id": self._account_id}
        rows = [tuple(getattr(one, name) for name in _JOIN_COLUMNS) for one in joins]
        insert_many(self._session, TripJoinRow, common, _JOIN_COLUMNS, rows)
        counts = [tuple(getattr(one, name) for name in _FACT_COLUMNS) for one in facts]
        insert_many(self._session, TripFactRow, common, _FACT_COLUMNS, counts)
        self._months.count_up(FACT_PART, months_of(one.local_day for one in facts))

    def forget(self, trip_ids: Collection[str]) -> None:
        """Remove the joins of trips, and their counts."""
        self._months.count_up(JOIN_PART, [NO_MONTH])
        self._months.count_up_of(TripFactRow, TripFactRow.trip_id, trip_ids)
        for row in (TripFactRow, TripJoinRow):
            self._session.execute(
                delete(row).where(row.account_id == self._account_id, row.trip_id.in_(sorted(trip_ids)))
            )

    def doubt(self, mark_ids: Collection[str] | None, start: datetime, end: datetime) -> int:
        """Note that joins of trips from ``start`` to ``end``, of these marks or of all, may say something else now.

        Returns how many there are.
        """
        row = TripJoinRow
        which = [row.account_id == self._account_id, row.ended_at >= start, row.started_at <= end, row.stale.is_(False)]
        if mark_ids is not None:
            which.append(row.mark_id.in_(sorted(mark_ids)))
        found = self._session.execute(
            update(row).where(*which).values(stale=True).execution_options(synchronize_session=False)
        )
        doubted = int(found.rowcount)  # type: ignore[attr-defined]
        if doubted:
            self._months.count_up(JOIN_PART, [NO_MONTH])
        return doubted

    def stale(self, stamp: str, limit: int) -> list[StaleTrip]:
        """Return trips whose join is missing or rests on something else than today's, mark by mark in time order."""
        query = (
            select(TripRow.key, TripRow.version, TripRow.mark_id)
            .join(MarkRow, and_(MarkRow.account_id == TripRow.account_id, MarkRow.key == TripRow.mark_id))
            .outerjoin(StationRow, self._station())
            .outerjoin(
                TripJoinRow,
                and_(TripJoinRow.account_id == TripRow.account_id, TripJoinRow.trip_id == TripRow.key),
            )
            .where(
                TripRow.account_id == self._account_id,
                or_(TripJoinRow.trip_id.is_(None), TripJoinRow.trip_version != TripRow.version, ~_newest(stamp)),
            )
            .order_by(TripRow.mark_id, TripRow.started_at)
            .limit(limit)
        )
        return [StaleTrip(*row) for row in self._session.execute(query)]

    def rests_on(self) -> list[Versions]:
        """Return what the joins rest on, counted; what rests on something told since is counted apart."""
        row = TripJoinRow
        columns = (row.mark_id, row.mark_version, row.station_id, row.station_version, row.stamp, row.stale)
        query = select(*columns, func.count()).where(row.account_id == self._account_id)
        found = self._session.connection().execute(query.group_by(row.account_id, *columns))
        return [Versions(*one) for one in found]

    def versions_now(self, mark_ids: Collection[str]) -> dict[str, tuple[int, str, int]]:
        """Return of marks their version, and their station with its version, 0 where it has no tide."""
        query = (
            select(MarkRow.key, MarkRow.version, MarkRow.station_id, func.coalesce(StationRow.version, 0))
            .outerjoin(StationRow, self._station())
            .where(MarkRow.account_id == self._account_id, MarkRow.key.in_(sorted(mark_ids)))
        )
        found = self._session.connection().execute(query)
        return {key: (version, station, now) for key, version, station, now in found}

    def has_trips(self, mark_id: str | None = None, station_id: str | None = None) -> bool:
        """Return whether there is a trip, at a mark or at the marks of a station where that is given."""
        query = select(TripRow.key).where(TripRow.account_id == self._account_id)
        if mark_id is not None:
            query = query.where(TripRow.mark_id == mark_id)
        if station_id is not None:
            query = query.join(
                MarkRow, and_(MarkRow.account_id == TripRow.account_id, MarkRow.key == TripRow.mark_id)
            ).where(MarkRow.station_id == station_id)
        return self._session.scalar(query.limit(1)) is not None

    def _station(self) -> ColumnElement[bool]:
        """Return what joins a mark to its station, where the account may read that."""
        readable = or_(StationRow.account_id == self._account_id, StationRow.public.is_(True))
        return and_(StationRow.station_id == MarkRow.station_id, readable)


def _newest(stamp: str) -> ColumnElement[bool]:
    """Return whether a join rests on today's mark, station and numerics, and nothing has been told since."""
    return and_(
        TripJoinRow.mark_id == MarkRow.key,
        TripJoinRow.mark_version == MarkRow.version,
        TripJoinRow.station_id == MarkRow.station_id,
        TripJoinRow.station_version == func.coalesce(StationRow.version, 0),
        TripJoinRow.stamp == stamp,
        TripJoinRow.stale.is_(False),
    )
