"""Versions of trips and diary rows are found by what they are versions of: deleting one reads no other.

Revision ID: 2026_11_29_log_versions
Revises: 2026_11_29_log_months
"""

from __future__ import annotations

from alembic import op

revision = "2026_11_29_log_versions"
down_revision = "2026_11_29_log_months"
branch_labels = None
depends_on = None

_OF = {"trip_versions": "trip_id", "diary_row_versions": "diary_row_id"}


def upgrade() -> None:
    """Put the id beside the account into the index."""
    for table, key in _OF.items():
        op.create_index(op.f(f"ix_{table}_account_id_{key}"), table, ["account_id", key], unique=False)
        op.drop_index(op.f(f"ix_{table}_account_id"), table_name=table)


def downgrade() -> None:
    """Take it out again."""
    for table, key in _OF.items():
        op.create_index(op.f(f"ix_{table}_account_id"), table, ["account_id"], unique=False)
        op.drop_index(op.f(f"ix_{table}_account_id_{key}"), table_name=table)
