"""Local days of trips: kept beside each, and brought up to date where the clocks of its mark are told anew."""

from __future__ import annotations

from datetime import tzinfo

from sqlalchemy import bindparam, select, update
from sqlalchemy.orm import Session

from service.storage.repositories.base import Repository
from service.storage.repositories.log_months import TRIP_PART, LogMonthRepository, months_of
from service.storage.tables import TripRow


class LogDayRepository(Repository):
    """The local days of the trips of one account; those of diary rows are as they were written."""

    def __init__(self, session: Session, account_id: str) -> None:
        """Work on the trips of an account, and count up the months that this touches."""
        super().__init__(session, account_id)
        self._months = LogMonthRepository(session, account_id)

    def move(self, mark_id: str, zone: tzinfo) -> list[str]:
        """Put the trips at a mark on the days on which they began in a ``zone``; return the ids of those that moved."""
        row, connection = TripRow, self._session.connection()
        query = select(row.key, row.started_at, row.local_day)
        found = connection.execute(query.where(row.account_id == self._account_id, row.mark_id == mark_id))
        days = {key: (day, start.astimezone(zone).date()) for key, start, day in found}
        moved = {key: (before, after) for key, (before, after) in days.items() if before != after}
        if moved:
            self._months.count_up(TRIP_PART, months_of(day for both in moved.values() for day in both))
            statement = update(row).where(row.account_id == self._account_id, row.key == bindparam("its_key"))
            values = [{"its_key": key, "its_day": after} for key, (_, after) in moved.items()]
            connection.execute(statement.values(local_day=bindparam("its_day")), values)
        return list(moved)
