"""The tables of plans: what was asked, what each mark gave, the results, each kept once for all plans it is in, and the
feeds of their calendars."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
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

from service.storage.mapping import ID, NAME, Table


class PlanRow(Table):
    """A plan; state, times and problem are those of its job."""

    __tablename__ = "plans"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "job_id"], ["jobs.account_id", "jobs.job_id"]),
        UniqueConstraint("account_id", "plan_id"),
        Index(None, "account_id", "job_id"),
        Index(None, "account_id", "series"),
    )

    plan_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    job_id: Mapped[str] = mapped_column(ID)
    #: What plans have in common of which each supersedes the one before.
    series: Mapped[str] = mapped_column(NAME)
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    #: What was asked, besides the span.
    asked: Mapped[dict[str, Any]]
    #: The rules in the versions that the plan rests on; none before it is begun.
    rules: Mapped[list[Any] | None] = mapped_column(JSON(none_as_null=True))
    #: The plan before it in its series, which may be gone since.
    supersedes: Mapped[str | None] = mapped_column(ID)
    #: Every session by what it is worth, see `service.storage.plan_ranking`; none before it is done.
    ranking: Mapped[bytes | None] = mapped_column(LargeBinary)
    created_at: Mapped[datetime]
    finished_at: Mapped[datetime | None]


class PlanResultRow(Table):
    """What the inputs of a hash give at a mark: compressed JSON, whichever plans it is in."""

    __tablename__ = "plan_results"

    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"), primary_key=True)
    input_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary)
    created_at: Mapped[datetime]


class PlanMarkRow(Table):
    """One mark of a plan: its result, or why it has none."""

    __tablename__ = "plan_marks"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "plan_id"], ["plans.account_id", "plans.plan_id"]),
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        ForeignKeyConstraint(["account_id", "result_hash"], ["plan_results.account_id", "plan_results.input_hash"]),
        Index(None, "account_id", "mark_id"),
        Index(None, "account_id", "result_hash"),
    )

    plan_id: Mapped[str] = mapped_column(ID, primary_key=True)
    mark_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    input_hash: Mapped[str] = mapped_column(String(64))
    #: The same where there is a result.
    result_hash: Mapped[str | None] = mapped_column(String(64))
    #: Whether the result was there already.
    reused: Mapped[bool] = mapped_column(Boolean)
    #: Sessions that there are; those kept are in ``sessions``.
    found: Mapped[int] = mapped_column(Integer)
    #: Of each session kept: its key, how often it changed, its arrival [min since 1970], what it is worth [h].
    sessions: Mapped[list[Any]] = mapped_column(JSON(none_as_null=True))
    #: What is other than in the plan before; none where nothing is.
    changes: Mapped[list[Any] | None] = mapped_column(JSON(none_as_null=True))
    problem: Mapped[dict[str, Any] | None]
    computed_at: Mapped[datetime]


class FeedRow(Table):
    """A calendar of the newest plan of a series: the prefix of its token, and a hash of the secret that is not kept."""

    __tablename__ = "feeds"
    __table_args__ = (UniqueConstraint("prefix"), Index(None, "account_id"))

    feed_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    name: Mapped[str] = mapped_column(NAME)
    series: Mapped[str] = mapped_column(NAME)
    #: Which sessions of the plan are in it.
    selection: Mapped[dict[str, Any]]
    prefix: Mapped[str] = mapped_column(String(20))
    secret_hash: Mapped[str] = mapped_column(String(64))
    created_at: Mapped[datetime]
    last_used_at: Mapped[datetime | None]
