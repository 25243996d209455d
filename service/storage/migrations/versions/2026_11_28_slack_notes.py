"""Slack notes: when an account saw the stream turn at a mark.

Revision ID: 2026_11_28_slack_notes
Revises: 2026_11_25_imports
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_28_slack_notes"
down_revision = "2026_11_25_imports"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of notes and that of their versions."""
    op.create_table(
        "slack_notes",
        sa.Column("note_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_slack_notes_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "mark_id"],
            ["marks.account_id", "marks.mark_id"],
            name=op.f("fk_slack_notes_account_id_mark_id_marks"),
        ),
        sa.PrimaryKeyConstraint("note_id", name=op.f("pk_slack_notes")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_slack_notes_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "note_id", name=op.f("uq_slack_notes_account_id_note_id")),
    )
    op.create_index(op.f("ix_slack_notes_account_id_mark_id"), "slack_notes", ["account_id", "mark_id"], unique=False)
    op.create_table(
        "slack_note_versions",
        sa.Column("note_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_slack_note_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "note_id"],
            ["slack_notes.account_id", "slack_notes.note_id"],
            name=op.f("fk_slack_note_versions_account_id_note_id_slack_notes"),
        ),
        sa.PrimaryKeyConstraint("note_id", "version", name=op.f("pk_slack_note_versions")),
    )
    op.create_index(op.f("ix_slack_note_versions_account_id"), "slack_note_versions", ["account_id"], unique=False)
    for table in ("slack_notes", "slack_note_versions"):
        isolate(op, table)


def downgrade() -> None:
    """Drop them."""
    op.drop_table("slack_note_versions")
    op.drop_table("slack_notes")
