"""The tables of the catch log: trips, rows of old diaries, and the regulations on file."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import (
    BigInteger,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.storage.mapping import ID, NAME, DocumentRow, DocumentVersionRow, Table

OUTCOME = String(12)
PURPOSE = String(10)


class TripRow(DocumentRow):
    """A trip; deployments, bites and catches are in its document."""

    __tablename__ = "trips"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        UniqueConstraint("account_id", "external_ref"),
        UniqueConstraint("account_id", "trip_id"),
        Index(None, "account_id", "mark_id", "started_at"),
        Index(None, "account_id", "started_at"),
    )

    key: Mapped[str] = mapped_column("trip_id", ID, primary_key=True)
    mark_id: Mapped[str] = mapped_column(ID)
    started_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    #: Day of the start by the clocks of the mark.
    local_day: Mapped[date]
    outcome: Mapped[str] = mapped_column(OUTCOME)
    #: Ids of the methods that deployments name by id, a blank before and after each; empty without.
    method_ids: Mapped[str] = mapped_column(Text)
    purpose: Mapped[str] = mapped_column(PURPOSE, server_default="pleasure")
    why_not: Mapped[str | None] = mapped_column(OUTCOME)
    #: Its effort [microseconds of rods], null where no rod of a trip that was fished is on record.
    raw_us: Mapped[int | None] = mapped_column(BigInteger)
    bait_on_us: Mapped[int | None] = mapped_column(BigInteger)
    uncast_us: Mapped[int | None] = mapped_column(BigInteger)
    #: What was caught, by species, and the longest of each, as short texts; empty where that is nothing.
    caught: Mapped[str] = mapped_column(Text, server_default=text("''"))
    bests: Mapped[str] = mapped_column(Text, server_default=text("''"))


class TripVersionRow(DocumentVersionRow):
    """One version of a trip."""

    __tablename__ = "trip_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "trip_id"], ["trips.account_id", "trips.trip_id"]),
        Index(None, "account_id", "trip_id"),
    )

    key: Mapped[str] = mapped_column("trip_id", ID, primary_key=True)


class DiaryRowRow(DocumentRow):
    """A coarse row of an old diary."""

    __tablename__ = "diary_rows"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        UniqueConstraint("account_id", "external_ref"),
        UniqueConstraint("account_id", "diary_row_id"),
        Index(None, "account_id", "mark_id", "local_day"),
    )

    key: Mapped[str] = mapped_column("diary_row_id", ID, primary_key=True)
    mark_id: Mapped[str] = mapped_column(ID)
    local_day: Mapped[date]
    outcome: Mapped[str] = mapped_column(OUTCOME)
    why_not: Mapped[str | None] = mapped_column(OUTCOME)
    #: Hours times rods [microseconds], null where the row does not say when.
    coarse_us: Mapped[int | None] = mapped_column(BigInteger)
    #: As of a trip.
    caught: Mapped[str] = mapped_column(Text, server_default=text("''"))


class DiaryRowVersionRow(DocumentVersionRow):
    """One version of a row of an old diary."""

    __tablename__ = "diary_row_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "diary_row_id"], ["diary_rows.account_id", "diary_rows.diary_row_id"]),
        Index(None, "account_id", "diary_row_id"),
    )

    key: Mapped[str] = mapped_column("diary_row_id", ID, primary_key=True)


class LogMonthRow(Table):
    """When a month of one part of a log was written to last: the same number is the same rows, no row is none.

    ``part`` names the table whose rows it is about; ``month`` is that of their local day, 202603 of a day in March
    2026, and 0 of rows without one.
    """

    __tablename__ = "log_months"

    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"), primary_key=True)
    part: Mapped[str] = mapped_column(String(12), primary_key=True)
    month: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    version: Mapped[int] = mapped_column(BigInteger)


class RegulationRow(DocumentRow):
    """A rule on file."""

    __tablename__ = "regulations"
    __table_args__ = (
        UniqueConstraint("account_id", "external_ref"),
        UniqueConstraint("account_id", "regulation_id"),
        Index(None, "account_id", "area"),
    )

    key: Mapped[str] = mapped_column("regulation_id", ID, primary_key=True)
    area: Mapped[str] = mapped_column(NAME)


class RegulationVersionRow(DocumentVersionRow):
    """One version of a rule on file."""

    __tablename__ = "regulation_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "regulation_id"], ["regulations.account_id", "regulations.regulation_id"]),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("regulation_id", ID, primary_key=True)
