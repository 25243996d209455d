"""Plans: what was asked, what each mark gave, and the results, each once.

Revision ID: 2026_11_29_plans
Revises: 2026_11_29_joins
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_29_plans"
down_revision = "2026_11_29_joins"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the three tables."""
    op.create_table(
        "plans",
        sa.Column("plan_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("job_id", sa.String(length=30), nullable=False),
        sa.Column("series", sa.String(length=200), nullable=False),
        sa.Column("starts_at", sa.DateTime(), nullable=False),
        sa.Column("ends_at", sa.DateTime(), nullable=False),
        sa.Column("asked", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("rules", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("supersedes", sa.String(length=30), nullable=True),
        sa.Column("ranking", sa.LargeBinary(), nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("finished_at", sa.DateTime(), nullable=True),
        _account("plans"),
        sa.ForeignKeyConstraint(
            ["account_id", "job_id"],
            ["jobs.account_id", "jobs.job_id"],
            name=op.f("fk_plans_account_id_job_id_jobs"),
        ),
        sa.PrimaryKeyConstraint("plan_id", name=op.f("pk_plans")),
        sa.UniqueConstraint("account_id", "plan_id", name=op.f("uq_plans_account_id_plan_id")),
    )
    for column in ("job_id", "series"):
        op.create_index(op.f(f"ix_plans_account_id_{column}"), "plans", ["account_id", column], unique=False)
    op.create_table(
        "plan_results",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("input_hash", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        _account("plan_results"),
        sa.PrimaryKeyConstraint("account_id", "input_hash", name=op.f("pk_plan_results")),
    )
    _make_marks()
    for table in ("plans", "plan_results", "plan_marks"):
        isolate(op, table)


def _make_marks() -> None:
    op.create_table(
        "plan_marks",
        sa.Column("plan_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("input_hash", sa.String(length=64), nullable=False),
        sa.Column("result_hash", sa.String(length=64), nullable=True),
        sa.Column("reused", sa.Boolean(), nullable=False),
        sa.Column("found", sa.Integer(), nullable=False),
        sa.Column("sessions", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("changes", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("computed_at", sa.DateTime(), nullable=False),
        _account("plan_marks"),
        *(
            sa.ForeignKeyConstraint(
                ["account_id", own],
                [f"{table}.account_id", f"{table}.{theirs}"],
                name=op.f(f"fk_plan_marks_account_id_{own}_{table}"),
            )
            for own, table, theirs in (
                ("plan_id", "plans", "plan_id"),
                ("mark_id", "marks", "mark_id"),
                ("result_hash", "plan_results", "input_hash"),
            )
        ),
        sa.PrimaryKeyConstraint("plan_id", "mark_id", name=op.f("pk_plan_marks")),
    )
    for column in ("mark_id", "result_hash"):
        op.create_index(op.f(f"ix_plan_marks_account_id_{column}"), "plan_marks", ["account_id", column], unique=False)


def _account(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["account_id"], ["accounts.account_id"], name=op.f(f"fk_{table}_account_id_accounts")
    )


def downgrade() -> None:
    """Drop them."""
    for table in ("plan_marks", "plan_results", "plans"):
        op.drop_table(table)
