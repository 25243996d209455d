"""The tables of trips joined to the tide: what each join rests on and says, and counts by factor and bin."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    String,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.storage.log_tables import PURPOSE
from service.storage.mapping import ID, Table


class TripJoinRow(Table):
    """A trip joined to the tide of its mark, and the versions of everything that the join rests on."""

    __tablename__ = "trip_joins"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "trip_id"], ["trips.account_id", "trips.trip_id"]),
        UniqueConstraint("account_id", "trip_id"),
        # What most joins rest on is asked with every rate: the index answers it alone.
        Index(
            "ix_trip_joins_rests_on",
            "account_id",
            "mark_id",
            "mark_version",
            "station_id",
            "station_version",
            "stamp",
            "stale",
        ),
        Index(None, "account_id", "ended_at"),
    )

    trip_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    trip_version: Mapped[int] = mapped_column(Integer)
    mark_id: Mapped[str] = mapped_column(ID)
    mark_version: Mapped[int] = mapped_column(Integer)
    station_id: Mapped[str] = mapped_column(ID)
    #: 0 where the station had no tide.
    station_version: Mapped[int] = mapped_column(Integer)
    #: Numerics and the version of the bins.
    stamp: Mapped[str] = mapped_column(String(20))
    #: How many issues and warnings told of sea and air then, and which, as a hash.
    conditions: Mapped[int] = mapped_column(Integer)
    conditions_hash: Mapped[str] = mapped_column(String(64))
    #: Conditions have come or gone since that may tell something else.
    stale: Mapped[bool] = mapped_column(Boolean)
    #: First and last instant that the trip tells of.
    started_at: Mapped[datetime]
    ended_at: Mapped[datetime]
    joined_at: Mapped[datetime]
    #: Why the trip could not be joined; nothing is said then.
    problem: Mapped[dict[str, Any] | None]
    #: The values, as compressed JSON.
    document: Mapped[bytes] = mapped_column(LargeBinary)


class TripFactRow(Table):
    """What one trip has in the bins of one factor, as arrays of 8-byte integers, little-endian, a row a bin.

    ``effort`` has bin, raw, bait-on and uncast time [microseconds]; ``caught`` bin, hash of the code of a species, hash
    of its name, and how many. A row an array, and not a row a bin: ten thousand trips are read in milliseconds.
    """

    __tablename__ = "trip_facts"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "trip_id"], ["trips.account_id", "trips.trip_id"]),
        Index(None, "account_id", "trip_id"),
        # The primary key is the order on disk: those of one factor lie together.
        {"sqlite_with_rowid": False},
    )

    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"), primary_key=True)
    factor: Mapped[str] = mapped_column(String(40), primary_key=True)
    local_day: Mapped[date] = mapped_column(primary_key=True)
    trip_id: Mapped[str] = mapped_column(ID, primary_key=True)
    mark_id: Mapped[str] = mapped_column(ID)
    purpose: Mapped[str] = mapped_column(PURPOSE)
    #: Whether any rod is on record: without one its effort is unknown, and not 0.
    rods: Mapped[bool] = mapped_column(Boolean)
    effort: Mapped[bytes] = mapped_column(LargeBinary)
    caught: Mapped[bytes] = mapped_column(LargeBinary)
