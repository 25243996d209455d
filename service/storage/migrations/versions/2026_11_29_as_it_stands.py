"""A document lies in the row of what it is of; versions are what it said before.

Revision ID: 2026_11_29_as_it_stands
Revises: 2026_11_29_log_versions
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import lifted

revision = "2026_11_29_as_it_stands"
down_revision = "2026_11_29_log_versions"
branch_labels = None
depends_on = None

#: Table, that of its versions, and the id that both have.
_KINDS = (
    ("marks", "mark_versions", "mark_id"),
    ("species_rules", "species_rule_versions", "rule_id"),
    ("slack_notes", "slack_note_versions", "note_id"),
    ("methods", "method_versions", "method_id"),
    ("safety_thresholds", "safety_threshold_versions", "thresholds_id"),
    ("trips", "trip_versions", "trip_id"),
    ("diary_rows", "diary_row_versions", "diary_row_id"),
    ("regulations", "regulation_versions", "regulation_id"),
)


def upgrade() -> None:
    """Move every document that stands to its row."""
    for table, versions, key in _KINDS:
        op.add_column(table, sa.Column("said_at", sa.DateTime(), nullable=True))
        op.add_column(table, sa.Column("document", sa.JSON(none_as_null=True), nullable=True))
        its = f"{versions}.{key} = {table}.{key} AND {versions}.version = {table}.version"
        with lifted(op, table, versions):
            op.execute(
                f"UPDATE {table} SET document = (SELECT document FROM {versions} WHERE {its}), "
                f"said_at = (SELECT {versions}.created_at FROM {versions} WHERE {its})"
            )
            op.execute(f"DELETE FROM {versions} WHERE EXISTS (SELECT 1 FROM {table} WHERE {its})")
        with op.batch_alter_table(table) as batch:
            batch.alter_column("said_at", existing_type=sa.DateTime(), nullable=False)
            batch.alter_column("document", existing_type=sa.JSON(none_as_null=True), nullable=False)


def downgrade() -> None:
    """Put them among the versions again."""
    for table, versions, key in _KINDS:
        with lifted(op, table, versions):
            op.execute(
                f"INSERT INTO {versions} ({key}, version, account_id, document, created_at) "
                f"SELECT {key}, version, account_id, document, said_at FROM {table}"
            )
        with op.batch_alter_table(table) as batch:
            batch.drop_column("document")
            batch.drop_column("said_at")
