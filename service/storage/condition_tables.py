"""The tables of conditions: what is told of the sea and the air at a mark or in an area."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, ForeignKeyConstraint, Index, Integer, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.storage.mapping import ID, NAME, Table


class PlacedRow(Table):
    """Base of the tables of what is told of a mark or of an area, once and for good."""

    __abstract__ = True

    key: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    mark_id: Mapped[str | None] = mapped_column(ID)
    area: Mapped[str | None] = mapped_column(NAME)
    #: The last time that it is about.
    ends_at: Mapped[datetime | None]
    #: What it says, as a hash.
    content_hash: Mapped[str] = mapped_column(String(64))
    #: What a list shows of it beside the columns.
    summary: Mapped[dict[str, Any]]
    document: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]


class ConditionIssueRow(PlacedRow):
    """One forecast, or the observations sent at once; ``starts_at`` and ``ends_at`` are its first and last time."""

    __tablename__ = "condition_issues"
    __table_args__ = (
        CheckConstraint("(mark_id IS NULL) <> (area IS NULL)", name="one_place"),
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        UniqueConstraint("account_id", "condition_id"),
        Index(None, "account_id", "mark_id", "ends_at"),
        Index(None, "account_id", "area", "ends_at"),
    )

    key: Mapped[str] = mapped_column("condition_id", ID, primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    source: Mapped[str] = mapped_column(NAME)
    issued_at: Mapped[datetime]
    valid_until: Mapped[datetime | None]
    starts_at: Mapped[datetime]
    #: Times x variables.
    points: Mapped[int] = mapped_column(Integer)


class WarningRow(PlacedRow):
    """A message of the Common Alerting Protocol; without mark and area it is of wherever its own areas are."""

    __tablename__ = "official_warnings"
    __table_args__ = (
        CheckConstraint("(mark_id IS NULL) OR (area IS NULL)", name="one_place"),
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        UniqueConstraint("account_id", "warning_id"),
        Index(None, "account_id", "mark_id", "ends_at"),
        Index(None, "account_id", "area", "ends_at"),
    )

    key: Mapped[str] = mapped_column("warning_id", ID, primary_key=True)
    identifier: Mapped[str] = mapped_column(NAME)
    sender: Mapped[str] = mapped_column(NAME)
    sent_at: Mapped[datetime]
