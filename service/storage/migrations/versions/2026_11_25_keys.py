"""API keys: who may call for an account, what for, and until when.

Revision ID: 2026_11_25_keys
Revises: 2026_11_25_first_tables
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_keys"
down_revision = "2026_11_25_first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of keys."""
    op.create_table(
        "api_keys",
        sa.Column("key_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("prefix", sa.String(length=20), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.String(length=40), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=True),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_api_keys_account_id_accounts")),
        sa.PrimaryKeyConstraint("key_id", name=op.f("pk_api_keys")),
        sa.UniqueConstraint("prefix", name=op.f("uq_api_keys_prefix")),
    )
    op.create_index(op.f("ix_api_keys_account_id"), "api_keys", ["account_id"])


def downgrade() -> None:
    """Drop the table of keys."""
    op.drop_table("api_keys")
