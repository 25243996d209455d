"""Conditions: forecasts and observations of sea and air, and official warnings, of marks and of areas.

Revision ID: 2026_11_28_conditions
Revises: 2026_11_28_slack_notes
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_28_conditions"
down_revision = "2026_11_28_slack_notes"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of issues and that of warnings."""
    _make(
        "condition_issues",
        "condition_id",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("source", sa.String(length=200), nullable=False),
        sa.Column("issued_at", sa.DateTime(), nullable=False),
        sa.Column("valid_until", sa.DateTime(), nullable=True),
        sa.Column("starts_at", sa.DateTime(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        place_needed=True,
    )
    _make(
        "official_warnings",
        "warning_id",
        sa.Column("identifier", sa.String(length=200), nullable=False),
        sa.Column("sender", sa.String(length=200), nullable=False),
        sa.Column("sent_at", sa.DateTime(), nullable=False),
        place_needed=False,
    )


def _make(table: str, key: str, *columns: sa.Column[object], place_needed: bool) -> None:
    """Make a table of things of a mark or of an area, each with what it says."""
    places = "<>" if place_needed else "OR"
    op.create_table(
        table,
        sa.Column(key, sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=True),
        sa.Column("area", sa.String(length=200), nullable=True),
        sa.Column("ends_at", sa.DateTime(), nullable=True),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        *columns,
        sa.Column("summary", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint(f"(mark_id IS NULL) {places} (area IS NULL)", name=op.f(f"ck_{table}_one_place")),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f(f"fk_{table}_account_id_accounts")),
        sa.ForeignKeyConstraint(
            ["account_id", "mark_id"],
            ["marks.account_id", "marks.mark_id"],
            name=op.f(f"fk_{table}_account_id_mark_id_marks"),
        ),
        sa.PrimaryKeyConstraint(key, name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("account_id", key, name=op.f(f"uq_{table}_account_id_{key}")),
    )
    for place in ("mark_id", "area"):
        op.create_index(
            op.f(f"ix_{table}_account_id_{place}_ends_at"), table, ["account_id", place, "ends_at"], unique=False
        )
    isolate(op, table)


def downgrade() -> None:
    """Drop them."""
    op.drop_table("official_warnings")
    op.drop_table("condition_issues")
