"""Feeds: calendars of a series of plans, read by whoever has the token of one.

Revision ID: 2026_11_29_feeds
Revises: 2026_11_29_plans
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_29_feeds"
down_revision = "2026_11_29_plans"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; the service looks in it for a token before it knows whose it is."""
    op.create_table(
        "feeds",
        sa.Column("feed_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("series", sa.String(length=200), nullable=False),
        sa.Column("selection", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("prefix", sa.String(length=20), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("last_used_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_feeds_account_id_accounts")),
        sa.PrimaryKeyConstraint("feed_id", name=op.f("pk_feeds")),
        sa.UniqueConstraint("prefix", name=op.f("uq_feeds_prefix")),
    )
    op.create_index(op.f("ix_feeds_account_id"), "feeds", ["account_id"], unique=False)
    isolate(op, "feeds", service=True)


def downgrade() -> None:
    """Drop it."""
    op.drop_table("feeds")
