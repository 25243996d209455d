"""Methods: ways of fishing as an account writes them down.

Revision ID: 2026_11_28_methods
Revises: 2026_11_28_conditions
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_28_methods"
down_revision = "2026_11_28_conditions"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of methods and that of their versions."""
    op.create_table(
        "methods",
        sa.Column("method_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_methods_account_id_accounts")),
        sa.PrimaryKeyConstraint("method_id", name=op.f("pk_methods")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_methods_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "method_id", name=op.f("uq_methods_account_id_method_id")),
    )
    op.create_table(
        "method_versions",
        sa.Column("method_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_method_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "method_id"],
            ["methods.account_id", "methods.method_id"],
            name=op.f("fk_method_versions_account_id_method_id_methods"),
        ),
        sa.PrimaryKeyConstraint("method_id", "version", name=op.f("pk_method_versions")),
    )
    op.create_index(op.f("ix_method_versions_account_id"), "method_versions", ["account_id"], unique=False)
    for table in ("methods", "method_versions"):
        isolate(op, table)


def downgrade() -> None:
    """Drop them."""
    op.drop_table("method_versions")
    op.drop_table("methods")
