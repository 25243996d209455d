"""Imports: files of rows that a job writes into the store, and the reports of what became of each row.

Revision ID: 2026_11_25_imports
Revises: 2026_11_25_row_security
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_25_imports"
down_revision = "2026_11_25_row_security"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the two tables."""
    op.create_table(
        "imports",
        sa.Column("import_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("job_id", sa.String(length=30), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("format", sa.String(length=20), nullable=False),
        sa.Column("dry_run", sa.Boolean(), nullable=False),
        sa.Column("body_sha256", sa.String(length=64), nullable=False),
        sa.Column("body_bytes", sa.BigInteger(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("created", sa.Integer(), nullable=False),
        sa.Column("unchanged", sa.Integer(), nullable=False),
        sa.Column("conflict", sa.Integer(), nullable=False),
        sa.Column("invalid", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_imports_account_id_accounts")),
        sa.ForeignKeyConstraint(
            ["account_id", "job_id"],
            ["jobs.account_id", "jobs.job_id"],
            name=op.f("fk_imports_account_id_job_id_jobs"),
        ),
        sa.PrimaryKeyConstraint("import_id", name=op.f("pk_imports")),
        sa.UniqueConstraint("account_id", "import_id", name=op.f("uq_imports_account_id_import_id")),
    )
    op.create_index(op.f("ix_imports_account_id_job_id"), "imports", ["account_id", "job_id"], unique=False)
    op.create_table(
        "import_rows",
        sa.Column("import_id", sa.String(length=30), nullable=False),
        sa.Column("row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("client_ref", sa.String(length=200), nullable=True),
        sa.Column("status", sa.String(length=10), nullable=False),
        sa.Column("thing_id", sa.String(length=30), nullable=True),
        sa.Column("faults", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("told", sa.String(length=200), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_import_rows_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "import_id"],
            ["imports.account_id", "imports.import_id"],
            name=op.f("fk_import_rows_account_id_import_id_imports"),
        ),
        sa.PrimaryKeyConstraint("import_id", "row", name=op.f("pk_import_rows")),
    )
    op.create_index(
        "ix_import_rows_told",
        "import_rows",
        ["import_id", "client_ref"],
        unique=False,
        sqlite_where=sa.text("told IS NOT NULL"),
        postgresql_where=sa.text("told IS NOT NULL"),
    )
    for table in ("imports", "import_rows"):
        isolate(op, table)


def downgrade() -> None:
    """Drop them; what was imported stays."""
    op.drop_table("import_rows")
    op.drop_table("imports")
