"""Safety thresholds: from when on a hazard is one, of an account.

Revision ID: 2026_11_28_safety_thresholds
Revises: 2026_11_28_methods
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_28_safety_thresholds"
down_revision = "2026_11_28_methods"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of thresholds and that of their versions."""
    op.create_table(
        "safety_thresholds",
        sa.Column("thresholds_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_safety_thresholds_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("thresholds_id", name=op.f("pk_safety_thresholds")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_safety_thresholds_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "thresholds_id", name=op.f("uq_safety_thresholds_account_id_thresholds_id")),
    )
    op.create_table(
        "safety_threshold_versions",
        sa.Column("thresholds_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_safety_threshold_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "thresholds_id"],
            ["safety_thresholds.account_id", "safety_thresholds.thresholds_id"],
            # The whole name is longer than PostgreSQL's identifiers may be.
            name="fk_safety_threshold_versions_thresholds",
        ),
        sa.PrimaryKeyConstraint("thresholds_id", "version", name=op.f("pk_safety_threshold_versions")),
    )
    op.create_index(
        op.f("ix_safety_threshold_versions_account_id"), "safety_threshold_versions", ["account_id"], unique=False
    )
    for table in ("safety_thresholds", "safety_threshold_versions"):
        isolate(op, table)


def downgrade() -> None:
    """Drop them."""
    op.drop_table("safety_threshold_versions")
    op.drop_table("safety_thresholds")
